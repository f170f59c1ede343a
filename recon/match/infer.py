"""Numbering rules from confirmed pairs of label and bus number: which rules, with which parameters, explain them.

Every rule of a layout is fitted (see recon.match.numbering; common practice, no source). Rules that give every slot of
the machine the same number are one and the same here, and go by the name of the simplest of them.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from recon.match.numbering import number_of, row_and_column
from recon.model.layout import ColumnGrid, Grid, Numbering, Offset, Slot
from recon.model.layout import Sequence as SequenceRule
from recon.model.words import LARGEST_BUS

if TYPE_CHECKING:
    from recon.match.learned import RuleStanding

WITHOUT_PARAMETERS: tuple[Numbering, ...] = ("same", "hex-label", "zero-based", "ascii-pair")
OPEN_WIDTHS = (*range(1, 65), 100, 128, 200, 250, 256, 512, 1000, 1024)
"""Numbers to a row (or column) that are thought of while no two tests from different rows (columns) have fixed it."""
_FITTED = 40
"""Of the grids that pairs of tests suggest, how many are looked at: those that most of them suggest."""


@dataclass(frozen=True)
class Machine:
    """The slots of a machine, in file order, with what the rules need of them worked out once. Labels are unique.

    in_order: whether that order is the machine's own, so that a sequence may go by it.
    """

    slots: tuple[Slot, ...]
    in_order: bool = True

    @cached_property
    def at(self) -> dict[str, int]:
        """Label to position."""
        return {slot.label: at for at, slot in enumerate(self.slots)}

    @cached_property
    def places(self) -> list[tuple[int, int] | None]:
        """Row and column of each slot, counted from the first slot; all None where that has none."""
        found = [row_and_column(slot.label) for slot in self.slots]
        origin = found[0] if found else None
        if origin is None:
            return [None] * len(found)
        return [None if place is None else (place[0] - origin[0], place[1] - origin[1]) for place in found]

    @cached_property
    def pitchings(self) -> list[tuple[tuple[int, ...], dict[str, int]]]:
        """Pitches that a sequence may go by, as written first; each with the labels where it is not as written."""
        written = tuple(slot.pitch for slot in self.slots)
        ways = {written: dict[str, int]()}
        for other in (self._stepping(), tuple(1 for _ in self.slots)):
            changed = {slot.label: new for slot, new in zip(self.slots, other, strict=True) if slot.pitch != new}
            ways.setdefault(other, changed)
        return list(ways.items())

    def _stepping(self) -> tuple[int, ...]:
        """2 in the rows whose columns go by twos, as those of double-width trays do; elsewhere as written."""
        rows: dict[int, list[int]] = {}
        for place in self.places:
            if place is not None:
                rows.setdefault(place[0], []).append(place[1])
        wide = {row for row, columns in rows.items() if len(columns) > 1 and len({at % 2 for at in columns}) == 1}
        return tuple(
            2 if place is not None and place[0] in wide else slot.pitch
            for slot, place in zip(self.slots, self.places, strict=True)
        )


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One rule with its parameters settled. predicted: its number for each slot, in file order. weight: what it weighs
    before any test among its like, see `weighed`. others: rules that say the same of every slot."""

    rule: Numbering
    parameters: int
    predicted: tuple[int | None, ...]
    pitches: Mapping[str, int] = field(default_factory=dict)
    weight: float = 0.0
    others: tuple[Numbering, ...] = ()


def hypotheses(machine: Machine, pairs: Mapping[str, int]) -> list[Hypothesis]:
    """Every rule that may be the machine's, fitted to `pairs` (label to bus), the simplest first.

    A rule is left out where it gives two slots one number or a slot a number outside 0 to 65534. Rules with a
    parameter appear as soon as a pair fixes it; a width that no pairs fix yet appears with each of OPEN_WIDTHS.
    """
    known = {label: bus for label, bus in pairs.items() if label in machine.at}
    found = [made for rule in WITHOUT_PARAMETERS if (made := _made(machine, rule, 0)) is not None]
    for offset in sorted({bus - int(label) for label, bus in known.items() if label.isascii() and label.isdigit()}):
        # These two have names of their own.
        if offset not in (0, -1):
            found += _kept(_made(machine, Offset(offset=offset), 1))
    found += _sequences(machine, known) if machine.in_order else ()
    found += _grids(machine, known, by_columns=False)
    found += _grids(machine, known, by_columns=True)
    return found


def _kept(made: Hypothesis | None) -> list[Hypothesis]:
    return [] if made is None else [made]


def _made(machine: Machine, rule: Numbering, parameters: int) -> Hypothesis | None:
    predicted = tuple(number_of(rule, slot.label, at, machine.slots) for at, slot in enumerate(machine.slots))
    return _possible(Hypothesis(rule, parameters, predicted))


def _possible(made: Hypothesis) -> Hypothesis | None:
    told = [number for number in made.predicted if number is not None]
    possible = told and len(set(told)) == len(told) and min(told) >= 0 and max(told) <= LARGEST_BUS
    return made if possible else None


def _sequences(machine: Machine, known: Mapping[str, int]) -> Iterator[Hypothesis]:
    for pitch, changed in machine.pitchings:
        before = [sum(pitch[:at]) for at in range(len(pitch))]
        for first in sorted({bus - before[machine.at[label]] for label, bus in known.items()}):
            predicted = tuple(first + steps for steps in before)
            yield from _kept(_possible(Hypothesis(SequenceRule(sequence=first), 1, predicted, changed)))


def _grids(machine: Machine, known: Mapping[str, int], *, by_columns: bool) -> Iterator[Hypothesis]:
    """Grids through every two of the pairs; through each one with open widths where all lie in one row (column)."""
    places = [None if place is None else place[:: -1 if by_columns else 1] for place in machine.places]
    points = [(place, bus) for label, bus in known.items() if (place := places[machine.at[label]]) is not None]
    suggested: Counter[tuple[int, int]] = Counter()
    for at, ((line, along), bus) in enumerate(points):
        for (other_line, other_along), other_bus in points[:at]:
            if line != other_line:
                width, rest = divmod(bus - other_bus - along + other_along, line - other_line)
                if rest == 0 and width >= 1:
                    suggested[width, bus - line * width - along] += 1
    likely = [found for found, _ in suggested.most_common(_FITTED)]
    if len({line for (line, _), _ in points}) == 1:
        likely = [(width, bus - line * width - along) for width in OPEN_WIDTHS for (line, along), bus in points]
    # The first slot stands at (0, 0), so what the grid gives there is its `first`.
    for width, first in dict.fromkeys(likely):
        predicted = tuple(None if at is None else first + at[0] * width + at[1] for at in places)
        key = "column-grid" if by_columns else "grid"
        rule = (ColumnGrid if by_columns else Grid).model_validate({key: width, "first": first})
        yield from _kept(_possible(Hypothesis(rule, 2, predicted)))


def explained(machine: Machine, hypothesis: Hypothesis, pairs: Mapping[str, int]) -> int:
    """How many of the pairs the hypothesis gives."""
    return sum(hypothesis.predicted[machine.at[label]] == bus for label, bus in pairs.items() if label in machine.at)


def standing(machine: Machine, pairs: Mapping[str, int]) -> list[Hypothesis]:
    """The rules that explain every pair, one for each way of numbering the machine, the simplest first, weighed.

    pairs: confirmed, label to bus.
    """
    every = [found for found in hypotheses(machine, pairs) if explained(machine, found, pairs) == len(pairs)]
    return distinct(weighed(every))


def weighed(every: Iterable[Hypothesis]) -> list[Hypothesis]:
    """Give each its weight: a rule of p parameters weighs 2**-p, shared evenly among the values it still may have."""
    found = list(every)
    like = Counter(_kind(each) for each in found)
    return [_with_weight(each, 0.5**each.parameters / like[_kind(each)]) for each in found]


def _kind(hypothesis: Hypothesis) -> object:
    rule = hypothesis.rule
    return rule if isinstance(rule, str) else type(rule)


def _with_weight(each: Hypothesis, weight: float, others: tuple[Numbering, ...] = ()) -> Hypothesis:
    return Hypothesis(each.rule, each.parameters, each.predicted, each.pitches, weight, others)


def distinct(every: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Put together those that number the machine alike: the simplest with the weight of all, in order of simplicity."""
    alike: dict[tuple[int | None, ...], list[Hypothesis]] = {}
    for each in every:
        alike.setdefault(each.predicted, []).append(each)
    merged = []
    for group in alike.values():
        simplest, *rest = sorted(group, key=_simplicity)
        weight = sum(each.weight for each in group)
        merged.append(_with_weight(simplest, weight, tuple(each.rule for each in rest)))
    return sorted(merged, key=_simplicity)


def _simplicity(each: Hypothesis) -> tuple[int, int]:
    """Few parameters first, and pitches as the layout has them; what is alike keeps its order."""
    return each.parameters, len(each.pitches)


def ranked(machine: Machine, pairs: Mapping[str, int], *, most: int = 200) -> "list[RuleStanding]":
    """Rules by how many pairs they explain, then by simplicity, with the labels that they do not explain.

    Rules that explain fewer than half of the pairs, or no more than they have parameters while others explain more,
    are left out.
    """
    from recon.match.learned import RuleStanding

    every = [(explained(machine, each, pairs), each) for each in distinct(weighed(hypotheses(machine, pairs)))]
    best = max((count for count, _ in every), default=0)
    told = [
        (count, each) for count, each in every
        if count == best or (2 * count >= len(pairs) and count > each.parameters)
    ]  # fmt: skip
    told = [(count, each) for count, each in told if count > 0]
    told.sort(key=lambda entry: (-entry[0], *_simplicity(entry[1])))
    return [
        RuleStanding(each.rule, each.parameters, count, _exceptions(machine, each, pairs), each.pitches)
        for count, each in told[:most]
    ]


def _exceptions(machine: Machine, each: Hypothesis, pairs: Mapping[str, int]) -> tuple[str, ...]:
    """Labels of pairs that the rule does not give, in file order."""
    wrong = [label for label, bus in pairs.items() if each.predicted[machine.at[label]] != bus]
    return tuple(sorted(wrong, key=machine.at.__getitem__))
