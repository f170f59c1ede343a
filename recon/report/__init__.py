"""Results for people and programs. Reads what was worked out; computes nothing."""
