"""Numbers into the text of a layout kept as a table: cells replaced where they stand, rows added at the end.

A table cannot name a numbering rule: every number is written. Source of the grammar: RFC 4180.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence

from recon.model.layout import Layout
from recon.route.layout_table import TableLayout, read_layout_table
from recon.route.splice import Edit, spliced
from recon.route.table import HEADER
from recon.route.write_plan import Plan


def edited_csv(file: str, text: str, layout: Layout, plan: Plan) -> str:
    """The text with the plan carried out."""
    edits = _Cells(file, text)
    rows = edits.read.rows
    for name, values in (("pitch", plan.pitches), ("bus", plan.slots)):
        for at, value in values.items():
            edits.set(rows["slot", at], name, str(value))
    for at, bus in plan.changes.items():
        edits.set(rows["change", at], "bus", str(bus))
    start = layout.effective.isoformat()
    for label, number in plan.added:
        edits.append({"from": start, "label": label, "bus": "" if number is None else str(number)})
    for label, bus in plan.dated:
        assert plan.since is not None
        later = [
            rows["change", at]
            for at, change in enumerate(layout.changes)
            if change.label == label and change.start > plan.since
        ]
        cells = {"from": plan.since.isoformat(), "label": label, "bus": str(bus)}
        edits.append(cells, before=min(later, default=None))
    return edits.done(layout.machine)


def csv_row(cells: Sequence[str], delimiter: str) -> str:
    """One row without its line end, quoted where it has to be."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="").writerow(cells)
    return out.getvalue()


class _Cells:
    """Edits to the cells of a table, by the row that the reader numbered."""

    def __init__(self, file: str, text: str) -> None:
        self.read: TableLayout = read_layout_table(file, text)
        self.table = self.read.table
        self.text = text
        self._starts = [0, *(found.end() for found in re.finditer(r"\r\n|\r|\n", text))]
        self._edits: list[Edit] = []
        self._columns = dict(self.table.columns)
        self._width = self.table.width
        self._set: dict[int, dict[str, str]] = {}
        self._rows: list[tuple[int | None, dict[str, str]]] = []
        found = re.search(r"\r\n|\r|\n", text)
        self._end_of_line = found[0] if found else "\n"

    def set(self, row: int, column: str, value: str) -> None:
        self._set.setdefault(row, {})[column] = value

    def append(self, cells: Mapping[str, str], *, before: int | None = None) -> None:
        """A new row: before that one, else at the end. The machine is filled in."""
        self._rows.append((before, dict(cells)))

    def done(self, machine: str) -> str:
        needed = {name for cells in self._set.values() for name in cells} | ({"bus"} if self._rows else set())
        missing = sorted(needed - set(self._columns))
        if missing:
            _, end = self._cells(self.table.header_line)[-1]
            self._edits.append((end, end, "".join(self.table.delimiter + name for name in missing)))
        for name in missing:
            self._columns[name], self._width = self._width, self._width + 1
        for row, cells in self._set.items():
            self._change(row, cells)
        for before, cells in self._rows:
            self._insert(before, {"machine": machine, **cells})
        return spliced(self.text, self._edits)

    def _line_of(self, row: int) -> int:
        return self.table.header_line if row == HEADER else self.table.lines[row]

    def _cells(self, line: int) -> list[tuple[int, int]]:
        """From where to where each cell of the row that begins on that line goes, quotes included."""
        at = start = self._starts[line - 1]
        spans: list[tuple[int, int]] = []
        quoted = False
        while at < len(self.text) and (quoted or self.text[at] not in "\r\n"):
            if self.text[at] == '"':
                quoted = not quoted
            elif self.text[at] == self.table.delimiter and not quoted:
                spans.append((start, at))
                start = at + 1
            at += 1
        return [*spans, (start, at)]

    def _change(self, row: int, cells: Mapping[str, str]) -> None:
        spans = self._cells(self._line_of(row))
        behind = {self._columns[name]: value for name, value in cells.items() if self._columns[name] >= len(spans)}
        for name, value in cells.items():
            if self._columns[name] < len(spans):
                start, end = spans[self._columns[name]]
                self._edits.append((start, end, value))
        if behind:
            more = [behind.get(at, "") for at in range(len(spans), max(behind) + 1)]
            end = spans[-1][1]
            self._edits.append((end, end, "".join(self.table.delimiter + value for value in more)))

    def _insert(self, before: int | None, cells: Mapping[str, str]) -> None:
        row = [""] * self._width
        for name, value in cells.items():
            row[self._columns[name]] = value
        told = csv_row(row, self.table.delimiter)
        if before is not None:
            at = self._starts[self._line_of(before) - 1]
            self._edits.append((at, at, told + self._end_of_line))
            return
        at = len(self.text.rstrip("\r\n \t")) if not self.text.endswith(("\r", "\n")) else len(self.text)
        ended = self.text.endswith(("\r", "\n"))
        self._edits.append((at, at, told + self._end_of_line if ended else self._end_of_line + told))
