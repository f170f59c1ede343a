"""What speaks for a slot as the one behind an unmapped number: each piece with its figures and its weight.

The weights are points on a scale of our own, chosen so that no two weak signs outweigh a strong one (common practice,
no source); docs/unmapped.md states them. Frames are asked columnar; objects are made for a number and a slot only.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from typing import Literal

from recon.match.infer import Machine, hypotheses
from recon.match.numbering import number_of, rule_words
from recon.match.states import in_utc
from recon.match.timeline import SlotState, slot_states, tray_of
from recon.model.layout import Layout, Numbering
from recon.model.words import LARGEST_BUS

Why = Literal[
    "short-by-as-many",
    "had-it-before",
    "gets-it-later",
    "out-of-use",
    "by-the-rule",
    "by-the-other-numbers",
    "gap-in-the-run",
    "price-of-its-own",
    "logged-nothing",
    "asks-another-price",
    "sold-meanwhile",
]

POINTS: Mapping[Why, int] = {
    "short-by-as-many": 50,
    "had-it-before": 45,
    "gets-it-later": 40,
    "out-of-use": 35,
    "by-the-rule": 30,
    "by-the-other-numbers": 25,
    "gap-in-the-run": 20,
    "price-of-its-own": 20,
    "logged-nothing": 5,
    "asks-another-price": -15,
    "sold-meanwhile": -25,
}
"""The weight of each piece of evidence, the strongest first. A shortage weighs POINTS_A_UNIT more for each unit."""

POINTS_A_UNIT, MOST_UNITS = 2, 10
"""One missing unit is soon found by chance, seven are not; beyond ten it makes no difference."""

LEAST = 20
"""A slot that weighs less than this is not named."""

FEWEST_PAIRS = 3
"""Labels with a number of their own, besides the one asked about, before a rule is inferred from them."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence. since, until: UTC. figures: what its sentence names. amounts: prices in minor units."""

    why: Why
    points: int
    since: datetime | None = None
    until: datetime | None = None
    figures: Mapping[str, int | str] = field(default_factory=dict)
    amounts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Half:
    """The missing half of a double-width tray: a slot that takes two numbers has the one beside this one.

    label, holds: that slot and its number. agree, of: how many of the tray's numbers are odd or even as that one is.
    """

    tray: str
    label: str
    holds: int
    agree: int
    of: int


@dataclass(frozen=True, slots=True)
class Stray:
    """An unmapped number: its vends and units, from when to when (UTC)."""

    machine: str
    bus: int
    vends: int
    units: int
    opened: datetime
    closed: datetime


@dataclass(frozen=True, slots=True)
class Held:
    """A state of a slot in UTC; `until` is None while it lasts."""

    state: SlotState
    since: datetime
    until: datetime | None

    def at(self, moment: datetime) -> bool:
        return self.since <= moment and (self.until is None or moment < self.until)


Given = dict[int, tuple[Numbering, int]]
"""Numbers that rules give a slot, each with the rule and on how many labels it rests."""


Inferred = dict[tuple[tuple[tuple[str, int], ...], tuple[int | None, ...]], dict[str, Given]]
"""What is inferred for the slots of a machine, by their labels and widths, and their numbers at one moment."""


class Slots:
    """The slots of one machine over time, in the order of its layout.

    inferred: what was inferred of other machines, for many have the same labels and numbers.
    """

    def __init__(self, layout: Layout, zone_name: str, inferred: Inferred) -> None:
        self.layout = layout
        self.held = [
            Held(state, in_utc(state.start, zone_name), None if state.end is None else in_utc(state.end, zone_name))
            for state in slot_states(layout)
        ]
        self._inferred = inferred
        self._trays = tuple((slot.label, slot.pitch) for slot in layout.slots)

    def at(self, moment: datetime) -> list[SlotState]:
        """Every slot as it stood then; before the layout, as it began."""
        began = min((held.since for held in self.held), default=moment)
        return [held.state for held in self.held if held.at(max(moment, began))]

    def stretch(self, label: str, moment: datetime) -> int:
        """Between which two changes of its number a slot was: it has one number in each such stretch."""
        own = [held for held in self.held if held.state.label == label]
        changed = [held.since for before, held in pairwise(own) if held.state.bus != before.state.bus]
        return sum(since <= moment for since in changed)

    def inferred(self, numbers: tuple[int | None, ...]) -> dict[str, Given]:
        """The numbers that rules give to slots without one, and to the one slot that a rule does not explain.

        numbers: of all slots at one moment, in the order of the layout. A rule counts where it explains every other
        number, FEWEST_PAIRS at least.
        """
        key = (self._trays, numbers)
        if key not in self._inferred:
            self._inferred[key] = self._infer(numbers)
        return self._inferred[key]

    def _infer(self, numbers: tuple[int | None, ...]) -> dict[str, Given]:
        every = self.layout.slots
        pairs = {slot.label: bus for slot, bus in zip(every, numbers, strict=True) if bus is not None}
        told: dict[str, Given] = {}
        for one in hypotheses(Machine(every), pairs) if len(pairs) >= FEWEST_PAIRS else ():
            if one.pitches:
                continue
            meets = list(zip(every, numbers, one.predicted, strict=True))
            wrong = [slot.label for slot, bus, given in meets if bus is not None and bus != given]
            asked = wrong or [slot.label for slot, bus, _ in meets if bus is None]
            if len(wrong) > 1 or len(pairs) - len(wrong) < FEWEST_PAIRS:
                continue
            for slot, _, given in meets:
                if slot.label in asked and given is not None:
                    told.setdefault(slot.label, {}).setdefault(given, (one.rule, len(pairs) - len(wrong)))
        return told


Told = Iterator[tuple[str, Evidence]]
"""A label, and what speaks for or against it."""


def from_layout(stray: Stray, slots: Slots) -> Told:
    """What the layout says of the number by itself: who held it, its rule, the other numbers, the gap in their run."""
    yield from _held(stray, slots)
    then = slots.at(stray.opened)
    yield from _by_rule(stray, slots.layout) if slots.layout.numbering is not None else _inferred(stray, slots, then)
    yield from _in_gap(stray, then)


def _held(stray: Stray, slots: Slots) -> Told:
    """A slot that had the number at another time, or has it and is out of use; the strongest reason of each label."""
    best: dict[str, Evidence] = {}
    for held in slots.held:
        if held.state.bus != stray.bus:
            continue
        why: Why = "had-it-before"
        if not held.state.in_use:
            why = "out-of-use"
        elif held.since > stray.closed:
            why = "gets-it-later"
        since = held.until if why == "had-it-before" else held.since
        before = best.get(held.state.label)
        if before is None or POINTS[why] > before.points:
            best[held.state.label] = Evidence(why, POINTS[why], since)
    yield from best.items()


def _by_rule(stray: Stray, layout: Layout) -> Told:
    rule = layout.numbering
    assert rule is not None
    for at, slot in enumerate(layout.slots):
        if number_of(rule, slot.label, at, layout.slots) == stray.bus:
            yield slot.label, Evidence("by-the-rule", POINTS["by-the-rule"], figures={"rule": rule_words(rule)})


def _inferred(stray: Stray, slots: Slots, then: Sequence[SlotState]) -> Told:
    """What the layout's other numbers follow, though it names no rule."""
    for label, given in slots.inferred(tuple(state.bus for state in then)).items():
        if stray.bus in given:
            rule, pairs = given[stray.bus]
            # Rules that disagree about this slot leave it as undecided as none.
            points = POINTS["by-the-other-numbers"] // len(given)
            figures: dict[str, int | str] = {"rule": rule_words(rule), "pairs": pairs}
            yield label, Evidence("by-the-other-numbers", points, figures=figures)


def _in_gap(stray: Stray, then: Sequence[SlotState]) -> Told:
    """A slot without a number where the numbers of the slots before and after it leave just this one out."""
    numbered = [(at, state.bus) for at, state in enumerate(then) if state.bus is not None]
    for (low, first), (high, last) in pairwise(numbered):
        steps, step = high - low, (last - first) // (high - low)
        if steps < 2 or not first < stray.bus < last:
            continue
        even = first + step * steps == last
        for at in range(low + 1, high):
            if (stray.bus == first + step * (at - low)) if even else steps == 2:
                figures: dict[str, int | str] = {
                    "first": first, "last": last, "before": then[low].label, "after": then[high].label
                }  # fmt: skip
                points = POINTS["gap-in-the-run"] // (1 if even else 2)
                yield then[at].label, Evidence("gap-in-the-run", points, figures=figures)


def missing_half(bus: int, then: Sequence[SlotState]) -> Half | None:
    """The double-width tray of which only the missing half would have this number.

    A slot of pitch 2 in use has the number beside it, the tray's other numbers are odd or even as that one is, and
    this one is not. None where there is no such tray, or the number lies outside what its slots take up.
    """
    doubles = [state for state in then if state.in_use and state.pitch == 2 and state.bus is not None]
    for beside in doubles:
        if beside.bus not in (bus - 1, bus + 1) or not 0 <= bus <= LARGEST_BUS:
            continue
        tray = [state for state in doubles if tray_of(state) == tray_of(beside)]
        agree = sum(((state.bus or 0) - (beside.bus or 0)) % 2 == 0 for state in tray)
        if 2 * agree > len(tray) and not any(state.bus == bus for state in then):
            return Half(tray_of(beside), beside.label, beside.bus or 0, agree, len(tray))
    return None
