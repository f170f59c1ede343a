"""One file's cells by our field names, its times read: what can only be settled file by file.

Everything else is read for all files of one format at once, which asks polars few large questions, not many small ones.
"""

from datetime import datetime

import polars as pl

from recon.intake.amounts import MONEY, WHOLE, plain_numbers
from recon.intake.clock import Written, read_times
from recon.intake.describe import Reading
from recon.intake.known import Known
from recon.intake.table import ROW, TextTable
from recon.intake.values import trimmed
from recon.model.frames import Frame
from recon.model.words import FileKind

DAYS = ("paid_on", "from", "to")
CLOCKED: tuple[FileKind, ...] = ("vends", "counts", "loads", "cash", "tests")
"""Kinds whose rows have a moment; payouts have days."""


def by_field(table: TextTable, reading: Reading, *, file: int, now: datetime, known: Known) -> Frame:
    """The cells of a file as `text_<field>` (trimmed, null where empty), with `file`, `row` and `machine`.

    Rows with a moment get `text_when`, `local` (naive) and `moment` (UTC, where an offset was given); payouts get a
    date for each of their days (`paid_on`, `from`, `to`). Number columns that are not plain get `plain_<field>` and
    `odd_<field>` (see recon.intake.amounts). Raises AmbiguousFormat where a column can be read two ways.
    """
    cells = {f"text_{field}": table.column(column) for field, column in reading.columns.items()}
    texts = [trimmed(name).alias(name) for name in cells]
    frame = pl.DataFrame({"row": table.frame[ROW], **cells})
    frame = frame.select(pl.lit(file, pl.Int32).alias("file"), "row", *texts)
    frame = _with_numbers(frame.with_columns(_machine(reading).alias("machine")), reading, known)
    form = reading.source.time.format
    if reading.kind in CLOCKED:
        frame = frame.with_columns(_when(reading).alias("text_when"))
        written = read_times(frame["text_when"], form, now=now)
        return frame.with_columns(written.local.alias("local"), written.moment.alias("moment"))
    days = [_day(frame, reading, name, form, now).alias(name) for name in DAYS]
    return frame.with_columns(days)


def _with_numbers(frame: Frame, reading: Reading, known: Known) -> Frame:
    amounts, hexadecimal = reading.source.amounts, reading.source.bus_base == 16
    fields = [name for name in (*MONEY, *WHOLE) if name in reading.columns and not (name == "bus" and hexadecimal)]
    coin = known.currency_of(pl.col("machine"))
    return plain_numbers(frame, fields, coin=coin, decimal=amounts.decimal, minor_units=amounts.minor_units)


def _machine(reading: Reading) -> pl.Expr:
    """The machine: fixed by the description, from the file's name, or the column, in our names."""
    if reading.machine is not None:
        return pl.lit(reading.machine)
    if "machine" not in reading.columns:
        return pl.lit(None, pl.String)
    name = pl.col("text_machine")
    return name.replace(reading.source.machines) if reading.source.machines else name


def _when(reading: Reading) -> pl.Expr:
    there = reading.columns
    if "date" in there and "clock" in there:
        return pl.concat_str("text_date", "text_clock", separator=" ")
    return pl.col("text_time") if "time" in there else pl.lit(None, pl.String)


def _day(frame: Frame, reading: Reading, name: str, form: str | None, now: datetime) -> pl.Series:
    if name not in reading.columns:
        return pl.Series([None], dtype=pl.Date).new_from_index(0, frame.height)
    written: Written = read_times(frame[f"text_{name}"], form, now=now, with_clock=False, key=name)
    return written.local.dt.date()
