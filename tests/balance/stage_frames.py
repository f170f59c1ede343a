"""The frames that the balance stages take, from plain tuples; minutes count from 2026-09-01 00:00 UTC."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import polars as pl

from recon.match.states import Layouts
from recon.model import frames

START = datetime(2026, 9, 1, tzinfo=UTC)
VEND_FILE, COUNT_FILE, LOAD_FILE, CASH_FILE = 0, 1, 2, 3


def at(minute: float) -> datetime:
    return START + timedelta(minutes=minute)


def frame(spec: frames.FrameSpec, rows: Iterable[dict[str, object]], **more: pl.DataType) -> pl.DataFrame:
    """Rows as a frame of this spec, columns that no row names empty; `more` are columns beyond the spec."""
    schema = spec.schema | more
    return pl.DataFrame([{name: row.get(name) for name in schema} for row in rows], schema=schema)


def one_machine(
    slots: int = 1, *, capacity: int = 50, price: int = 200, machines: tuple[str, ...] = ("m-1",)
) -> Layouts:
    """Slots 0, 1, ... of the first machine, in use from long before."""
    known = [{"machine": name, "zone": "UTC", "currency": "CAD", "digits": 2} for name in machines]
    named = [{"slot": at, "machine": machines[0], "label": f"A{at}"} for at in range(slots)]
    held = {
        "starts": START - timedelta(days=365),
        "in_use": True,
        "product": "gum",
        "price": price,
        "capacity": capacity,
        "unit_cost": 70_0000,
    }
    states = [{**each, **held, "state": each["slot"], "bus": each["slot"]} for each in named]
    return Layouts(frame(frames.MACHINES, known), frame(frames.SLOTS, named), frame(frames.STATES, states))


def priced(rows: Iterable[dict[str, object]]) -> pl.DataFrame:
    """Vends as they come out of pricing, with `minute` for their time; sensible values stand in for what is
    not given."""
    common = {
        "file": VEND_FILE,
        "machine": "m-1",
        "zone": "UTC",
        "tender": "cash",
        "outcome": "vended",
        "quantity": 1,
        "slot": 0,
        "state": 0,
        "priced": "log",
        "stayed_paid": True,
    }
    listed = []
    for row, vend in enumerate(rows, start=2):
        whole = common | {"row": row, "time": at(vend["minute"])} | vend  # type: ignore[arg-type]
        paid = whole.get("paid", 200)
        listed.append({"paid_low": paid, "paid_high": paid, "units": whole["quantity"], **whole})
    return frame(frames.PRICED_VENDS, listed)
