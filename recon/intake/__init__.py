"""From bytes to canonical frames: every row accepted, a duplicate, or rejected with a reason."""
