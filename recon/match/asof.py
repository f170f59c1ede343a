"""The one as-of join: which row of a history was in force at a moment.

Polars does not check the order of a grouped as-of join, and answers wrongly where it is not sorted; equal keys on the
right are decided by row order. So both sides are sorted here, by a written order, and nowhere else is one made.
"""

from recon.model.frames import Frame


def in_force(left: Frame, history: Frame, *, key: str, at: str, since: str, tie: str) -> Frame:
    """Give each row of `left` the last row of `history` with the same `key` whose `since` is at or before its `at`.

    key: an integer column of both, never null. tie: the column of `history` that decides among equal `since` (the last
    wins). Returns `left` sorted by key and `at`, plus the columns of `history` (null where nothing was in force yet).
    """
    ordered = history.sort(key, since, tie, maintain_order=True)
    return left.sort(key, at, maintain_order=True).join_asof(
        ordered, left_on=at, right_on=since, by=key, strategy="backward", check_sortedness=False, coalesce=False
    )


def next_after(left: Frame, history: Frame, *, key: str, at: str, since: str, tie: str) -> Frame:
    """The same looking forward: the first row of `history` whose `since` is at or after `at`."""
    ordered = history.sort(key, since, tie, maintain_order=True)
    return left.sort(key, at, maintain_order=True).join_asof(
        ordered, left_on=at, right_on=since, by=key, strategy="forward", check_sortedness=False, coalesce=False
    )
