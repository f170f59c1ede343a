"""Layouts as frames: machines, slots, and the states of each slot over time, in UTC."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache
from itertools import pairwise
from typing import Final

import polars as pl

from recon.match.numbering import body_of, numbers
from recon.match.timeline import SlotState, changes_by_label, first_state, states_of, tray_of
from recon.model.border import guard
from recon.model.currencies import EXPONENTS
from recon.model.frames import MACHINES, PRODUCTS, SLOTS, STATES, Frame
from recon.model.layout import Layout, Product
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
    zones = [layout.timezone or route.settings.timezone for layout in entries]
    currencies = [layout.currency or route.settings.currency for layout in entries]
    every_digits = [EXPONENTS[currency] for currency in currencies]
    names, sites = [layout.machine for layout in entries], [layout.site for layout in entries]
    machines = [names, sites, zones, currencies, every_digits]
    rows = _Rows(route.products)
    for layout, zone_name, digits in zip(entries, zones, every_digits, strict=True):
        rows.add(layout, zone_name, digits)
    return Layouts(
        machines=guard(pl.DataFrame(machines, schema=MACHINES.schema, orient="col"), MACHINES),
        slots=guard(rows.slots(), SLOTS),
        states=guard(_in_order(rows.states()), STATES),
    )


class _Rows:
    """Rows of the frames `slots` and `states`, while they are gathered.

    Machines share most of their slots: what a state says of its slot is kept once (`_said`), and each state is the
    number of what it says (`_codes`) with its slot, its machine and when it begins.
    """

    def __init__(self, products: Mapping[str, Product]) -> None:
        self._products = products
        self._said: list[tuple[object, ...]] = []
        self._numbers: dict[tuple[int, int | None, int], int] = {}
        self._bodies: dict[tuple[object, ...], tuple[list[int], list[int]]] = {}
        self._codes: list[int] = []
        self._slots: list[int] = []
        self._starts: list[datetime] = []
        self._first: list[int] = []
        self._machines: list[str] = []
        self._of: list[int] = []

    def add(self, layout: Layout, zone_name: str, digits: int) -> None:
        """Return all states of a machine's slots, slot by slot. digits: of its currency."""
        start, before, slot = in_utc(layout.effective, zone_name), len(self._codes), len(self._first)
        if layout.changes:
            codes = self._changed(layout, zone_name, digits)
            begins = self._begins(codes)
        else:
            body = (digits, *body_of(layout))
            if body not in self._bodies:
                codes = [self._slot(layout, at, number, digits) for at, number in enumerate(numbers(layout))]
                self._bodies[body] = codes, self._begins(codes)
            codes, begins = self._bodies[body]
            self._starts += [start] * len(codes)
        self._codes += codes
        self._of += [len(self._machines)] * len(codes)
        self._machines.append(layout.machine)
        self._first += [before + at for at in begins]
        for at, after in pairwise((*begins, len(codes))):
            self._slots += [slot] * (after - at)
            slot += 1

    def _changed(self, layout: Layout, zone_name: str, digits: int) -> list[int]:
        """Return the states of a layout with changes; when each begins is noted at once."""
        changes, codes = changes_by_label(layout), []
        for position, number in enumerate(numbers(layout)):
            own = changes.get(layout.slots[position].label)
            if own is None:
                codes.append(self._slot(layout, position, number, digits))
                self._starts.append(in_utc(layout.effective, zone_name))
                continue
            for state in states_of(first_state(layout, position, number), own):
                codes.append(len(self._said))
                self._said.append(_said_of(state, digits, self._products))
                self._starts.append(in_utc(state.start, zone_name))
        return codes

    def _slot(self, layout: Layout, position: int, number: int | None, digits: int) -> int:
        """Return the number of what a slot says that never changes."""
        key = (id(layout.slots[position]), number, digits)
        if key not in self._numbers:
            self._numbers[key] = len(self._said)
            self._said.append(_said_of(first_state(layout, position, number), digits, self._products))
        return self._numbers[key]

    def _begins(self, codes: Sequence[int]) -> list[int]:
        """At which of a machine's states a slot begins: where the label is another than before."""
        labels = [self._said[code][0] for code in codes]
        return [at for at, label in enumerate(labels) if at == 0 or label != labels[at - 1]]

    def states(self) -> Frame:
        """Return the frame `states`, without ends."""
        if not self._codes:
            return STATES.empty()
        said = pl.DataFrame(list(zip(*self._said, strict=True)), schema=_SAID, orient="col")
        codes, of = pl.Series(self._codes, dtype=pl.UInt32), pl.Series(self._of, dtype=pl.UInt32)
        columns = {
            "state": range(len(self._codes)),
            "slot": self._slots,
            "machine": pl.Series(self._machines, dtype=pl.String).gather(of),
            "starts": self._starts,
            "ends": [None] * len(self._codes),
            **{name: said.get_column(name).gather(codes) for name in _SAID},
        }
        return pl.DataFrame({name: columns[name] for name in STATES.schema}, schema=STATES.schema)

    def slots(self) -> Frame:
        """Return the frame `slots`."""
        labels = [self._said[self._codes[at]][0] for at in self._first]
        machines = [self._machines[self._of[at]] for at in self._first]
        return pl.DataFrame([range(len(labels)), machines, labels], schema=SLOTS.schema, orient="col")


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


_SAID: Final = {
    name: dtype
    for name, dtype in STATES.schema.items()
    if name not in ("state", "slot", "machine", "starts", "ends")
}
"""What a state says of its slot, whichever machine it is in and whenever it begins."""


def _said_of(state: SlotState, digits: int, products: Mapping[str, Product]) -> tuple[object, ...]:
    product = None if state.product is None else products.get(state.product)
    return (
        state.label,
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
