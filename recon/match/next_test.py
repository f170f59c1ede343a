"""The next test vend: the selection whose number tells most of the rules apart that still stand.

What is undecided is measured by the entropy, in bits, of what the rules predict for a selection, each rule with its
weight (2**-p for p parameters, see recon.match.infer). A rule predicts one number, so the entropy of the predictions
is the drop to be expected in what is undecided (C. E. Shannon, A Mathematical Theory of Communication, 1948).
"""

from collections.abc import Collection, Mapping, Sequence
from math import log2
from typing import Literal

from recon.match.infer import Hypothesis, Machine
from recon.match.infer import standing as find_standing
from recon.match.learned import NextTest
from recon.model.layout import Numbering

LEAST_PAIRS = 2
"""A single test never settles a machine of several slots."""
_OPEN_WEIGHT = 2 * 0.5 + 2 * 0.25
"""What the rules with parameters weigh before any of these is known: offset, sequence, and the two grids."""
_STRANGER = 20_000
"""A number from which on one is sought that no rule without parameters predicts; grids on it stay within 16 bits."""


def bits(weights: Collection[float]) -> float:
    """Entropy in bits of these weights, which need not add up to 1."""
    whole = sum(weights)
    return -sum(part / whole * log2(part / whole) for part in weights if part > 0) if whole > 0 else 0.0


def pairs_needed(hypothesis: Hypothesis) -> int:
    """How many pairs a rule must explain to be relied on: one more than were used up to fit its parameters."""
    return max(LEAST_PAIRS, hypothesis.parameters + 1)


def next_test(
    machine: Machine, standing: Sequence[Hypothesis], pairs: Mapping[str, int], *, avoid: Collection[str] = ()
) -> NextTest | None:
    """The selection to vend next while several rules stand, or one that rests on too few pairs; None where neither.

    standing: the rules that explain all `pairs` (label to bus). avoid: labels that were tried in vain.
    """
    labels = [label for label in _testable(machine) if label not in pairs]
    labels = [label for label in labels if label not in avoid] or labels
    if not labels:
        return None
    if not pairs:
        return _first(machine, standing, labels)
    if len(standing) == 1 and len(pairs) < pairs_needed(standing[0]):
        label, told = farthest(machine, labels, pairs), 0.0
        reason: Literal["tells-apart", "confirms"] = "confirms"
    elif len(standing) > 1 and (found := _most_telling(machine, standing, labels))[1] > 0:
        label, told = found
        reason = "tells-apart"
    else:
        return None
    worst, expected = needed(machine, standing, len(pairs), labels)
    return NextTest(label, _predictions(machine, standing, label), told, worst, expected, reason)


def _testable(machine: Machine) -> list[str]:
    """Slots with a product, where any has one: an empty spiral need not be turned."""
    stocked = [slot.label for slot in machine.slots if slot.product is not None]
    return stocked if len(stocked) > 1 else [slot.label for slot in machine.slots]


def _predictions(
    machine: Machine, standing: Sequence[Hypothesis], label: str
) -> tuple[tuple[Numbering | None, int | None], ...]:
    at = machine.at[label]
    return tuple((each.rule, each.predicted[at]) for each in standing)


def outcomes(machine: Machine, standing: Sequence[Hypothesis], label: str) -> dict[int | None, list[Hypothesis]]:
    """The rules by what they predict for a label."""
    at = machine.at[label]
    found: dict[int | None, list[Hypothesis]] = {}
    for each in standing:
        found.setdefault(each.predicted[at], []).append(each)
    return found


def information(machine: Machine, standing: Sequence[Hypothesis], label: str) -> float:
    """Bits that vending `label` is expected to tell."""
    groups = outcomes(machine, standing, label).values()
    return bits([sum(each.weight for each in group) for group in groups])


def _most_telling(machine: Machine, standing: Sequence[Hypothesis], labels: Sequence[str]) -> tuple[str, float]:
    """The label that tells most; among equals the first in the order of the machine."""
    told = {label: round(information(machine, standing, label), 9) for label in labels}
    best = max(labels, key=told.__getitem__)
    return best, told[best]


def needed(
    machine: Machine, standing: Sequence[Hypothesis], known: int, labels: Sequence[str]
) -> tuple[int | None, float | None]:
    """Tests still needed where one of `standing` is the machine's rule and the most telling label is always taken.

    known: pairs there are. labels: those that may be tested. Returns the worst case and the expected number by the
    rules' weights; None where the labels run out before one rule is left.
    """
    if len(standing) == 1:
        more = max(0, pairs_needed(standing[0]) - known)
        return more, float(more)
    if not labels:
        return None, None
    label, told = _most_telling(machine, standing, labels)
    if told == 0.0:
        return None, None
    rest = [each for each in labels if each != label]
    worst, expected = 0, 0.0
    whole = sum(each.weight for each in standing)
    for group in outcomes(machine, standing, label).values():
        most, mean = needed(machine, group, known + 1, rest)
        if most is None or mean is None:
            return None, None
        worst = max(worst, most)
        expected += sum(each.weight for each in group) / whole * mean
    return worst + 1, expected + 1


def _first(machine: Machine, standing: Sequence[Hypothesis], labels: Sequence[str]) -> NextTest:
    """Before any pair only rules without a parameter predict; the others may give any number, once.

    Among the labels that tell these apart equally, the one farthest from the first slot: its row and its column both
    bear on what comes next.
    """
    told: dict[str, float] = {}
    for label in labels:
        groups = outcomes(machine, standing, label)
        weights = [sum(each.weight for each in group) for number, group in groups.items() if number is not None]
        told[label] = round(bits([*weights, _OPEN_WEIGHT]), 9)
    best = max(told.values())
    origin = {machine.slots[0].label: 0}
    label = farthest(machine, [each for each in labels if told[each] == best], origin)
    worst, expected = _from_nothing(machine, standing, label, labels)
    predictions = (*_predictions(machine, standing, label), (None, None))
    return NextTest(label, predictions, best, worst, expected, "first")


def _from_nothing(
    machine: Machine, without_parameters: Sequence[Hypothesis], label: str, labels: Sequence[str]
) -> tuple[int | None, float | None]:
    """Tests needed from the very first: for each number that a rule predicts, and for one that none does."""
    groups = outcomes(machine, without_parameters, label)
    stranger = next(number for number in range(_STRANGER, 2 * _STRANGER) if number not in groups)
    weights = {number: sum(each.weight for each in group) for number, group in groups.items() if number is not None}
    weights[stranger] = _OPEN_WEIGHT
    rest = [each for each in labels if each != label]
    worst, expected = 0, 0.0
    for number, weight in weights.items():
        most, mean = needed(machine, find_standing(machine, {label: number}), 1, rest)
        if most is None or mean is None:
            return None, None
        worst, expected = max(worst, most), expected + weight / sum(weights.values()) * mean
    return worst + 1, expected + 1


def farthest(machine: Machine, labels: Sequence[str], pairs: Collection[str]) -> str:
    """The label whose place is farthest from those tested: in another row and another column, if there is one."""
    tested = [machine.places[machine.at[label]] for label in pairs]

    def distance(label: str) -> tuple[int, int]:
        place = machine.places[machine.at[label]]
        if place is None:
            return 0, 0
        gaps = [(abs(place[0] - at[0]), abs(place[1] - at[1])) for at in tested if at is not None]
        return min((min(gap) for gap in gaps), default=0), min((sum(gap) for gap in gaps), default=0)

    return max(labels, key=distance)
