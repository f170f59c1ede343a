"""Sheets of a workbook (.xlsx, .xls, .xlsb, .ods) as tables of text.

Cells come as text: a text as it is ("007"), a whole number without a point, a date as 2026-09-14 09:30:00, a clock
without its day, a formula as its last value. `row` is the row of the sheet as the program numbers it; hidden rows and
sheets are like others. A cell that holds an error (#DIV/0!) is empty. The reader is loaded when the first workbook
comes.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from recon.intake.cards import without_digits
from recon.intake.dialect import Candidate, Header, Sought, best_line, header_of
from recon.intake.encoding import OLE, UnreadableFile
from recon.intake.table import ROW, SHOWN, Passed, TextTable, without_blank
from recon.model.source import TableShape

_HEAD = 500
"""Rows among which the header is looked for."""
_CLOCK = r"^1899-12-3[01] (\d\d:\d\d(?::\d\d(?:\.\d+)?)?)$"
"""A cell that holds a clock alone comes with the day on which the program's count of days begins."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet that is not empty. cells: its columns as text, in order, from the sheet's first row on."""

    name: str
    cells: pl.DataFrame


@dataclass(frozen=True, slots=True)
class SheetLines:
    """The rows of a sheet, each spelled as a line of comma-separated cells."""

    cells: pl.DataFrame

    def of(self, rows: Sequence[int]) -> list[str]:
        return [_line(self.cells.row(row - 1)) for row in rows]


def _line(cells: Sequence[str | None]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow([cell or "" for cell in cells])
    return out.getvalue().rstrip(",")


def read_sheets(data: bytes) -> list[Sheet]:
    """The sheets of a workbook that hold anything. Raises UnreadableFile where it is locked, damaged or empty."""
    if data.startswith(OLE) and "EncryptedPackage".encode("utf-16-le") in data:
        raise UnreadableFile(_LOCKED)
    import fastexcel

    try:
        sheets = _load(data)
    except fastexcel.FastExcelError as error:
        locked = "password" in str(error).lower() or "encrypt" in str(error).lower()
        raise UnreadableFile(_LOCKED if locked else _DAMAGED) from error
    except BaseException as error:
        # The reader is a Rust library: what it did not foresee in a damaged file arrives as a panic, which is no
        # Exception.
        if type(error).__name__ != "PanicException":
            raise
        raise UnreadableFile(_DAMAGED) from error
    if not sheets:
        raise UnreadableFile("the workbook is empty: expected a sheet with a header row and rows below it")
    return sheets


_LOCKED = "the workbook is locked with a password: save it without one"
_DAMAGED = "the workbook is damaged, or is none: open it in a spreadsheet program and save it again as .xlsx or CSV"


def _load(data: bytes) -> list[Sheet]:
    import fastexcel

    book = fastexcel.read_excel(data)
    sheets = []
    for name in book.sheet_names:
        # skip_rows=0 keeps empty rows above the first filled one, so that rows keep their numbers.
        frame = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string").to_polars()
        if frame.height and frame.width:
            cells = frame.select(
                pl.col(column).str.replace(_CLOCK, "${1}").alias(f"_{at}") for at, column in enumerate(frame.columns)
            )
            sheets.append(Sheet(name, cells))
    return sheets


def table_of_sheet(sheet: Sheet, sought: Sought, shape: TableShape) -> TextTable:
    """A sheet as a table: its header found as in a text file, merged titles above it passed over.

    Raises UnreadableFile where the description's header_line is no row of the sheet.
    """
    header = _header(sheet, sought, shape)
    names = [f"_{at}" for at in range(len(header.names))]
    numbered = sheet.cells.with_columns((pl.int_range(pl.len(), dtype=pl.Int64) + 1).alias(ROW))
    below = without_blank(numbered.filter(pl.col(ROW) > header.line), names)
    lines = SheetLines(sheet.cells)
    again = [int(cells[-1]) for cells in below.filter(below.to_series(0) == sheet.cells.row(header.line - 1)[0]).rows()
             if cells[:-1] == sheet.cells.row(header.line - 1)]  # fmt: skip
    above = [row for row in range(1, header.line) if any((cell or "").strip() for cell in sheet.cells.row(row - 1))]
    frame = below.filter(~pl.col(ROW).is_in(again)).rename(dict(zip(names, header.names, strict=True)))
    passed = tuple(
        Passed(row, text[:SHOWN]) for row, text in zip([*above, *again], lines.of([*above, *again]), strict=True)
    )
    return TextTable(
        header.names, frame, lines, passed=passed, doubled=header.doubled, line=header.line, certain=header.certain
    )  # fmt: skip


def _header(sheet: Sheet, sought: Sought, shape: TableShape) -> Header:
    rows = [[cell or "" for cell in row] for row in sheet.cells.head(max(_HEAD, shape.header_line or 0)).rows()]
    found: Candidate | None
    if shape.header_line is not None:
        given = rows[shape.header_line - 1 : shape.header_line]
        found = best_line([(shape.header_line, cells) for cells in given], sought)
        if found is None:
            raise UnreadableFile(
                f"the description says that the header stands in row {shape.header_line},"
                f' where the sheet "{without_digits(sheet.name)}" has nothing'
            )
    else:
        found = best_line([(at, cells) for at, cells in enumerate(rows, start=1) if any(cells)], sought)
    return header_of(found or Candidate(1, rows[0], (1, 0, 0, 0)), ",")
