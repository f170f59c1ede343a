"""A blank count sheet: which machines, and which slots of each, in the order in which a person stands before them.

Blind by default: it carries no figure that could be copied instead of counted, neither stock nor sales. Common
practice, no source: a count that knows what it should find tends to find it.
"""

import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from recon.match.timeline import SlotState, slot_states, tray_of
from recon.model.errors import ReconError
from recon.model.layout import Layout
from recon.model.zones import zone
from recon.route.folder import Route
from recon.route.nearest import nearest

CAUTIONS = (
    "Open a machine as its maker says. Keep hands away from what turns, and leave shut what carries mains voltage.",
    "Never tip, shake or climb a machine: it can fall on you.",
    "Two people take and count the cash, out of sight of passers-by, and both names go on the sheet.",
)
"""What belongs on every count sheet. Common practice of the trade, no source."""


@dataclass(frozen=True, slots=True)
class SheetSlot:
    """One line of the sheet. product: its name, else its id. par: None unless the sheet shows it."""

    label: str
    product: str
    par: int | None


@dataclass(frozen=True, slots=True)
class Tray:
    """The slots of one tray, from left to right."""

    name: str
    slots: tuple[SheetSlot, ...]


@dataclass(frozen=True, slots=True)
class SheetMachine:
    """One machine on the sheet. zone: IANA name of its clock. currency, digits: of the money in it."""

    machine: str
    site: str | None
    zone: str
    currency: str
    digits: int
    trays: tuple[Tray, ...]

    @property
    def slots(self) -> tuple[SheetSlot, ...]:
        """All of its slots in the order of the sheet."""
        return tuple(slot for tray in self.trays for slot in tray.slots)


@dataclass(frozen=True, slots=True)
class CountSheet:
    """A blank sheet for one machine or several. day: the day it is for, as text. made: the moment it was made (UTC).

    after_load: whether counts are taken after the loads of the visit (`count_when` of the route's settings).
    left_out: machines without a slot in use that day, and why."""

    route: str
    zone: str
    day: str
    made: datetime
    show_par: bool
    after_load: bool
    machines: tuple[SheetMachine, ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def id(self) -> str:
        """Twelve hexadecimal digits: the same for the same sheet, another for any other."""
        facts = json.dumps(asdict(self), sort_keys=True, default=str)
        return hashlib.sha256(facts.encode("utf-8", "surrogatepass")).hexdigest()[:12]


def count_sheet(
    route: Route, machines: Sequence[str], *, now: datetime, on: datetime | None = None, show_par: bool = False
) -> CountSheet:
    """The sheet for these machines in the order given; with none named, for all, in the order of the layout files.

    now: the moment (aware). on: midnight (naive) of the day that the sheet is for, by each machine's own clock; None
    for the moment itself. For a day, a slot is on the sheet if it is in use at any time of it, as it stands when it
    first is. Raises ReconError where a machine has no layout, or no slot at all is in use.
    """
    found: list[SheetMachine] = []
    left_out: list[tuple[str, str]] = []
    for layout in _layouts(route, machines):
        clock = zone(route.zone_of(layout.machine))
        first = now.astimezone(clock).replace(tzinfo=None) if on is None else on
        last = first if on is None else first.replace(hour=23, minute=59, second=59, microsecond=999_999)
        trays = _trays(layout, route, first, last, show_par=show_par)
        if trays:
            found.append(_machine(route, layout, trays))
        elif layout.effective > last:
            left_out.append((layout.machine, f"its layout holds from {layout.effective:%Y-%m-%d %H:%M} on"))
        else:
            left_out.append((layout.machine, "no slot of it is in use then"))
    if not found:
        why = "; ".join(f"{machine}: {reason}" for machine, reason in left_out) or "the route has no layouts"
        raise ReconError(f"there is nothing to count: {why}. Look at layouts/, or name another day with --on")
    day = on if on is not None else now.astimezone(zone(route.settings.timezone))
    return CountSheet(
        route=route.settings.name,
        zone=route.settings.timezone,
        day=f"{day:%Y-%m-%d}",
        made=now,
        show_par=show_par,
        after_load=route.settings.stock.count_when == "after-load",
        machines=tuple(found),
        left_out=tuple(left_out),
    )


def _layouts(route: Route, machines: Sequence[str]) -> list[Layout]:
    known = {entry.layout.machine: entry.layout for entry in route.layouts}
    if not machines:
        return list(known.values())
    for machine in machines:
        if machine not in known:
            near = nearest(machine, list(known))
            meant = f' Did you mean "{near}"?' if near else ""
            raise ReconError(f'"{machine}" is no machine of {route.root.as_posix()} with a usable layout.{meant}')
    return [known[machine] for machine in dict.fromkeys(machines)]


def _machine(route: Route, layout: Layout, trays: tuple[Tray, ...]) -> SheetMachine:
    name = layout.machine
    return SheetMachine(
        name, layout.site, route.zone_of(name), route.currency_of(name), route.exponent_of(name), trays
    )


def _trays(layout: Layout, route: Route, first: datetime, last: datetime, *, show_par: bool) -> tuple[Tray, ...]:
    """Trays as the file lists them, the top one first; the slots of each by label, as a person numbers them."""
    trays: dict[str, list[SheetSlot]] = {}
    for state in _standing(slot_states(layout), first, last):
        product = route.products.get(state.product or "")
        name = (product and product.name) or state.product or ""
        par = state.par if show_par else None
        trays.setdefault(tray_of(state), []).append(SheetSlot(state.label, name, par))
    return tuple(
        Tray(name, tuple(sorted(slots, key=lambda slot: natural(slot.label)))) for name, slots in trays.items()
    )


def _standing(states: Iterable[SlotState], first: datetime, last: datetime) -> list[SlotState]:
    """Of each slot the first state in use between two local moments, both included; slots in the file's order."""
    found: dict[int, SlotState] = {}
    for state in states:
        if state.in_use and state.start <= last and (state.end is None or state.end > first):
            found.setdefault(state.position, state)
    return [found[position] for position in sorted(found)]


def natural(label: str) -> list[tuple[int, int, str]]:
    """The key that puts 9 before 10 and A2 before A10."""
    parts = re.findall(r"[0-9]+|[^0-9]+", label)
    return [(0, int(part), "") if part[0] in "0123456789" else (1, 0, part.casefold()) for part in parts]
