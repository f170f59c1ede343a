"""What layouts of one route say of each other: numbers and prices that differ where they ought to agree.

Layouts are compared as they stand after their last change, prices within a machine too. Which of two is right cannot
be told from paper: the one that fewer machines share is named; where as many stand on both sides, the price that fewer
slots have, and then the one whose file comes later.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple, TypeVar

from recon.match.numbering import body_of, numbers
from recon.match.timeline import SlotState, slot_states
from recon.model.layout import Layout
from recon.model.problem import Problem
from recon.route.amounts import on_step
from recon.route.layouts import LayoutFile

ALIKE = 3
"""Two layouts are taken to share a numbering from this many equal numbers on, if they are most of those compared."""
LEVEL = 3
"""A machine has a price level of its own from this many products on, if most of them differ the same way."""


Value = TypeVar("Value")


@dataclass(frozen=True)
class _Front:
    """What a layout looks like from the front. slots: label, width, and of those in use bus number, product, price."""

    slots: Sequence[tuple[str, int, int | None, str | None, Decimal | None]]

    @cached_property
    def shape(self) -> frozenset[tuple[str, int]]:
        """Return the labels with their width: what the trays look like."""
        return frozenset((label, pitch) for label, pitch, *_ in self.slots)

    @cached_property
    def in_use(self) -> dict[str, int]:
        """Return each label in use to its bus number."""
        return {label: bus for label, _, bus, *_ in self.slots if bus is not None}


@dataclass(frozen=True)
class _Standing:
    """A layout as it stands after its last change."""

    written: LayoutFile
    front: _Front

    @property
    def layout(self) -> Layout:
        return self.written.layout

    @cached_property
    def last(self) -> dict[str, SlotState]:
        return _last(self.layout)

    def problem(self, kind: str, label: str, key: str, facts: Mapping[str, str]) -> Problem:
        state = self.last[label]
        place = self.written.place(_path(self.layout, state, key))
        return Problem(kind, place, facts, machine=state.machine, label=label, bus=state.bus)


def across_problems(layouts: Iterable[LayoutFile], currency: str | None) -> list[Problem]:
    """What is wrong between the layouts of a route, in no certain order.

    currency: the route's, for layouts that name none of their own; prices are compared within a currency only.
    """
    fronts: dict[object, _Front] = {}
    standing: list[_Standing] = []
    for written in layouts:
        body = (written.file,) if written.layout.changes else body_of(written.layout)
        if body not in fronts:
            fronts[body] = _front(written.layout)
        standing.append(_Standing(written, fronts[body]))
    return [*_numbers(standing), *_prices(standing, currency)]


def _last(layout: Layout) -> dict[str, SlotState]:
    """Return each label to its last state; a second slot of the same label is left out, it has its own problem."""
    first: dict[str, int] = {}
    for at, slot in enumerate(layout.slots):
        first.setdefault(slot.label, at)
    return {state.label: state for state in slot_states(layout) if first[state.label] == state.position}


def _front(layout: Layout) -> _Front:
    return _Front(
        [
            (one.label, one.pitch, *((one.bus, one.product, one.price) if one.in_use else (None, None, None)))
            for one in _last(layout).values()
        ]
    )


def _path(layout: Layout, state: SlotState, key: str) -> tuple[str | int, ...]:
    """Where a slot has its last value of a key from: the latest change that names it, else the slot."""
    named = [
        (change.start, at)
        for at, change in enumerate(layout.changes)
        if change.label == state.label and change.start >= layout.effective and getattr(change, key) is not None
    ]
    if named:
        return ("change", max(named)[1], key)
    if getattr(layout.slots[state.position], key) is not None:
        return ("slot", state.position, key)
    return ("slot", state.position, "label")


def _numbers(standing: Sequence[_Standing]) -> Iterator[Problem]:
    by_shape: dict[frozenset[tuple[str, int]], list[_Standing]] = defaultdict(list)
    for one in standing:
        by_shape[one.front.shape].append(one)
    for alike in by_shape.values():
        fronts = {id(one.front): one.front for one in alike}
        pairs = {pair for front in fronts.values() for pair in front.in_use.items()}
        if len(pairs) == len({label for label, _ in pairs}):
            # Every label has one number: whichever families there are, nothing differs.
            continue
        for family in _families(alike):
            yield from _odd_numbers(family)


def _families(alike: Iterable[_Standing]) -> Iterator[list[_Standing]]:
    """Layouts of one shape put together by their numbers: each joins the family whose first layout it is most like."""
    families: list[list[_Standing]] = []
    having: dict[tuple[str, int], list[int]] = defaultdict(list)
    for one in alike:
        equal = Counter(family for pair in one.front.in_use.items() for family in having[pair])
        for family, count in sorted(equal.items(), key=lambda entry: (-entry[1], entry[0])):
            compared = len(one.front.in_use.keys() & families[family][0].front.in_use.keys())
            if count >= ALIKE and 2 * count > compared:
                families[family].append(one)
                break
        else:
            for pair in one.front.in_use.items():
                having[pair].append(len(families))
            families.append([one])
    return (family for family in families if len(family) > 1)


def _odd_numbers(family: Sequence[_Standing]) -> Iterator[Problem]:
    told: dict[str, list[tuple[_Standing, int]]] = defaultdict(list)
    for one in family:
        for label, bus in one.front.in_use.items():
            told[label].append((one, bus))
    for label, entries in told.items():
        if len({bus for _, bus in entries}) == 1:
            continue
        usual, first = _usual([(bus, one.layout.machine) for one, bus in entries])
        agree = sum(bus == usual for _, bus in entries)
        source = next(one for one, bus in entries if bus == usual)
        for one, bus in entries:
            state = one.last[label]
            if bus == usual or _against_its_rule(one, state):
                continue
            facts = {
                "found": str(bus),
                "expected": str(usual),
                "where": _and_more(first, agree),
                "equal": str(len(one.front.in_use.items() & source.front.in_use.items())),
                "other": source.written.file,
            }
            yield one.problem("numbering-differs", label, "bus", facts)


def _against_its_rule(one: _Standing, state: SlotState) -> bool:
    """Whether the layout's own rule gives the slot another number: `rule-disagrees` has told that already."""
    by_rule = numbers(one.layout)[state.position]
    return by_rule is not None and by_rule != state.bus


def _usual(entries: Sequence[tuple[Value, str]]) -> tuple[Value, str]:
    """The value that most machines have, of equals the one in most entries, then the one met first; and the first
    machine that has it."""
    machines: dict[Value, dict[str, None]] = {}
    for value, machine in entries:
        machines.setdefault(value, {})[machine] = None
    count = Counter(value for value, _ in entries)
    value = max(machines, key=lambda value: (len(machines[value]), count[value]))
    return value, next(iter(machines[value]))


def _and_more(first: str, count: int) -> str:
    return first if count == 1 else f"{first} and {count - 1} more"


class _Sold(NamedTuple):
    """A product at the price that a slot asks for it in cash."""

    by: _Standing
    label: str
    product: str
    price: Decimal

    @property
    def machine(self) -> str:
        return self.by.layout.machine


class _Odd(NamedTuple):
    """An offer off the usual price of its product, which machines have that price, and a file where it stands."""

    offer: _Sold
    usual: Decimal
    where: str
    file: str


def _prices(standing: Sequence[_Standing], currency: str | None) -> Iterator[Problem]:
    prices: dict[tuple[str | None, str], set[Decimal]] = defaultdict(set)
    for money, front in {(one.layout.currency or currency, id(one.front)): one.front for one in standing}.items():
        for *_, product, price in front.slots:
            if product is not None and price:
                prices[money[0], product].add(price)
    if all(len(each) == 1 for each in prices.values()):
        return
    sold: dict[tuple[str | None, str], list[_Sold]] = defaultdict(list)
    for one in standing:
        coin = one.layout.currency or currency
        for label, _, _, product, price in one.front.slots:
            # What is given away is meant to be.
            if product is not None and price:
                sold[coin, product].append(_Sold(one, label, product, price))
    odd: dict[str, list[_Odd]] = defaultdict(list)
    compared: Counter[str] = Counter()
    for offers in sold.values():
        machines = {offer.machine for offer in offers}
        if len(machines) > 1:
            compared.update(machines)
        for found in _off_usual(offers):
            odd[found.offer.machine].append(found)
    for machine, offers_of in odd.items():
        yield from _odd_prices(offers_of, compared[machine])


def _off_usual(offers: Sequence[_Sold]) -> Iterator[_Odd]:
    if len({offer.price for offer in offers}) == 1:
        return
    usual, first = _usual([(offer.price, offer.machine) for offer in offers])
    agreeing = [offer for offer in offers if offer.price == usual]
    where = _and_more(first, len({offer.machine for offer in agreeing}))
    for offer in offers:
        if offer.price != usual:
            yield _Odd(offer, usual, where, agreeing[0].by.written.file)


def _odd_prices(odd: Sequence[_Odd], compared: int) -> Iterator[Problem]:
    """The odd prices of one machine, without those that its price level or its price step explains."""
    dearer = {found.offer.product for found in odd if found.offer.price > found.usual}
    cheaper = {found.offer.product for found in odd if found.offer.price < found.usual}
    for found in odd:
        offer = found.offer
        same_way = dearer if offer.price > found.usual else cheaper
        step = offer.by.layout.price_step
        if len(same_way) >= LEVEL and 2 * len(same_way) > compared:
            continue
        if step is not None and not on_step(found.usual, step):
            continue
        facts = {
            "product": offer.product,
            "found": str(offer.price),
            "expected": str(found.usual),
            "where": found.where,
            "other": found.file,
        }
        yield offer.by.problem("price-varies", offer.label, "price", facts)
