"""Columns of few different texts: each text is read once, and its value put where the text stands.

Such a column is held as a Categorical with categories of its own, so that the codes in it run from 0.
"""

from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

_MANY = 10_000
"""Rows from which on it pays to look for texts that recur."""
_LOOKED_AT = 1000
"""Cells over a column that are looked at to tell whether they do: where more than a quarter differ, they do not."""


class Coded(NamedTuple):
    """texts: each text of a column once, and behind them an empty cell (null) where it has one. places: for each row
    where its text stands among these."""

    texts: pl.Series
    places: pl.Series

    def put(self, read: pl.Series) -> pl.Series:
        """Return for each row what was read of its text. read: one value for each of `texts`."""
        return read.gather(self.places)


def is_coded(column: pl.Series) -> bool:
    """Tell whether a column is held by the codes of its texts."""
    return isinstance(column.dtype, pl.Categorical)


def joined(name: str, parts: Sequence[pl.Series]) -> pl.Series:
    """Return columns of text one below the other, as one: coded where they are long and their texts few."""
    rows = sum(part.len() for part in parts)
    if rows < _MANY or not _recur([part.gather_every(max(1, rows // _LOOKED_AT)) for part in parts]):
        return one_below_the_other(name, parts)
    kind = pl.Categorical(pl.Categories.random())
    return one_below_the_other(name, [part.cast(kind) for part in parts])


def one_below_the_other(name: str, parts: Sequence[pl.Series]) -> pl.Series:
    """Return columns of one type as one."""
    if len(parts) == 1:
        return parts[0].alias(name)
    return pl.concat([part.alias(name) for part in parts], rechunk=True)


def _recur(some: Sequence[pl.Series]) -> bool:
    looked_at = one_below_the_other("", some)
    return looked_at.n_unique() * 4 <= looked_at.len()


def recur(texts: pl.Series) -> bool:
    """Tell whether the texts of a long column are few, by a look at some."""
    return texts.len() >= _MANY and _recur([texts.gather_every(max(1, texts.len() // _LOOKED_AT))])


def coded(column: pl.Series) -> Coded | None:
    """Return the different texts of a column and their places; None where it is not coded, and too short to be, or its
    texts are too many."""
    held = column if is_coded(column) else joined(column.name, [column])
    if not is_coded(held):
        return None
    codes = held.to_physical()
    last = codes.max()
    count = last + 1 if isinstance(last, int) else 0
    each = pl.int_range(count, dtype=pl.UInt32, eager=True).cat.to(held.dtype).cast(pl.String)
    if codes.null_count():
        each, codes = each.extend(pl.Series([None], dtype=pl.String)), codes.fill_null(count)
    return Coded(each.alias(column.name), codes)


def as_texts(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the same with all coded columns as text."""
    names = [column.name for column in frame.get_columns() if is_coded(column)]
    return frame.with_columns(pl.col(names).cast(pl.String)) if names else frame
