"""Lines of a drafted sheet that nobody filled in: machine and slot stand there, and neither a time nor a figure.

A sheet for a whole round comes back with the machines that were visited. The others are no rows, blank as they left the
printer: they are passed over and told. A line with a time and no figure is a row: that slot was left blank on a visit.
"""

from dataclasses import replace

import polars as pl

from recon.intake.describe import Reading
from recon.intake.table import FEW_ROWS, ROW, SHOWN, Passed, TextTable
from recon.model.words import FileKind

_NAMED = ("machine", "label", "bus")
"""Fields that a blank sheet may have filled in."""

_DRAFTED: dict[FileKind, tuple[str, ...]] = {"counts": ("machine", "label"), "cash": ("machine",)}
"""Fields that a drafted sheet has filled in on every line: where one is blank, somebody else wrote the line."""


def _any_blank(cells: pl.Series) -> bool:
    if cells.len() <= FEW_ROWS:
        return any(cell is None or not cell.strip() for cell in cells.to_list())
    return cells.null_count() > 0 or bool((cells.str.strip_chars() == "").any())


def without_unfilled(table: TextTable, reading: Reading) -> TextTable:
    """Pass over the lines of a count or cash sheet that hold nothing but what it was drafted with."""
    drafted, columns = _DRAFTED.get(reading.kind, ()), reading.columns
    if table.frame.height == 0 or not drafted or not columns.keys() >= {*drafted}:
        return table
    # The fields that a person fills in come first: most files are done with after one of them.
    asked = sorted((field in _NAMED, column, field in drafted) for field, column in columns.items())
    told = next((column for named, column, _ in asked if not named), None)
    if told is not None and not _any_blank(table.column(told)):
        return table
    blank: pl.Series | None = None
    for named, column, filled in asked:
        if named and not filled:
            continue
        cells = table.column(column)
        empty = cells.is_null() | (cells.str.strip_chars() == "")
        here = ~empty if filled else empty
        blank = here if blank is None else blank & here
        if not blank.any():
            return table
    assert blank is not None
    rows = table.frame.filter(blank)[ROW].to_list()
    passed = [Passed(row, text[:SHOWN]) for row, text in zip(rows, table.original(rows), strict=True)]
    return replace(table, frame=table.frame.filter(~blank), passed=(*table.passed, *passed))
