"""Layouts as frames: machines, slots, and the states of each slot over time, in UTC."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache

import polars as pl

from recon.match.timeline import SlotState, slot_states, tray_of
from recon.model.border import guard
from recon.model.frames import MACHINES, PRODUCTS, SLOTS, STATES, Frame
from recon.model.layout import Product
from recon.model.money import to_minor
from recon.model.zones import zone
from recon.route.folder import Route

COST_DIGITS = 4
"""A unit cost is kept in ten-thousandths of a minor unit: a case price over its units seldom comes out even."""


@dataclass(frozen=True, slots=True)
class Layouts:
    """All layouts of the route as frames."""

    machines: Frame
    slots: Frame
    states: Frame

    @property
    def zones(self) -> dict[str, str]:
        return dict(self.machines.select("machine", "zone").iter_rows())

    @property
    def digits(self) -> dict[str, int]:
        return dict(self.machines.select("machine", "digits").iter_rows())

    def of(self, first: str, last: str) -> "Layouts":
        """Those of the machines whose ids lie from `first` to `last`; slots and states keep their numbers."""
        own = pl.col("machine").is_between(pl.lit(first), pl.lit(last))
        return Layouts(*(frame.filter(own) for frame in (self.machines, self.slots, self.states)))


def layouts(route: Route) -> Layouts:
    """Lay out every slot's history. Slot numbers follow machine id and the order of the layout file."""
    entries = sorted((entry.layout for entry in route.layouts), key=lambda layout: layout.machine)
    machines = [
        (
            layout.machine,
            layout.site,
            route.zone_of(layout.machine),
            route.currency_of(layout.machine),
            route.exponent_of(layout.machine),
        )
        for layout in entries
    ]
    slots: list[tuple[int, str, str]] = []
    rows: list[tuple[object, ...]] = []
    for layout in entries:
        digits, zone_name = route.exponent_of(layout.machine), route.zone_of(layout.machine)
        number, label = len(slots) - 1, None
        for state in slot_states(layout):
            if state.label != label:
                label = state.label
                number += 1
                slots.append((number, layout.machine, label))
            rows.append((len(rows), number, *_state_row(state, digits, zone_name, route.products)))
    return Layouts(
        machines=guard(pl.DataFrame(machines, schema=MACHINES.schema, orient="row"), MACHINES),
        slots=guard(pl.DataFrame(slots, schema=SLOTS.schema, orient="row"), SLOTS),
        states=guard(_in_order(_by_columns(rows)), STATES),
    )


def _by_columns(rows: list[tuple[object, ...]]) -> Frame:
    """Rows as a frame `states`. Columns are built in half the time that rows are."""
    return pl.DataFrame(list(zip(*rows, strict=True)), schema=STATES.schema, orient="col") if rows else STATES.empty()


def _in_order(states: Frame) -> Frame:
    """Moved on by a gap of the clocks, a change can come to stand behind the next one: that one then waits for it."""
    # States stand slot by slot.
    own = pl.col("slot") == pl.col("slot").shift(-1)
    starts = pl.col("starts")
    if states.select((own & (starts.shift(-1) < starts)).any()).item():
        states = states.with_columns(starts.cum_max().over("slot"))
    return states.with_columns(pl.when(own).then(starts.shift(-1)).alias("ends"))


def product_changes(layouts: Layouts) -> Frame:
    """The moments at which a slot gets another product: slot, was, now, changed_at."""
    ordered = layouts.states.sort("slot", "starts", "state").with_columns(
        pl.col("product").shift(1).over("slot").alias("was")
    )
    changes = ordered.filter(
        pl.col("was").is_not_null() & pl.col("product").is_not_null() & (pl.col("was") != pl.col("product"))
    )
    return changes.select("slot", "was", pl.col("product").alias("now"), pl.col("starts").alias("changed_at"))


def _state_row(state: SlotState, digits: int, zone_name: str, products: Mapping[str, Product]) -> tuple[object, ...]:
    product = None if state.product is None else products.get(state.product)
    return (
        state.machine,
        state.label,
        in_utc(state.start, zone_name),
        None if state.end is None else in_utc(state.end, zone_name),
        state.in_use,
        state.bus,
        state.product,
        _minor(state.price, digits),
        _minor(state.card_price, digits),
        state.capacity,
        None if product is None else _minor(product.unit_cost, digits + COST_DIGITS),
        state.par,
        tray_of(state),
        state.pitch,
        None if product is None else product.name,
    )


def products(route: Route) -> Frame:
    """The frame `products`: products.csv without its unit costs, which are in the digits of each machine's currency
    and stand in `states`.
    """
    rows = [
        (each.id, each.name, each.category, each.case_size, each.shelf_days) for each in route.products.values()
    ]
    return guard(pl.DataFrame(rows, schema=PRODUCTS.schema, orient="row"), PRODUCTS)


@cache
def _minor(amount: Decimal | None, digits: int) -> int | None:
    """Prices recur from slot to slot: each is turned into minor units once."""
    return None if amount is None else to_minor(amount, digits)


@cache
def in_utc(local: datetime, zone_name: str) -> datetime:
    """A layout's local time in UTC; one that happened twice is the earlier, one in a gap is moved on by it (PEP 495,
    fold 0).
    """
    return local.replace(tzinfo=zone(zone_name), fold=0).astimezone(UTC)
