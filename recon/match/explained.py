"""What an unmapped number may be, by what layout, counts, prices and the log say.

Every sign has its weight (recon.match.evidence). All unmapped numbers of a machine are settled together, each slot
answering for one of them at most in each stretch between changes of its number, so that the weights add up to the most.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import polars as pl

from recon.match.assignment import best_assignment
from recon.match.evidence import LEAST, POINTS, Evidence, Half, Inferred, Slots, Stray, Why, from_layout, missing_half
from recon.match.from_log import meanwhile, prices, shortages
from recon.match.states import Layouts
from recon.match.unmapped import explain
from recon.model.frames import Frame
from recon.route.folder import Route

WHY = pl.Enum(list(POINTS))
"""Reasons for a likeliest slot, the strongest first; the last ones speak against it."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """What an unmapped number may be.

    guess: the likeliest label, None where none is likely or two weigh alike. points: its weight; evidence: what it is
    made of, the strongest first. next_best: the label that weighs most beside it, and how much. undecided: labels with
    their weights, where nothing decides which it is; rivals: other numbers that may as well be one of these. taken: a
    label that weighs enough and answers for another number, with that number. half: set where only the missing half of
    a double-width tray would have the number.
    """

    machine: str
    bus: int
    guess: str | None = None
    points: int = 0
    evidence: tuple[Evidence, ...] = ()
    next_best: tuple[str, int] | None = None
    undecided: tuple[tuple[str, int], ...] = ()
    rivals: tuple[int, ...] = ()
    taken: tuple[str, int] | None = None
    half: Half | None = None


def explained(
    asked: Frame,
    windows: Frame,
    layouts: Layouts,
    route: Route,
    matched: Frame | None = None,
) -> list[Explanation]:
    """As recon.match.unmapped.explain, for unmapped numbers (not labels) of machines with a layout."""
    weighed = _weigh(asked, windows, layouts, route)
    if matched is not None:
        _add_meanwhile(weighed, matched, layouts)
    every: list[Explanation] = []
    for _, group in groupby(sorted(weighed, key=lambda one: (one.stray.machine, one.stray.bus)), key=_machine):
        every += _settle(list(group))
    return every


def likeliest(strays: Frame, windows: Frame, layouts: Layouts, route: Route, matched: Frame | None = None) -> Frame:
    """The numbers that have a likeliest slot: machine, bus, guess (label), why (the strongest reason, WHY), since
    (UTC or null), points (its whole weight). Arguments as for recon.match.unmapped.explain."""
    rows = [
        (one.machine, one.bus, one.guess, one.evidence[0].why, one.evidence[0].since, one.points)
        for one in explain(strays, windows, layouts, route, matched)
        if one.guess is not None
    ]
    return pl.DataFrame(rows, schema=_SHAPE, orient="row")


_SHAPE: dict[str, pl.DataType | type[pl.DataType]] = {
    "machine": pl.String, "bus": pl.Int32, "guess": pl.String, "why": WHY,
    "since": pl.Datetime("us", "UTC"), "points": pl.Int64,
}  # fmt: skip


@dataclass(frozen=True)
class _Weighed:
    """A number with what speaks for each label that anything speaks for."""

    stray: Stray
    slots: Slots
    told: dict[str, list[Evidence]]
    half: Half | None

    def points(self, label: str) -> int:
        return sum(each.points for each in self.told[label])

    def worthy(self) -> list[tuple[str, int]]:
        """The labels that weigh enough to be named, the heaviest first."""
        told = [(label, points) for label in self.told if (points := self.points(label)) >= LEAST]
        return sorted(told, key=lambda each: (-each[1], each[0]))


def _machine(weighed: _Weighed) -> str:
    return weighed.stray.machine


def _weigh(asked: Frame, windows: Frame, layouts: Layouts, route: Route) -> list[_Weighed]:
    short, priced = shortages(asked, windows), prices(asked, layouts)
    zones = layouts.zones
    slots_of: dict[str, Slots] = {}
    inferred: Inferred = {}
    weighed: list[_Weighed] = []
    for row in asked.select("machine", "bus", "vends", "units", "opened_at", "closed_at").iter_rows():
        stray = Stray(*row)
        layout = route.layout_of(stray.machine)
        if layout is None:
            continue
        if stray.machine not in slots_of:
            slots_of[stray.machine] = Slots(layout, zones[stray.machine], inferred)
        slots = slots_of[stray.machine]
        told: dict[str, list[Evidence]] = {}
        for label, evidence in from_layout(stray, slots):
            told.setdefault(label, []).append(evidence)
        for source in (short, priced):
            for label, evidence in source.get((stray.machine, stray.bus), ()):
                # What speaks against a slot counts only where something speaks for it.
                if evidence.points > 0 or label in told:
                    told.setdefault(label, []).append(evidence)
        weighed.append(_Weighed(stray, slots, told, missing_half(stray.bus, slots.at(stray.opened))))
    return weighed


def _add_meanwhile(weighed: Sequence[_Weighed], matched: Frame, layouts: Layouts) -> None:
    """What each slot that something speaks for sold under its own number while the unmapped one vended."""
    pairs = [(one, label) for one in weighed for label in one.told]
    told = meanwhile([(one.stray, label) for one, label in pairs], matched, layouts)
    for (one, label), evidence in zip(pairs, told, strict=True):
        short = any(each.why == "short-by-as-many" for each in one.told[label])
        # That slot's silence is part of the shortage's weight already.
        if evidence.why == "sold-meanwhile" or not short:
            one.told[label].append(evidence)


Place = tuple[str, int]
"""A label in one stretch between changes of its number."""


def _settle(numbers: Sequence[_Weighed]) -> list[Explanation]:
    """All numbers of one machine at once."""
    places_of = [
        {label: (label, one.slots.stretch(label, one.stray.opened)) for label, _ in one.worthy()} for one in numbers
    ]
    places = sorted({place for own in places_of for place in own.values()})
    column = {place: at for at, place in enumerate(places)}
    weights = [[0] * len(places) for _ in numbers]
    for row, (one, own) in enumerate(zip(numbers, places_of, strict=True)):
        for label, points in one.worthy():
            weights[row][column[own[label]]] = points
    found = best_assignment(weights)
    clear = {
        places[at]: numbers[row].stray.bus
        for row, at in enumerate(found.columns)
        if at is not None and found.margins[row] > 0
    }
    every = []
    for row, (one, own) in enumerate(zip(numbers, places_of, strict=True)):
        at = found.columns[row]
        if at is not None and found.margins[row] > 0:
            every.append(_explained(one, places[at][0]))
            continue
        free = {label: place for label, place in own.items() if place not in clear}
        rivals = (
            other.stray.bus
            for beside, other in enumerate(numbers)
            if beside != row and other.stray.bus not in clear.values()
            and not set(free.values()).isdisjoint(places_of[beside].values())
        )  # fmt: skip
        every.append(_unexplained(one, free, tuple(rivals), {label: clear.get(place) for label, place in own.items()}))
    return every


def _unexplained(
    one: _Weighed, free: Mapping[str, Place], rivals: tuple[int, ...], holders: Mapping[str, int | None]
) -> Explanation:
    undecided = tuple(each for each in one.worthy() if each[0] in free)
    taken = next(((label, bus) for label, _ in one.worthy() if (bus := holders[label]) is not None), None)
    return Explanation(
        one.stray.machine, one.stray.bus, undecided=undecided, rivals=rivals if undecided else (),
        taken=None if undecided else taken, half=one.half,
    )  # fmt: skip


def _explained(one: _Weighed, label: str) -> Explanation:
    evidence = tuple(sorted(one.told[label], key=lambda each: (-each.points, _ORDER[each.why])))
    return Explanation(
        one.stray.machine, one.stray.bus, label, one.points(label), evidence,
        next((other for other in one.worthy() if other[0] != label), None), half=one.half,
    )  # fmt: skip


_ORDER: dict[Why, int] = {why: at for at, why in enumerate(POINTS)}
