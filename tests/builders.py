"""A route folder in three lines, so that each test states only what matters to it.

    route = RouteBuilder(tmp_path).machine("m-1", slot("A1", price="2.00"))
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8").vends("09-03 12:00, A1, cash, 2.00")
    window = only(route.run().results.stock)

Rows are the lines of a file without the machine: `MM-DD HH:MM` is a local time of 2026, trailing cells may be
left out. A row is on the line of the file that its place says: the first row is line 2.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self, TypeVar

import recon
from recon.model.results import Finding

NOW = datetime(2026, 12, 1, 12, tzinfo=UTC)
"""The moment of every run of these tests: after every row that they write."""

COLUMNS = {
    "vends": "time,label,tender,price,outcome,reference,quantity",
    "counts": "time,label,counted,loaded,removed",
    "loads": "time,label,loaded,removed",
    "cash": "time,total,tubes",
    "payouts": "paid_on,from,to,gross,fees,net,reference",
    "tests": "label,time",
}
"""Our own field names in the order in which rows give them, unless a test names others."""

T = TypeVar("T")


def slot(label: str, **keys: object) -> dict[str, object]:
    """A slot that sells `gum` for 2.00, up to 50 of them; a key given as None is left out."""
    known: dict[str, object] = {"label": label, "product": "gum", "price": "2.00", "capacity": 50}
    return {name: value for name, value in (known | keys).items() if value is not None}


def change(start: str, label: str, **keys: object) -> dict[str, object]:
    """A dated change of a slot."""
    return {"from": start, "label": label, **keys}


def only(found: Iterable[T]) -> T:
    """The one thing that is there."""
    every = list(found)
    assert len(every) == 1, every
    return every[0]


def toml(values: dict[str, Any]) -> str:
    """Keys and values as TOML, one line each. JSON's spelling of texts, numbers and booleans is TOML's
    too."""
    return "".join(f"{name} = {json.dumps(value, default=str)}\n" for name, value in values.items())


def when(text: str) -> str:
    """`09-01 10:00` is in the year 2026; any other text stands as it is."""
    stripped = text.strip()
    short = len(stripped) >= 5 and stripped[2] == "-" and stripped[:2].isdigit()
    return f"2026-{stripped}" if short else stripped


@dataclass
class RouteBuilder:
    """Writes a route folder piece by piece; every method gives the builder back."""

    root: Path
    machines: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.root.mkdir(parents=True, exist_ok=True)
        (self.root / "inbox").mkdir(exist_ok=True)
        self.settings()

    def settings(self, *, currency: str = "CAD", timezone: str = "UTC", **tables: dict[str, object]) -> Self:
        """route.toml; each table by its name: settings(tolerance={"units": 1})."""
        text = toml({"name": "Test route", "currency": currency, "timezone": timezone})
        text += "".join(f"\n[{name}]\n{toml(keys)}" for name, keys in tables.items())
        return self.file("route.toml", text)

    def machine(
        self, name: str, *slots: dict[str, object], changes: Sequence[dict[str, object]] = (),
        effective: str = "2026-01-01T00:00:00", **keys: object,
    ) -> Self:  # fmt: skip
        """A layout in layouts/NAME.toml."""
        text = toml({"machine": name, "effective": effective, **keys})
        text += "".join(f"\n[[slot]]\n{toml(each)}" for each in slots)
        text += "".join(f"\n[[change]]\n{toml(each)}" for each in changes)
        self.machines = list(dict.fromkeys([*self.machines, name]))
        return self.file(f"layouts/{name}.toml", text)

    def products(self, **costs: str) -> Self:
        """products.csv: id to unit cost."""
        rows = "".join(f"{name},{cost}\n" for name, cost in costs.items())
        return self.file("products.csv", f"id,unit_cost\n{rows}")

    def file(self, name: str, content: str | bytes) -> Self:
        """Any file of the folder, as it is to stand there."""
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return self

    def vends(
        self, *rows: str, name: str = "vends.csv", machine: str | None = None, columns: str = COLUMNS["vends"]
    ) -> Self:
        return self._rows("vends", rows, name, machine, columns)

    def counts(
        self,
        *rows: str,
        name: str = "counts.csv",
        machine: str | None = None,
        columns: str = COLUMNS["counts"],
    ) -> Self:
        return self._rows("counts", rows, name, machine, columns)

    def loads(
        self, *rows: str, name: str = "loads.csv", machine: str | None = None, columns: str = COLUMNS["loads"]
    ) -> Self:
        return self._rows("loads", rows, name, machine, columns)

    def cash(
        self, *rows: str, name: str = "cash.csv", machine: str | None = None, columns: str = COLUMNS["cash"]
    ) -> Self:
        return self._rows("cash", rows, name, machine, columns)

    def payouts(self, *rows: str, name: str = "payouts.csv", columns: str = COLUMNS["payouts"]) -> Self:
        return self._rows("payouts", rows, name, "", columns)

    def tests(
        self, *rows: str, name: str = "tests.csv", machine: str | None = None, columns: str = COLUMNS["tests"]
    ) -> Self:
        return self._rows("tests", rows, name, machine, columns)

    def _rows(self, kind: str, rows: Sequence[str], name: str, machine: str | None, columns: str) -> Self:
        """Append rows to inbox/NAME; the machine is the first one laid out, unless another is named."""
        fields = columns.split(",")
        known = () if machine == "" else (machine or (self.machines[0] if self.machines else "m-1"),)
        lines = []
        for row in rows:
            cells = [when(cell) for cell in row.split(",")]
            assert len(cells) <= len(fields), f"{row!r} has more cells than {columns}"
            lines.append(",".join([*known, *cells, *[""] * (len(fields) - len(cells))]))
        path = self.root / "inbox" / name
        head = ",".join([*(["machine"] if known else []), *fields])
        text = path.read_text() if path.exists() else f"{head}\n"
        assert text.startswith(f"{head}\n"), f"{name} has other columns"
        return self.file(f"inbox/{name}", text + "".join(f"{line}\n" for line in lines))

    def run(self, **keys: Any) -> recon.Run:
        """Reconcile the folder in this process."""
        return recon.run(self.root, **{"now": NOW, **keys})


def of_kind(run: recon.Run, *kinds: str) -> list[Finding]:
    """The findings of these kinds, in their order."""
    return [finding for finding in run.results.findings if finding.kind in kinds]


def kinds(run: recon.Run) -> set[str]:
    """The kinds of all findings."""
    return {finding.kind for finding in run.results.findings}


def places(finding: Finding) -> set[tuple[str, int | None]]:
    """Evidence as file name and line."""
    return {(evidence.file.removeprefix("inbox/"), evidence.row) for evidence in finding.evidence}
