"""The one as-of join: which row of a history was in force at a moment.

Polars checks no order here: a grouped as-of join of its own, and a search in a sorted column, answer wrongly where what
they take for sorted is not; among equal keys row order decides. So the history is sorted here, by a written order, and
nowhere else is one looked up.

Key and moment become one integer wherever they fit into 64 bits, as they do for any real route: a column of integers is
searched in a fraction of the time in which two frames are sorted by two columns.
"""

from typing import Final

import polars as pl

from recon.model.border import in_order
from recon.model.frames import Frame

_LARGEST: Final = 2**63 - 1


def in_force(left: Frame, history: Frame, *, key: str, at: str, since: str, tie: str) -> Frame:
    """Give each row of `left` the last row of `history` with the same `key` whose `since` is at or before its `at`.

    key: an integer column of both, never null. tie: the column of `history` that decides among equal `since` (the last
    wins). Returns `left`, in its order, plus the columns of `history` but `key` (null where nothing was in force yet,
    or `at` is null); a name that both have is that of `left`, and ends in `_right` for the history's.
    """
    ordered = _sorted(history, key, since, tie)
    return _with_rows(left, ordered, reached(left, ordered, key=key, at=at, since=since) - 1, key)


def next_after(left: Frame, history: Frame, *, key: str, at: str, since: str, tie: str) -> Frame:
    """The same looking forward: the first row of `history` whose `since` is at or after `at`."""
    ordered = _sorted(history, key, since, tie)
    return _with_rows(left, ordered, reached(left, ordered, key=key, at=at, since=since, before=True), key)


def _sorted(history: Frame, *keys: str) -> Frame:
    return history if in_order(history, keys) else history.sort(*keys, maintain_order=True)


def reached(left: Frame, ordered: Frame, *, key: str, at: str, since: str, before: bool = False) -> pl.Series:
    """For each row of `left` how many rows of `ordered` stand before it: those of a smaller key, and of its own those
    whose `since` is at or before its `at` (before: before it). Int64, null where `at` is.

    ordered: sorted by key and since, which is checked. Raises ValueError where it is not, or holds an empty one.
    """
    own = ordered.select(pl.col(key).cast(pl.Int64), pl.col(since).to_physical().cast(pl.Int64).alias("since"))
    asked = left.select(pl.col(key).cast(pl.Int64), pl.col(at).to_physical().cast(pl.Int64).alias("at"))
    if left.height == 0 or ordered.height == 0:
        none = pl.Series([0], dtype=pl.Int64).new_from_index(0, left.height)
        return none if asked["at"].null_count() == 0 else none.set(asked["at"].is_null(), None)
    if not in_order(own, (key, "since")):
        raise ValueError(f"a history that is not sorted by {key} and {since}")
    whole = _as_one(own, asked, key) or _by_rank(own, asked, key)
    marks, sought = whole
    found = marks.set_sorted().search_sorted(sought.fill_null(0), side="left" if before else "right").cast(pl.Int64)
    return found if asked["at"].null_count() == 0 else found.set(asked["at"].is_null(), None)


def places(marks: pl.Series, sought: pl.Series, *, after: bool = False) -> pl.Series:
    """How many of `marks` are smaller than each that is sought (after: not larger). marks: sorted, which is checked.

    Raises ValueError where they are not.
    """
    if not marks.is_sorted():
        raise ValueError(f"{marks.name} is searched and not sorted")
    return marks.search_sorted(sought, side="right" if after else "left").cast(pl.Int64)


def places_of(marks: pl.Series, sought: pl.Expr) -> pl.Expr:
    """Return the same as an expression; null where nothing is sought."""
    if not marks.is_sorted():
        raise ValueError(f"{marks.name} is searched and not sorted")
    return pl.when(sought.is_not_null()).then(pl.lit(marks).search_sorted(sought).cast(pl.Int64))


def _as_one(own: Frame, asked: Frame, key: str) -> tuple[pl.Series, pl.Series] | None:
    """Key and moment of both sides as one integer that sorts as the two do; None where it does not fit."""
    least_key, most_key = _ends(own[key], asked[key])
    first, last = _ends(own["since"], asked["at"])
    span = last - first + 1
    if (most_key - least_key + 1) * span > _LARGEST:
        return None
    one = (pl.col(key) - least_key) * span - first
    return own.select((one + pl.col("since")).alias("_")).to_series(), asked.select(one + pl.col("at")).to_series()


def _ends(own: pl.Series, asked: pl.Series) -> tuple[int, int]:
    ends = [end for each in (own, asked) for end in (each.min(), each.max()) if isinstance(end, int)]
    return min(ends), max(ends)


def _by_rank(own: Frame, asked: Frame, key: str) -> tuple[pl.Series, pl.Series]:
    """The same, where only the places of the pairs fit: of both sides in one sorted list of them."""
    pairs = pl.concat([own.rename({"since": "at"}), asked])
    places = pairs.select(pl.struct(key, "at").rank("dense").cast(pl.Int64)).to_series()
    return places.head(own.height), places.tail(asked.height)


def _with_rows(left: Frame, ordered: Frame, places: pl.Series, key: str) -> Frame:
    """`left` with the rows of `ordered` at these places, as far as they have its key."""
    names = [name for name in ordered.columns if name != key]
    renamed = {name: f"{name}_right" if name in left.columns else name for name in names}
    if ordered.height == 0 or left.height == 0:
        return left.with_columns(pl.lit(None, ordered.schema[name]).alias(to) for name, to in renamed.items())
    inside = places.is_between(0, ordered.height - 1)
    there = ordered[key].gather(places.clip(0, ordered.height - 1).fill_null(0))
    own = (there.cast(pl.Int64) == left[key].cast(pl.Int64)) & inside
    rows = places.to_frame("at").select(pl.when(own).then("at")).to_series()
    return left.with_columns(ordered[name].gather(rows).alias(to) for name, to in renamed.items())
