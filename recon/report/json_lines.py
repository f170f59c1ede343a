"""Rows of a table as JSON records, one a line. Of a long table each distinct part of a record is formatted once.

Windows repeat themselves: most have the moments of one visit, the figures of one of a few cases, and the names of the
slot above. So the columns are formatted in groups, a group once for each different set of cells, and the texts of the
groups are put side by side. Polars encodes the groups as it encodes whole records: the bytes are the same.
"""

import io
from collections.abc import Callable, Sequence
from typing import NamedTuple

import polars as pl

from recon.match.asof import places
from recon.model.frames import Frame

MANY = 3000
"""Rows from which on it pays to look for cells that repeat."""
_LARGEST = 2**63 - 1


class Group(NamedTuple):
    """Columns of a record that are formatted together.

    names: the columns that are written. by: the columns that decide their text: integers or moments; empty where
    neighbouring rows are compared instead.
    """

    names: tuple[str, ...]
    by: tuple[str, ...] = ()


def json_lines(frame: Frame) -> bytes:
    """Return the rows as JSON records, separated by a comma and a line break."""
    lines = io.BytesIO()
    frame.write_ndjson(lines)
    return lines.getvalue().rstrip(b"\n").replace(b"\n", b",\n    ")


def grouped_json_lines(rows: Frame, groups: Sequence[Group], shown: Callable[[Frame, Group], Frame]) -> bytes:
    """Return the same of the rows as `shown` formats them, whose columns are those of the groups in their order.

    shown: formats the columns of a group, row by row.
    """
    texts = [_texts(rows, group, shown).alias(group.names[0]) for group in groups]
    lines = io.BytesIO()
    lines.write(b"{")
    # Nothing is quoted and no text is looked into: the cells are written as they are, with a comma between them.
    pl.DataFrame(texts).write_csv(lines, include_header=False, quote_style="never", line_terminator=_BETWEEN)
    lines.truncate(lines.tell() - len(_BETWEEN) + 1)
    return lines.getvalue()


_BETWEEN = "},\n    {"


def _texts(rows: Frame, group: Group, shown: Callable[[Frame, Group], Frame]) -> pl.Series:
    """Return for each row the columns of a group as part of a JSON record, without braces."""
    place = _by_columns(rows, group.by) if group.by else _by_neighbours(rows, group.names)
    if place is not None:
        rows = rows[_row_of_each(place)]
    record = pl.struct(group.names).struct.json_encode()
    texts = shown(rows, group).select(record.str.strip_prefix("{").str.strip_suffix("}")).to_series()
    return texts if place is None else texts.gather(place)


def _row_of_each(place: pl.Series) -> pl.Series:
    """Return for each place the number of a row that has it. place: all numbers from 0 to the largest occur."""
    count = int(place.max()) + 1  # type: ignore[arg-type]
    return _zeros(count).scatter(place, pl.int_range(place.len(), eager=True))


def _by_neighbours(rows: Frame, names: Sequence[str]) -> pl.Series | None:
    """Return for each row how many changes of these columns stand above it; None where hardly a row is like the one
    above."""
    place = rows.select(pl.struct(names).rle_id().cast(pl.Int64)).to_series()
    return place if _repeats(int(place[-1]) + 1, rows.height) else None


def _by_columns(rows: Frame, names: Sequence[str]) -> pl.Series | None:
    """Return for each row the place of its cells among the different ones; None where hardly any repeat."""
    dense = 2 * rows.height
    whole, size = _offsets(rows[names[0]], dense)
    for name in names[1:]:
        offset, span = _offsets(rows[name], dense)
        if size * span > dense:
            whole, size = _places(whole, size, dense)
        if size * span > dense:
            offset, span = _places(offset, span, dense)
        if size * span > _LARGEST:
            return None
        whole, size = whole * span + offset, size * span
    place, count = _places(whole, size, dense)
    return place if _repeats(count, rows.height) else None


def _repeats(count: int, height: int) -> bool:
    return count <= height // 2


def _offsets(column: pl.Series, dense: int) -> tuple[pl.Series, int]:
    """Return cells as whole numbers from 0 on, the empty one the largest, and how many numbers that span has. dense: a
    longer span is made as short as it can be."""
    number = column.to_physical().cast(pl.Int64)
    least, most = number.min(), number.max()
    if not isinstance(least, int) or not isinstance(most, int):
        return _zeros(column.len()), 1
    offset, span = number - least, most - least + 1
    if span > dense:
        return _places(offset, span, dense)
    return (offset, span) if number.null_count() == 0 else (offset.fill_null(span), span + 1)


def _places(offset: pl.Series, span: int, dense: int) -> tuple[pl.Series, int]:
    """Return for each number its place among the different ones, the empty one last, and how many there are. span:
    above the largest; up to `dense` a table over all of them is smaller than a sorted list is slow."""
    if span <= dense:
        there = _zeros(span).scatter(offset, 1)
        return (there.cum_sum() - 1).gather(offset), int(there.sum())
    different = offset.drop_nulls().unique().sort()
    if offset.null_count() == 0:
        return places(different, offset), different.len()
    return places(different, offset.fill_null(0)).set(offset.is_null(), different.len()), different.len() + 1


def _zeros(count: int) -> pl.Series:
    return pl.Series([0], dtype=pl.Int64).new_from_index(0, count)
