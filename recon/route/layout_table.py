"""A layout kept as a table: one row for each slot and for each change, empty cells keeping what was there
before.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from recon.model.problem import Place, Problem
from recon.route.faults import bad_value, shown
from recon.route.table import HEADER, Table, read_table

_SLOT_COLUMNS = ("label", "bus", "tray", "pitch", "product", "price", "card_price", "capacity", "par")
COLUMNS = ("machine", "from", *_SLOT_COLUMNS, "retire")
_YES, _NO = ("true", "yes", "1"), ("false", "no", "0")


@dataclass
class TableLayout:
    """A table turned into what a TOML layout would hold, with the row that each slot and change came from.

    data: as tomllib would give it; None where the table cannot be used. A slot whose first row comes later
    than the earliest of the file is a slot without a product, put in use by a change of that row.
    """

    table: Table
    data: dict[str, Any] | None = None
    rows: dict[tuple[str, int], int] = field(default_factory=dict)
    effective_row: int = HEADER
    problems: list[Problem] = field(default_factory=list)

    def place(self, path: Sequence[str | int]) -> Place:
        """As for TOML: ("slot", 3, "bus") is the cell `bus` of the row of the fourth slot."""
        first = path[0] if path else None
        if first == "effective":
            return self.table.place(self.effective_row, "from")
        if first == "machine" and self.table.rows:
            return self.table.place(0, "machine")
        row = self.rows.get((str(first), path[1])) if len(path) > 1 and isinstance(path[1], int) else None
        if row is None:
            return self.table.place(HEADER)
        column = path[2] if len(path) > 2 else None
        written = column if isinstance(column, str) and column in self.table.rows[row] else None
        return self.table.place(row, written)


def read_layout_table(file: str, text: str) -> TableLayout:
    """Read `layouts/NAME.csv`. The first row of a label is its slot, every further row a change of it."""
    table = read_table(file, text, COLUMNS, required=("machine", "from", "label"))
    layout = TableLayout(table, problems=table.problems)
    if layout.problems:
        return layout
    if not table.rows:
        layout.problems.append(
            bad_value(Place(file, 1, 1), "the file", "no row under the header", "a row for each slot")
        )
        return layout
    moments = [_moment(layout, row) for row in range(len(table.rows))]
    machine = _machine(layout)
    retired = [_retired(layout, row) for row in range(len(table.rows))]
    known = [moment for moment in moments if moment is not None]
    if layout.problems or machine is None:
        return layout
    effective = min(known)
    layout.effective_row = moments.index(effective)
    data: dict[str, Any] = {"machine": machine, "effective": effective, "slot": [], "change": []}
    seen: dict[str, dict[datetime, int]] = {}
    for row, (moment, retire) in enumerate(zip(known, retired, strict=True)):
        label = table.rows[row]["label"]
        dates = seen.setdefault(label, {})
        if moment in dates:
            layout.problems.append(_twice(layout, row, dates[moment], machine, moment))
            continue
        _add(layout, data, row, moment, effective, retire, first=not dates)
        dates[moment] = row
    layout.data = data
    return layout


def _add(
    layout: TableLayout,
    data: dict[str, Any],
    row: int,
    moment: datetime,
    effective: datetime,
    retire: bool,
    first: bool,
) -> None:
    cells = {name: cell for name, cell in layout.table.rows[row].items() if name in _SLOT_COLUMNS}
    if first:
        late = moment > effective
        slot = (
            {name: cell for name, cell in cells.items() if name in ("label", "tray", "pitch")}
            if late
            else cells
        )
        if retire:
            slot = {name: cell for name, cell in slot.items() if name != "product"}
        layout.rows["slot", len(data["slot"])] = row
        data["slot"].append(slot)
        if not late:
            return
    layout.rows["change", len(data["change"])] = row
    data["change"].append({**cells, "from": moment, "retire": retire})


def _moment(layout: TableLayout, row: int) -> datetime | None:
    cells, table = layout.table.rows[row], layout.table
    if "label" not in cells:
        expected = "the slot's label, in every row"
        layout.problems.append(bad_value(table.place(row, "label"), "label", "nothing", expected))
    written = cells.get("from")
    try:
        moment = datetime.fromisoformat(written or "")
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is not None:
        found = "nothing" if written is None else shown(written)
        expected = "a local date and time such as 2026-08-03 07:00, without an offset, in every row"
        layout.problems.append(bad_value(table.place(row, "from"), "from", found, expected))
        return None
    return moment


def _machine(layout: TableLayout) -> str | None:
    """A file is one machine's; an empty cell means the machine of the rows above."""
    machine = None
    for row, cells in enumerate(layout.table.rows):
        named = cells.get("machine", machine)
        if named is None or (machine is not None and named != machine):
            expected = (
                "the machine's id"
                if machine is None
                else f'"{machine}", as in the rows above: one file, one machine'
            )
            found = "nothing" if named is None else shown(named)
            layout.problems.append(
                bad_value(layout.table.place(row, "machine"), "machine", found, expected, machine)
            )
            return machine
        machine = named
    return machine


def _retired(layout: TableLayout, row: int) -> bool:
    written = layout.table.rows[row].get("retire", "no")
    if written.lower() in _YES:
        return True
    if written.lower() not in _NO:
        place = layout.table.place(row, "retire")
        layout.problems.append(
            bad_value(place, "retire", shown(written), "true, yes or 1; false, no, 0 or empty")
        )
    return False


def _twice(layout: TableLayout, row: int, other: int, machine: str, moment: datetime) -> Problem:
    label = layout.table.rows[row]["label"]
    place = layout.table.place(row, "label")
    facts = {
        "found": f"label {label} from {moment:%Y-%m-%d %H:%M}",
        "expected": "one row for a label and a time",
        "other": f"line {layout.table.lines[other]}",
    }
    return Problem("duplicate-label", place, facts, machine=machine, label=label)
