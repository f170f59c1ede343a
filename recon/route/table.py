"""A small CSV table of settings (a layout, products.csv): named columns, and line and column of every cell.

Python's csv module is enough for files of this size; sales logs are read elsewhere. Source of the grammar:
RFC 4180, with `;` and tab as delimiters too, because spreadsheets write them in many countries.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from recon.model.problem import Place, Problem
from recon.route.faults import bad_value, shown, unknown_key

HEADER = -1
"""Where a place is asked for in the header instead of a row."""


@dataclass
class Table:
    """The rows of a CSV file by column name; empty cells are left out, cells are stripped.

    lines: the line on which each row begins, counted from 1. columns: the known columns to their position.
    width: how many cells the header has.
    """

    file: str
    text: str
    delimiter: str = ","
    columns: dict[str, int] = field(default_factory=dict)
    rows: list[dict[str, str]] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    header_line: int = 1
    width: int = 0
    problems: list[Problem] = field(default_factory=list)

    def place(self, row: int, column: str | int | None = None) -> Place:
        """The cell of that row and column; the start of the row where it has no such cell."""
        line = self.header_line if row == HEADER else self.lines[row]
        index = self.columns.get(column) if isinstance(column, str) else column
        return Place(self.file, line, 1 if index is None else self._column_at(line, index))

    def _column_at(self, line: int, index: int) -> int:
        """The character at which a cell begins, from 1; 1 where it begins on a later line of a quoted row."""
        text = self.text.split("\n")[line - 1]
        at, quoted = 0, False
        while index and at < len(text):
            if text[at] == '"':
                quoted = not quoted
            elif text[at] == self.delimiter and not quoted:
                index -= 1
            at += 1
        return 1 if index else at + 1


def read_table(file: str, text: str, known: Sequence[str], required: Sequence[str]) -> Table:
    """Read a table whose first filled line names the columns, in any order and in upper or lower case.

    known: every column there may be. required: those that must be there. What is wrong is in the table's
    `problems`: unknown, doubled and missing columns, rows with more cells than columns, quotes that never
    close.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    first = next(line for line in text.split("\n") if line.strip())
    delimiter = max(",;\t", key=first.count)
    table = Table(file, text, delimiter if delimiter in first else ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=table.delimiter, strict=True)
    named = False
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                if named:
                    _add_row(table, cells, line)
                else:
                    named = True
                    _name_columns(table, cells, line, known, required)
            line = reader.line_num + 1
    except csv.Error as error:
        table.problems.append(
            bad_value(Place(file, line, 1), "the row", f"a broken quote ({error})", "a row of a CSV file")
        )
    return table


def _name_columns(
    table: Table, cells: list[str], line: int, known: Sequence[str], required: Sequence[str]
) -> None:
    table.header_line, table.width = line, len(cells)
    for at, cell in enumerate(cells):
        name = cell.strip().lower()
        if name in table.columns:
            expected = "each column once"
            table.problems.append(
                bad_value(table.place(HEADER, at), name, f'the column "{name}" again', expected)
            )
        elif name in known:
            table.columns[name] = at
        elif name:
            table.problems.append(unknown_key(table.place(HEADER, at), cell.strip(), known))
    for name in required:
        if name not in table.columns:
            found = ", ".join(shown(cell.strip()) for cell in cells[:12])
            table.problems.append(bad_value(table.place(HEADER), name, found, f"a column named {name}"))


def _add_row(table: Table, cells: list[str], line: int) -> None:
    table.rows.append(
        {name: cell for name, at in table.columns.items() if at < len(cells) and (cell := cells[at].strip())}
    )
    table.lines.append(line)
    extra = [at for at, cell in enumerate(cells) if at >= table.width and cell.strip()]
    if extra:
        at = extra[0]
        place = table.place(len(table.rows) - 1, at)
        table.problems.append(
            bad_value(place, "the row", shown(cells[at].strip()), f"at most {table.width} cells in this row")
        )
