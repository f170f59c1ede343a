"""The cells of files by our field names, their times read: what can only be settled file by file.

Everything else is read for all files of one format at once, which asks polars few large questions, not many small ones.
"""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import NamedTuple

import polars as pl

from recon.intake.amounts import MONEY, WHOLE, dressed_rows, plain_numbers
from recon.intake.clock import Written, read_alike, read_times
from recon.intake.describe import Reading
from recon.intake.known import Known
from recon.intake.recurring import as_texts, coded, is_coded, joined, one_below_the_other
from recon.intake.table import FEW_ROWS, ROW, FileLines, TextTable
from recon.model.frames import Frame
from recon.model.words import FileKind

DAYS = ("paid_on", "from", "to")
CLOCKED: tuple[FileKind, ...] = ("vends", "counts", "loads", "cash", "tests")
"""Kinds whose rows have a moment; payouts have days."""


class Settled(NamedTuple):
    """A file whose columns are known, on its way from cells to values. number: that of the file."""

    number: int
    table: TextTable
    reading: Reading


def by_field(
    table: TextTable, reading: Reading, *, file: int, now: datetime, known: Known,
    on_moment: Callable[[], None] = lambda: None,
) -> Frame:  # fmt: skip
    """The cells of a file as `text_<field>` (trimmed, null where empty), with `file`, `row` and `machine`.

    Rows with a moment get `text_when`, `local` (naive) and `moment` (UTC, where an offset was given); payouts get a
    date for each of their days (`paid_on`, `from`, `to`). Number columns that are not plain get `plain_<field>` and
    `odd_<field>` (see recon.intake.amounts). on_moment: called where it was `now` that settled the order of the days.
    Raises AmbiguousFormat where a column can be read two ways.
    """
    frame = _with_numbers(as_texts(_cells([Settled(file, table, reading)])), reading, known)
    form = reading.source.time.format
    if reading.kind in CLOCKED:
        written = read_times(frame["text_when"], form, now=now, on_moment=on_moment)
        return frame.hstack([written.local.alias("local"), written.moment.alias("moment")])
    return frame.with_columns(
        read_times(frame[f"text_{name}"], form, now=now, with_clock=False, key=name, on_moment=on_moment)
        .local.dt.date().alias(name)
        if name in reading.columns else _NO_DAY.alias(name)
        for name in DAYS
    )  # fmt: skip


def by_field_alike(files: Sequence[Settled]) -> tuple[Frame, frozenset[int]]:
    """The same for several files of one format at once, as far as no column of theirs needs to be settled by itself.

    Returns the cells, and the numbers of the files that it cannot speak for: their rows are not among the cells. What
    it gives for a file is what `by_field` gives, and depends on no other file.
    Raises AmbiguousFormat where the description's format of times is none.
    """
    frame, reading = _cells(files), files[0].reading
    form, decimal = reading.source.time.format, reading.source.amounts.decimal
    if reading.kind in CLOCKED:
        # Between a day and a clock that stand by themselves a blank is put.
        blanks = "clock" in reading.columns or not all(_without_blanks(file.table) for file in files)
        written = _read_once(frame["text_when"], form, blanks=blanks)
        frame = frame.hstack([written.local.alias("local"), written.moment.alias("moment")])
        unread = [_is_unread(frame["text_when"], written)]
    else:
        there = [name for name in DAYS if name in reading.columns]
        days = {name: _read_once(frame[f"text_{name}"], form, with_clock=False) for name in there}
        dated = [days[name].local.dt.date().alias(name) if name in days else _NO_DAY.alias(name) for name in DAYS]
        frame = frame.with_columns(dated)
        unread = [_is_unread(frame[f"text_{name}"], days[name]) for name in there]
    odd = [rows for rows in unread if rows is not None] + dressed_rows(frame, _numbers(reading), decimal)
    if not odd:
        return frame, frozenset()
    apart = frozenset(number for rows in odd for number in frame["file"].filter(rows).unique().to_list())
    return frame.filter(~pl.col("file").is_in(list(apart))), apart


_NO_DAY = pl.lit(None, pl.Date)


def _read_once(texts: pl.Series, form: str | None, *, with_clock: bool = True, blanks: bool = True) -> Written:
    """Read a column as `read_alike` does: where it is coded, each text once."""
    each = coded(texts) if is_coded(texts) else None
    if each is None:
        return read_alike(texts, form, with_clock=with_clock, blanks=blanks)
    written = read_alike(each.texts, form, with_clock=with_clock)
    return Written(each.put(written.local), each.put(written.moment))


def _is_unread(texts: pl.Series, written: Written) -> pl.Series | None:
    """The rows that hold something and were not read, or None where there is none."""
    if written.read == texts.len() - texts.null_count():
        return None
    return texts.is_not_null() & written.local.is_null() & written.moment.is_null()


def _cells(files: Sequence[Settled]) -> Frame:
    """The cells of files of one format by our field names, trimmed, with file, row, machine, and `text_when`."""
    reading = files[0].reading
    names = [f"text_{field}" for field in reading.columns]
    frame = pl.DataFrame(
        [
            one_below_the_other("file", [_same(file.number, pl.Int32(), file) for file in files]),
            one_below_the_other("row", [file.table.frame[ROW] for file in files]),
            *(_trimmed_codes(_column(name, files)) for name in reading.columns),
        ]
    )
    names = [name for name in names if not is_coded(frame[name])]
    if not all(_without_blanks(file.table) for file in files):
        frame = frame.with_columns(pl.col(names).str.strip_chars())
    blank = _with_empty(frame, names)
    emptied = [pl.when(pl.col(name) != "").then(name) for name in blank]
    frame = frame.with_columns(emptied) if emptied else frame
    when = [_when(frame, reading)] if reading.kind in CLOCKED else []
    return frame.hstack([_machine(frame, files), *when])


def _machine(frame: Frame, files: Sequence[Settled]) -> pl.Series:
    reading = files[0].reading
    if reading.machine is not None:
        return joined("machine", [_same(file.reading.machine, pl.String(), file) for file in files])
    if "machine" not in reading.columns:
        return pl.Series("machine", [None], dtype=pl.String).new_from_index(0, frame.height)
    named = frame["text_machine"].alias("machine")
    return named.cast(pl.String).replace(reading.source.machines) if reading.source.machines else named


def _column(field: str, files: Sequence[Settled]) -> pl.Series:
    return joined(f"text_{field}", [file.table.column(file.reading.columns[field]) for file in files])


def _with_empty(frame: Frame, names: Sequence[str]) -> list[str]:
    """Return those columns in which a text is empty."""
    if frame.height <= FEW_ROWS or not names:
        # The least text tells, without a query.
        return [name for name in names if frame[name].min() == ""]
    shortest = frame.select(pl.col(names).str.len_bytes().min()).row(0)
    return [name for name, least in zip(names, shortest, strict=True) if least == 0]


def _trimmed_codes(column: pl.Series) -> pl.Series:
    """Return a coded column as it is where no text of it needs to be trimmed, and is not empty; else as text, trimmed.
    """
    each = coded(column) if is_coded(column) else None
    if each is None:
        return column
    trimmed = each.texts.str.strip_chars()
    if trimmed.equals(each.texts) and not (trimmed == "").any():
        return column
    return each.put(trimmed).alias(column.name)


_BLANKS_AND_QUOTE = (b"\t", b"\x0b", b"\x0c", b"\r", b" ", b'"')
"""What else of ASCII than line ends is stripped, and the mark behind which a line end may stand in a cell."""


def _without_blanks(table: TextTable) -> bool:
    """Whether no cell can have a blank at either end, for the file has none at all."""
    lines = table.lines
    if not isinstance(lines, FileLines) or not lines.data.isascii():
        return False
    return not any(mark in lines.data for mark in _BLANKS_AND_QUOTE)


def _same(value: object, dtype: pl.DataType, file: Settled) -> pl.Series:
    return pl.Series([value], dtype=dtype).new_from_index(0, file.table.frame.height)


def _numbers(reading: Reading) -> list[str]:
    """The fields of a file that hold decimal numbers."""
    hexadecimal = reading.source.bus_base == 16
    return [name for name in (*MONEY, *WHOLE) if name in reading.columns and not (name == "bus" and hexadecimal)]


def _with_numbers(frame: Frame, reading: Reading, known: Known) -> Frame:
    amounts = reading.source.amounts
    coin = known.currency_of(pl.col("machine"))
    return plain_numbers(
        frame, _numbers(reading), coin=coin, decimal=amounts.decimal, minor_units=amounts.minor_units
    )


def _when(frame: Frame, reading: Reading) -> pl.Series:
    there = reading.columns
    if "date" in there and "clock" in there:
        both = pl.concat_str(pl.col("text_date", "text_clock").cast(pl.String), separator=" ")
        return frame.select(both.alias("text_when")).to_series()
    if "time" in there:
        return frame["text_time"].alias("text_when")
    return pl.Series("text_when", [None], dtype=pl.String).new_from_index(0, frame.height)
