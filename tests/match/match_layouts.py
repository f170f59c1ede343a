"""Layouts and vends for the match tests, made from what each test states."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from recon.match.states import Layouts, layouts
from recon.model.frames import COUNTS, VENDS, Frame
from recon.model.layout import Change, Layout, Slot
from recon.model.settings import Settings
from recon.route.folder import Route
from recon.route.layouts import LayoutFile

START = datetime(2026, 8, 3, 7)
"""When every layout here takes effect; the route's zone is UTC, so local times are UTC."""


def hour(after: float) -> datetime:
    """A moment so many hours after START, UTC."""
    return START.replace(tzinfo=UTC) + timedelta(hours=after)


def slot(label: str, bus: int | None = None, **keys: object) -> Slot:
    return Slot.model_validate({"label": label, "bus": bus, "product": "gum", "price": "1.75"} | keys)


def change(after: float, label: str, **keys: object) -> Change:
    """A change so many hours after START."""
    return Change.model_validate({"from": START + timedelta(hours=after), "label": label, **keys})


def layout(*slots: Slot, changes: Iterable[Change] = (), machine: str = "m-1", **keys: object) -> Layout:
    return Layout.model_validate(
        {"machine": machine, "effective": START, "slot": slots, "change": tuple(changes), **keys}
    )


def route(*machines: Layout) -> Route:
    files = tuple(LayoutFile(f"layouts/{one.machine}.toml", one, lambda path: None) for one in machines)
    settings = Settings(name="Test route", currency="CAD", timezone="UTC")
    return Route(root=Path(), settings=settings, layouts=files)


def laid(*machines: Layout) -> Layouts:
    return layouts(route(*machines))


def vends(*rows: tuple[datetime, int | None, str | None], machine: str = "m-1") -> Frame:
    """One vend a row: (moment, bus number, label)."""
    return _rows(VENDS.schema, rows, machine, tender="cash", outcome="vended", quantity=1)


def counts(*rows: tuple[datetime, int | None, str | None], machine: str = "m-1") -> Frame:
    return _rows(COUNTS.schema, rows, machine, counted=1, loaded=0, removed=0)


def _rows(
    schema: dict[str, pl.DataType | type[pl.DataType]],
    rows: Sequence[tuple[datetime, int | None, str | None]],
    machine: str,
    **keys: object,
) -> Frame:
    same = {"file": 0, "machine": machine, "zone": "UTC", **keys}
    told = [
        same | {"row": 2 + at, "time": time, "bus": bus, "label": label}
        for at, (time, bus, label) in enumerate(rows)
    ]
    return pl.DataFrame(told, schema=schema)
