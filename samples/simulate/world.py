"""What happened: customers come, units drop, coins and notes go in, the operator comes by.

Chance is seeded by machine and slot alone, so the same customers come whatever else is changed.
"""

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

from simulate.route import FEE_PERCENT, FIRST_MONDAY, WEEKS, ZONE, Machine, Route, Slot

DROPPED = ("vended", "refunded")


@dataclass
class Vend:
    """One vend. `price` is what it cost, in cents; the cells are what the log has instead, where it differs.

    week: in which weekly file it stands, counted from 0.
    """

    machine: str
    label: str
    at: datetime
    tender: str
    outcome: str
    price: int
    bus: int
    reference: str = ""
    week: int = 0
    bus_cell: str | None = None
    price_cell: str | None = None

    @property
    def dropped(self) -> bool:
        """Whether a unit left for good; test vends are put back."""
        return self.outcome in DROPPED and self.tender != "test"

    @property
    def stayed_paid(self) -> bool:
        """Whether the money was kept."""
        return self.outcome == "vended" and self.tender in ("cash", "card", "prepaid")


@dataclass
class Count:
    """One line of a count sheet: counted before the loads and removals of the visit. None: left blank."""

    machine: str
    label: str
    at: datetime
    counted: int | None
    loaded: int
    removed: int
    note: str = ""


@dataclass
class Load:
    """One line of a load slip."""

    machine: str
    label: str
    at: datetime
    loaded: int
    removed: int
    reason: str = ""


@dataclass
class Collection:
    """One emptying of a box: notes and coins taken, and the coins left in the changer's tubes, in cents."""

    machine: str
    at: datetime
    notes: int
    coins: int
    tubes: int
    note: str = ""


@dataclass
class Payout:
    """One weekly payout of card money, in cents; `first` and `last` are whole days of the route."""

    reference: str
    paid_on: datetime
    first: datetime
    last: datetime
    gross: int
    fees: int
    net: int


@dataclass
class World:
    """Everything that happened and was written down. Plants of trouble change these lists."""

    route: Route
    vends: list[Vend] = field(default_factory=list)
    counts: list[Count] = field(default_factory=list)
    loads: list[Load] = field(default_factory=list)
    cash: list[Collection] = field(default_factory=list)
    payouts: list[Payout] = field(default_factory=list)
    other_files: dict[str, bytes] = field(default_factory=dict)
    """Files in inbox/ that do not come from the lists, by name."""


def monday(week: int) -> datetime:
    """The Monday that begins week 0, 1, ... of the seven."""
    return FIRST_MONDAY + timedelta(days=7 * week)


def visit(machine: Machine, week: int) -> datetime:
    """When the operator counts the machine on that Monday."""
    return monday(week) + timedelta(minutes=machine.visit)


def slip_time(machine: Machine, week: int) -> datetime:
    """When the operator comes by on the Thursday of that week, to load only: from 13:20 on."""
    return monday(week) + timedelta(days=3, minutes=800 + (machine.visit - 450) // 2)


def _wishes(machine: Machine, slot: Slot) -> list[tuple[datetime, str]]:
    """When customers want this slot: gaps between 0.4 and 1.6 of their mean, in opening hours only."""
    chance = random.Random(f"bayside {machine.name} {slot.label}")
    hours = machine.closes - machine.opens
    first, last = machine.visits[0] * 7, machine.visits[-1] * 7
    mean = hours / slot.rate
    found: list[tuple[datetime, str]] = []
    spent = mean * chance.random()
    while spent < (last - first) * hours:
        day, minute = divmod(spent, hours)
        seconds = int((machine.opens + minute) * 60)
        found.append((FIRST_MONDAY + timedelta(days=first + int(day), seconds=seconds), slot.label))
        spent += mean * (0.4 + 1.2 * chance.random())
    return found


def _queue(machine: Machine) -> list[tuple[datetime, str]]:
    """The wishes at one machine in order: at least 50 seconds apart, and none while the operator loads it."""
    loading = [slip_time(machine, week) for week in range(WEEKS)]
    wishes = sorted(wish for slot in machine.slots if slot.product for wish in _wishes(machine, slot))
    queue: list[tuple[datetime, str]] = []
    free_from = wishes[0][0]
    for at, label in wishes:
        at = max(at, free_from)
        for start in loading:
            if abs(at - start) < timedelta(minutes=6):
                at = start + timedelta(minutes=6, seconds=len(queue) % 50)
        queue.append((at, label))
        free_from = at + timedelta(seconds=50)
    return queue


def _outcome(chance: random.Random, tender: str) -> str:
    if tender not in ("cash", "card"):
        return "vended"
    draw = chance.random()
    if draw < 0.012:
        return "failed"
    if draw < 0.017:
        return "cancelled"
    return "refunded" if tender == "card" and draw < 0.029 else "vended"


def _vend(machine: Machine, slot: Slot, at: datetime, chance: random.Random) -> Vend:
    tender = chance.choices(list(machine.tenders), list(machine.tenders.values()))[0]
    outcome = _outcome(chance, tender)
    price = slot.price or 0
    if tender == "card" and slot.card_price is not None:
        price = slot.card_price
    if tender in ("free", "token"):
        price = 0
    return Vend(machine.name, slot.label, at, tender, outcome, price, slot.bus)


class _Shelf:
    """Units in each slot of one machine, as the days go by."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.units = dict.fromkeys((slot.label for slot in machine.slots if slot.product), 0)
        self.chance = random.Random(f"bayside shelf {machine.name}")
        for at, label in enumerate(self.units):
            self.units[label] = at % 3

    def count(self, week: int) -> list[Count]:
        """The sheet of one Monday: count every slot in use, take out what is stale or going, fill to par."""
        at = visit(self.machine, week)
        sheet = []
        for label, counted in self.units.items():
            before = self.machine.at(label, at - timedelta(seconds=1))
            after = self.machine.at(label, at)
            if before is None:
                continue
            removed = 1 if counted > 4 and self.chance.random() < 0.06 else 0
            note = "one past its date" if removed else ""
            if after is None or after.product != before.product:
                removed, note = counted, "taken out of use" if after is None else f"now {after.product}"
            loaded = 0 if after is None else after.par - counted + removed
            self.units[label] = counted - removed + loaded
            sheet.append(Count(self.machine.name, label, at, counted, loaded, removed, note))
        return sheet

    def load(self, week: int) -> list[Load]:
        """The slip of one Thursday: what has sold three units or more is filled to par."""
        at = slip_time(self.machine, week)
        slip = []
        for label, units in self.units.items():
            slot = self.machine.at(label, at)
            if slot is not None and slot.par - units >= 3:
                self.units[label] = slot.par
                slip.append(Load(self.machine.name, label, at, slot.par - units, 0, "midweek"))
        return slip

    def sell(self, at: datetime, label: str, chance: random.Random) -> Vend | None:
        """One customer; None where the slot is empty or out of use."""
        slot = self.machine.at(label, at)
        if slot is None or self.units[label] == 0:
            return None
        vend = _vend(self.machine, slot, at, chance)
        self.units[label] -= vend.dropped
        return vend


def _test_vends(machine: Machine) -> list[Vend]:
    """Four test vends after the first visit: the lowest two, the middle and the last of the slots in use."""
    used = [slot for slot in machine.slots if slot.product]
    start = visit(machine, machine.visits[0]) + timedelta(minutes=16)
    return [
        Vend(machine.name, slot.label, start + timedelta(seconds=45 * at), "test", "vended", 0, slot.bus)
        for at, slot in enumerate([used[0], used[1], used[len(used) // 2], used[-1]])
    ]


def _collect(machine: Machine, vends: list[Vend]) -> list[Collection]:
    """Follow every coin: coins fill the tubes to 60.00, then the box; change comes from the tubes."""
    chance = random.Random(f"bayside box {machine.name}")
    cash = [vend for vend in vends if vend.tender == "cash" and vend.stayed_paid]
    notes, coins, tubes, taken = 4000, 1150, 2500, 0
    found = []
    for week in machine.collects:
        at = visit(machine, week) + timedelta(minutes=5)
        while taken < len(cash) and cash[taken].at < at:
            price = cash[taken].price
            taken += 1
            if chance.random() < 0.28 and tubes >= 500 - price:
                notes, tubes = notes + 500, tubes - (500 - price)
            else:
                fits = min(price, 6000 - tubes)
                tubes, coins = tubes + fits, coins + price - fits
        surplus = max(0, tubes - 4000)
        found.append(Collection(machine.name, at, notes, coins + surplus, tubes - surplus))
        notes, coins, tubes = 0, 0, tubes - surplus
    return found


def settle(world: World) -> None:
    """Pay out each week's card vends: whole days of the route, Monday to Sunday, on the Monday after."""
    for week in range(WEEKS):
        first, after = monday(week), monday(week + 1)
        paid = [vend for vend in world.vends if vend.tender == "card" and vend.stayed_paid]
        gross = sum(vend.price for vend in paid if first <= vend.at < after)
        fees = fee(gross)
        reference = f"ST-{first + timedelta(days=6):%Y%m%d}"
        world.payouts.append(
            Payout(reference, after, first, after - timedelta(days=1), gross, fees, gross - fees)
        )


def fee(gross: int, percent: str = FEE_PERCENT) -> int:
    """The processor's percentage of an amount in cents, rounded once, half to even."""
    return int((Decimal(gross) * Decimal(percent) / 100).quantize(Decimal(1), ROUND_HALF_EVEN))


def _live(world: World, machine: Machine) -> None:
    """Seven weeks of one machine."""
    shelf, chance = _Shelf(machine), random.Random(f"bayside customers {machine.name}")
    happenings: list[tuple[datetime, int, str, int]] = [(at, 2, label, 0) for at, label in _queue(machine)]
    happenings += [(visit(machine, week), 0, "", week) for week in machine.visits]
    happenings += [
        (slip_time(machine, week), 1, "", week) for week in range(machine.visits[0], machine.visits[-1])
    ]
    vends = _test_vends(machine)
    for at, what, label, week in sorted(happenings):
        if what == 0:
            world.counts += shelf.count(week)
        elif what == 1:
            world.loads += shelf.load(week)
        elif (vend := shelf.sell(at, label, chance)) is not None:
            vends.append(vend)
    world.vends += vends
    world.cash += _collect(machine, vends)


def live(route: Route) -> World:
    """Seven weeks of the whole route. Every list is in the order of its times."""
    world = World(route)
    for machine in route.machines:
        _live(world, machine)
    world.vends.sort(key=lambda row: (row.at, row.machine))
    world.counts.sort(key=lambda row: row.at)
    world.loads.sort(key=lambda row: row.at)
    world.cash.sort(key=lambda row: row.at)
    for number, vend in enumerate(world.vends):
        vend.week = (vend.at.astimezone(ZONE) - FIRST_MONDAY).days // 7
        vend.reference = f"{vend.machine.partition('-')[0][0].upper()}{number + 70001:06d}"
    return world
