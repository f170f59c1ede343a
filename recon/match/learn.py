"""Learning a machine's numbering from test vends: find the tests in the log, infer the rule, name the next test."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import polars as pl

from recon.match.align import CONFIDENT, Alignment, NotedTest, Vend, align, margin
from recon.match.doubts import other_prices, stray_numbers
from recon.match.infer import Hypothesis, Machine, distinct, explained, hypotheses, ranked, standing, weighed
from recon.match.learned import Candidate, FoundTest, Learned, NextTest, Pair, RuleStanding
from recon.match.next_test import farthest, next_test, pairs_needed
from recon.match.numbering import row_and_column
from recon.model.frames import Frame
from recon.model.layout import Layout, Numbering, Slot

__all__ = ["FoundTest", "Learned", "NextTest", "Pair", "RuleStanding", "learn"]

_REACH = timedelta(hours=26)
_MOST_VENDS = 3000
"""Vends looked at: as many as a busy machine logs in a month. Beyond that, only those nearer to the tests."""
_LAST_VENDS = 400
"""Vends looked at where no test has a time and none was paid as a test: the last so many."""
_AROUND_TESTS = timedelta(minutes=30)
_RUNNERS_UP = 3
_RULES_TRIED = 8


def learn(
    machine: str, tests: Frame, vends: Frame, *, layout: Layout | None = None, states: Frame | None = None
) -> Learned:
    """Work out a machine's numbering.

    machine: its id. tests, vends: the frames of these names (of all machines or of this one). layout: where it has
    one; else the labels of the tests are all that is known. states: the frame of that name, for the prices that slots
    had; without it no price is compared.
    """
    noted = _noted(tests.filter(pl.col("machine") == machine))
    logged = vends.filter(pl.col("machine") == machine).sort("time", "file", "row")
    near = _near(logged, [time for time in noted["time"].to_list() if time is not None])
    offset, found = _found(noted, near, _prices(machine, noted, states))
    if any(test.state == "ambiguous" for test in found):
        rules = _may_hold(_machine(layout if layout and layout.slots else None, found), found)
        offset, found = _found(noted, near, _prices(machine, noted, states), rules)
    here = None if states is None else states.filter(pl.col("machine") == machine)
    return _concluded(machine, found, offset, layout if layout and layout.slots else None, logged, here)


def _noted(tests: Frame) -> Frame:
    """The tests in the order in which they were made: as listed; lists from several files by their first times."""
    listed = tests.sort("file", "row")
    if listed["time"].null_count() > 0:
        return listed
    return listed.with_columns(pl.col("time").min().over("file").alias("began")).sort("began", "file", "row")


def _near(logged: Frame, times: Sequence[datetime]) -> Frame:
    """The vends that may be the tests, sorted by time."""
    if not times:
        tested = logged.filter(pl.col("tender") == "test")["time"].to_list()
        return _around(logged, tested, _AROUND_TESTS) if tested else logged.tail(_LAST_VENDS)
    reach = _REACH
    near = _around(logged, times, reach)
    while near.height > _MOST_VENDS and reach > timedelta(minutes=30):
        reach /= 2
        near = _around(logged, times, reach)
    return near


def _around(logged: Frame, times: Sequence[datetime], reach: timedelta) -> Frame:
    """Vends within `reach` of any of these times."""
    spans: list[tuple[datetime, datetime]] = []
    for time in sorted(times):
        if spans and time - reach <= spans[-1][1]:
            spans[-1] = (spans[-1][0], time + reach)
        else:
            spans.append((time - reach, time + reach))
    inside = [pl.col("time").is_between(since, until) for since, until in spans]
    return logged.filter(pl.any_horizontal(inside))


def _prices(machine: str, noted: Frame, states: Frame | None) -> list[int | None]:
    """What the layout asked for each test's label at its time; without a time, what it asked last."""
    if states is None:
        return [None] * noted.height
    history = states.filter(pl.col("machine") == machine).sort("starts").select("label", "starts", "price").rows()
    return [
        next((price for name, starts, price in reversed(history) if name == label and starts <= (time or starts)), None)
        for label, time in noted.select("label", "time").iter_rows()
    ]


def _found(
    noted: Frame, near: Frame, prices: Sequence[int | None], rules: Sequence[tuple[int, Mapping[str, int]]] = ()
) -> tuple[timedelta | None, tuple[FoundTest, ...]]:
    """The clock offset (log less tests), and what the log says of each test."""
    rows = near.select("file", "row", "time", "bus").rows(named=True)
    tests = [
        NotedTest(label, None if time is None else time.timestamp(), price)
        for (label, time), price in zip(noted.select("label", "time").iter_rows(), prices, strict=True)
    ]
    vends = [
        Vend(time.timestamp(), bus, tender, outcome, price)
        for time, bus, tender, outcome, price in near.select("time", "bus", "tender", "outcome", "price").iter_rows()
    ]
    aligned = align(tests, vends, rules)
    found = tuple(
        _test_found(test, at, aligned, vends, rows) for at, test in enumerate(noted.rows(named=True))
    )
    known = aligned.offset is not None and any(test.state == "found" for test in found)
    return (timedelta(seconds=aligned.offset) if known and aligned.offset is not None else None), found


def _may_hold(machine: Machine, found: Sequence[FoundTest]) -> list[tuple[int, dict[str, int]]]:
    """Rules that explain most of the likeliest vends, sure or not: parameters, and the numbers of the tested labels."""
    likely = {
        test.label: test.vend.bus
        for test in found if test.vend is not None and test.vend.bus is not None and test.label in machine.at
    }  # fmt: skip
    every = distinct(weighed(hypotheses(machine, likely)))
    counted = sorted(every, key=lambda each: -explained(machine, each, likely) + each.parameters)
    told: dict[tuple[int | None, ...], tuple[int, dict[str, int]]] = {}
    for each in counted:
        numbers = {label: bus for label in likely if (bus := each.predicted[machine.at[label]]) is not None}
        told.setdefault(tuple(each.predicted[machine.at[label]] for label in likely), (each.parameters, numbers))
    return list(told.values())[:_RULES_TRIED] if len(likely) > 1 else []


def _test_found(
    test: Mapping[str, object], at: int, aligned: Alignment, vends: Sequence[Vend], rows: Sequence[Mapping[str, object]]
) -> FoundTest:
    choices = aligned.choices[at]
    candidates = [
        Candidate(**rows[choice.vend], short_by=round(choice.short_by, 2))  # type: ignore[arg-type]
        for choice in choices if choice.vend is not None
    ]  # fmt: skip
    wide = margin(choices, vends)
    there = choices[0].vend is not None
    sure = wide >= CONFIDENT
    return FoundTest(
        **{name: test[name] for name in ("file", "row", "label", "time")},  # type: ignore[arg-type]
        vend=candidates[0] if there else None, margin=round(wide, 2),
        state=("found" if there else "missing") if sure else "ambiguous",
        runners_up=tuple(candidates[there : there + _RUNNERS_UP]),
    )  # fmt: skip


def _machine(layout: Layout | None, found: Sequence[FoundTest]) -> Machine:
    """The slots that the rules speak of. Without a layout: those tested, and beside them every label of their rows, so
    that rules which differ somewhere on such a machine are not taken for one."""
    if layout is not None:
        return Machine(tuple({slot.label: slot for slot in reversed(layout.slots)}[name] for name in _labels(layout)))
    tested = dict.fromkeys(test.label for test in found)
    rows = dict.fromkeys(label[:-1] for label in tested if row_and_column(label) is not None)
    others = [f"{row}{column}" for row in rows for column in range(10)]
    every = sorted(dict.fromkeys([*tested, *others]), key=lambda label: (row_and_column(label) or (0, 0), label))
    return Machine(tuple(Slot(label=label) for label in every), in_order=False)


def _labels(layout: Layout) -> list[str]:
    return list(dict.fromkeys(slot.label for slot in layout.slots))


def _confirmed(found: Sequence[FoundTest]) -> tuple[dict[str, Pair], dict[str, tuple[int, ...]]]:
    """One pair for each label whose tests agree, or most of them do; and the labels whose tests do not all agree."""
    by_label: dict[str, list[Candidate]] = {}
    for test in found:
        if test.state == "found" and test.vend is not None and test.vend.bus is not None:
            by_label.setdefault(test.label, []).append(test.vend)
    pairs: dict[str, Pair] = {}
    disputed: dict[str, tuple[int, ...]] = {}
    for label, vends in by_label.items():
        counts = Counter(vend.bus for vend in vends if vend.bus is not None).most_common()
        if len(counts) > 1:
            disputed[label] = tuple(sorted(bus for bus, _ in counts))
        if len(counts) == 1 or counts[0][1] > counts[1][1]:
            vend = next(vend for vend in vends if vend.bus == counts[0][0])
            pairs[label] = Pair(label, counts[0][0], vend.file, vend.row)
    return pairs, disputed


@dataclass(frozen=True, slots=True)
class _Settled:
    """The one rule that is left, and what speaks against it all the same."""

    rule: Hypothesis
    strays: tuple[int, ...]
    other_prices: tuple[str, ...]
    holds: bool


def _settled(
    left: Sequence[Hypothesis], machine: Machine, pairs: Mapping[str, Pair], disputed: Mapping[str, Sequence[int]],
    found: Sequence[FoundTest], logged: Frame, states: Frame | None,
) -> _Settled | None:  # fmt: skip
    """None where several rules stand, none does, or the one rests on too few pairs."""
    known = [label for label in pairs if label in machine.at]
    if len(left) != 1 or len(known) < min(pairs_needed(left[0]), len(machine.slots)):
        return None
    given = {slot.label: bus for slot, bus in zip(machine.slots, left[0].predicted, strict=True)}
    since = min(test.vend.time for test in found if test.state == "found" and test.vend is not None)
    strays = stray_numbers(logged, since, given.values())
    untested = {label: bus for label, bus in given.items() if bus is not None}
    doubtful = () if states is None else other_prices(logged, since, untested, states)
    doubtful = tuple(label for label in doubtful if label not in pairs)
    agrees = all(given[label] in numbers for label, numbers in disputed.items() if label in given)
    holds = agrees and not strays and not doubtful and None not in given.values()
    return _Settled(left[0], strays, doubtful, holds)


def _concluded(
    machine_id: str, found: tuple[FoundTest, ...], offset: timedelta | None, layout: Layout | None, logged: Frame,
    states: Frame | None,
) -> Learned:  # fmt: skip
    machine = _machine(layout, found)
    pairs, disputed = _confirmed(found)
    numbers = {label: pair.bus for label, pair in pairs.items() if label in machine.at}
    tested = {test.label for test in found}
    labels = [slot.label for slot in machine.slots if layout is not None or slot.label in tested]
    left = standing(machine, numbers) if numbers else distinct(weighed(hypotheses(machine, {})))
    rules = ranked(machine, numbers)
    only = _settled(left, machine, pairs, disputed, found, logged if layout is not None else logged.clear(), states)
    if only is not None and only.holds and layout is not None:
        told = zip(machine.slots, only.rule.predicted, strict=True)
        numbers = {slot.label: bus for slot, bus in told if bus is not None} | numbers
    certain = bool(labels) and all(label in numbers for label in labels)
    doubtful = only.other_prices if only is not None else ()
    return Learned(
        machine=machine_id,
        rule=only.rule.rule if only is not None else _clear_best(rules),
        certain=certain,
        pairs=tuple(pairs.values()),
        numbers={label: numbers[label] for label in labels if label in numbers},
        exceptions=rules[0].exceptions if rules and not left else (),
        undecided=tuple(label for label in labels if label not in numbers),
        tests=found, rules=tuple(rules), clock_offset=offset, disputed=disputed,
        strays=only.strays if only is not None else (), other_prices=doubtful,
        next_test=None if certain or layout is None else _next(machine, left, rules, found, numbers, doubtful),
        pitches=dict(only.rule.pitches) if only is not None and only.holds else {},
    )  # fmt: skip


def _clear_best(rules: Sequence[RuleStanding]) -> Numbering | None:
    """The rule that explains more pairs than any other and more than it has parameters, though it is not settled."""
    if not rules or rules[0].explains <= rules[0].parameters:
        return None
    return rules[0].rule if len(rules) == 1 or rules[1].explains < rules[0].explains else None


def _next(
    machine: Machine, left: Sequence[Hypothesis], rules: Sequence[RuleStanding], found: Sequence[FoundTest],
    numbers: Mapping[str, int], doubtful: Sequence[str],
) -> NextTest | None:  # fmt: skip
    """What to vend next. Where the rules do not tell: first the exceptions once more, then what the customers' vends
    make doubtful, then further labels.
    """
    tries = Counter(test.label for test in found)
    in_vain = {label for label, count in tries.items() if count > 1 and label not in numbers}
    chosen = next_test(machine, left, numbers, avoid=in_vain)
    if chosen is not None:
        return chosen
    again = [label for label in (rules[0].exceptions if rules and not left else ()) if tries[label] < 2]
    others = [slot.label for slot in machine.slots if slot.label not in numbers]
    others = [label for label in others if label not in in_vain] or others
    if not again and not others:
        return None
    label = again[0] if again else doubtful[0] if doubtful else farthest(machine, others, numbers)
    at = machine.at[label]
    fitted = {each.rule: each.predicted[at] for each in hypotheses(machine, numbers)}
    reason: Literal["again", "doubted", "unexplained"] = "again" if again else "doubted" if doubtful else "unexplained"
    predictions = tuple((rule.rule, fitted.get(rule.rule)) for rule in rules[:5])
    return NextTest(label, predictions, 0.0, None, None, reason)
