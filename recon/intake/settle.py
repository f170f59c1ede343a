"""Rows told from what is none: short rows, total lines, and notes below the table, once it is known which column is
which.

What could be a row is a row, and is rejected with its reason rather than passed over:

- A short row is padded where the cells that it lacks, at its end, are none that its kind must have. The last line of
  a file that ends without a line end is not: it may have been cut off.
- A total line begins, in its first filled cell, with a word for a total; its time and machine are empty or do not
  read.
- A note stands below the last row: one filled cell alone, which no row has in that column, or a torn line in which
  fewer than half of the filled cells hold a digit.
- A line of a count or cash sheet of which only machine and slot are named, with no time and no figure, was never filled
  in (recon.intake.unfilled).
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import polars as pl

from recon.intake.describe import Reading, meets
from recon.intake.table import FEW_ROWS, ROW, SHOWN, Passed, TextTable, Torn, begin_between, frame_of
from recon.intake.unfilled import without_unfilled

_TOTAL = (
    r"(?i)^\W*(?:(?:grand|sub|sous|over)[- ]?|total\s+(?:de\s+)?)?(?:"
    r"totals?|subtotals?|sum|overall|"
    r"summe|gesamt\w*|zwischensumme|endsumme|insgesamt|"
    r"totaux|somme|montant total|"
    r"total(?:es)?|suma|"
    r"totale|totali|subtotale|somma|"
    r"totaal|totalen|subtotaal|eindtotaal|som|"
    r"totais|soma)(?:[^\p{L}]|$)"
)
"""Words for a total in English, German, French, Spanish, Italian, Dutch and Portuguese, at the start of a cell."""
_BEGINS = re.compile(r"\s*[0-9]")
_TOTAL_WORD = re.compile(_TOTAL.replace(r"[^\p{L}]", r"[\W\d_]"))


def settle(table: TextTable, reading: Reading) -> TextTable:
    """Pad short rows, and pass over totals and notes. Every record of `table` stays: in frame, torn or passed."""
    if table.settled:
        return table
    filled = without_unfilled(padded(table, reading), reading)
    return replace(_without_totals_and_notes(filled, reading), settled=True)


def padded(table: TextTable, reading: Reading) -> TextTable:
    fixed = {"machine"} if reading.machine is not None else set()
    place = {table.header.index(column): field for field, column in reading.columns.items()}
    width = len(table.header)
    last = max((torn.row for torn in table.torn), default=0)
    cut_off = last if table.cut and (table.frame.height == 0 or last > _last(table.frame)) else None
    short: list[Torn] = []
    left: list[Torn] = []
    for torn in table.torn:
        there = {field for at, field in place.items() if at < len(torn.cells)} | fixed
        # One cell is no row but for a table of one column: that is what a note looks like.
        enough = 1 < len(torn.cells) < width and meets(reading.kind, there)
        if enough and torn.row == cut_off:
            left.append(replace(torn, reason=f"{torn.reason}: the file may have been cut off here"))
        else:
            (short if enough else left).append(torn)
    if not short:
        return replace(table, torn=tuple(left))
    full = [[*torn.cells, *[None] * (width - len(torn.cells))] for torn in short]
    more = frame_of(table.header, full).with_columns(pl.Series(ROW, [torn.row for torn in short], dtype=pl.Int64))
    return replace(table, frame=pl.concat([table.frame, more]).sort(ROW), torn=tuple(left))


def _last(frame: pl.DataFrame) -> int:
    """The last line in a frame that is in the order of its lines; 0 where it has none."""
    return int(frame[ROW][-1]) if frame.height else 0


class _Stray(NamedTuple):
    """A record that does not read as a row: its line and cells, and whether it lacks or exceeds the header's cells."""

    row: int
    cells: tuple[str | None, ...]
    torn: bool

    @property
    def filled(self) -> list[tuple[int, str]]:
        return [(at, cell.strip()) for at, cell in enumerate(self.cells) if cell is not None and cell.strip()]


def _without_totals_and_notes(table: TextTable, reading: Reading) -> TextTable:
    timed = _time_columns(reading)
    if not timed:
        return table
    unread = _unread(table, timed)
    if unread is None and not table.torn:
        return table
    if unread is None:
        unread = pl.Series([False], dtype=pl.Boolean).new_from_index(0, table.frame.height)
    rows = table.frame.filter(unread)
    if rows.height == table.frame.height:
        # Nothing reads as a row: the fault is elsewhere, and no line may go on the strength of it.
        return table
    strays = [_Stray(int(cells[-1]), cells[:-1], False) for cells in rows.rows()] + [
        _Stray(torn.row, torn.cells, True) for torn in table.torn
    ]
    if not strays:
        return table
    strays.sort(key=lambda stray: stray.row)
    gone = {stray.row for stray in strays if _is_total(stray, table.header, reading, timed)}
    last = _last(table.frame.filter(~unread))
    for stray in reversed([stray for stray in strays if stray.row > last]):
        if stray.row not in gone and not _is_note(stray, table):
            break
        gone.add(stray.row)
    if not gone:
        return table
    ordered = sorted(gone)
    passed = [Passed(row, text[:SHOWN]) for row, text in zip(ordered, table.original(ordered), strict=True)]
    return replace(
        table, frame=table.frame.filter(~pl.col(ROW).is_in(ordered)), passed=(*table.passed, *passed),
        torn=tuple(torn for torn in table.torn if torn.row not in gone),
    )  # fmt: skip


def _time_columns(reading: Reading) -> list[str]:
    """The columns without which nothing is a row: its time, or the days of a payout; the label in a list of tests."""
    for fields in (("time",), ("date", "clock"), ("paid_on",), ("label",)):
        if all(field in reading.columns for field in fields):
            return [reading.columns[field] for field in fields]
    return []


def _unread(table: TextTable, columns: Sequence[str]) -> pl.Series | None:
    """Where a time is empty, holds no digit, or begins with a word for a total; None where that is nowhere.

    One look over a column, where all is well.
    """
    bad: pl.Series | None = None
    for name in columns:
        text = table.column(name)
        if text.len() <= FEW_ROWS and all(cell is not None and _BEGINS.match(cell) for cell in text.to_list()):
            continue
        if begin_between(text, "0", ":"):
            continue
        good = text.str.contains(r"^\s*[0-9]").fill_null(False)
        if good.all():
            continue
        doubtful = text.filter(~good)
        worse = (
            doubtful.is_null()
            | ~doubtful.str.contains("[0-9]").fill_null(False)
            | doubtful.str.contains(_TOTAL).fill_null(False)
        )
        here = _spread(good, worse)
        bad = here if bad is None else bad | here
    return bad


def _spread(good: pl.Series, worse: pl.Series) -> pl.Series:
    """The verdicts `worse` on the places where `good` is false, and false elsewhere."""
    places = (~good).arg_true().filter(worse)
    return pl.repeat(False, good.len(), eager=True).scatter(places, True)


def _is_total(stray: _Stray, header: Sequence[str], reading: Reading, timed: Sequence[str]) -> bool:
    filled = stray.filled
    if not filled or not _TOTAL_WORD.match(filled[0][1]):
        return False
    first = filled[0][0]
    machine = [reading.columns["machine"]] if "machine" in reading.columns else []
    deciding = [header.index(name) for name in (*timed, *machine)]
    return all(at == first or not _reads(cell, header[at] in machine) for at, cell in filled if at in deciding)


def _reads(cell: str, is_machine: bool) -> bool:
    """Whether a cell that is filled may be a machine (any text) or a time (any with a digit, but for a total's)."""
    return is_machine or (any(mark.isdigit() for mark in cell) and not _TOTAL_WORD.match(cell))


def _is_note(stray: _Stray, table: TextTable) -> bool:
    filled = stray.filled
    if len(filled) == 1:
        at, cell = filled[0]
        elsewhere = (
            table.frame.filter(pl.col(ROW) != stray.row).to_series(at).alias("cells")
            if at < len(table.header)
            else None
        )
        return elsewhere is None or not bool((elsewhere.str.strip_chars() == cell).any())
    digits = sum(any(mark.isdigit() for mark in cell) for _, cell in filled)
    return stray.torn and digits * 2 < len(filled)
