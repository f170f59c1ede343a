"""Which logged vend was which test vend: an order-keeping alignment of two lists, scored, with its runners-up.

Tests and vends both stand in the order in which they happened. Every test is given a vend or none, in order, so that
the sum of scores is greatest; for each test and each vend the best sum with just these two together is kept (forward
and backward passes of the same recurrence: S. B. Needleman and C. D. Wunsch, 1970), and from it the margins. A score is
the logarithm of how much likelier the vend is as that test than as a customer's vend (nats). The clock offset is one
unknown for all: taken from the peaks of the histogram of time differences, each refined by its own alignment.
"""

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf, log
from statistics import median

CONFIDENT = 3.5
"""Nats between the best reading and the best other one from which a pair is confirmed: about 33 to 1."""
_SPREAD = 60.0
"""Seconds by which a noted time of a test typically errs: people note minutes."""
_WIDEST = 20 * 60.0
"""Seconds beyond which a test and a vend are not thought to be one, clocks once set right."""
_MISSED = log(0.08)
"""A test that is not in the log: it failed, or the reader lost it."""
_REACH = 26 * 3600.0
"""Seconds by which clocks may differ: a day, and a zone beside it."""
_BIN = 30.0
_PAUSE = 4 * 3600.0
_PEAKS = 5
_ROUNDS = 3
_FAR = 12.0
"""Nats behind the best from which a choice is no longer kept."""
_TENDER = {"test": 3.0, "free": 0.5, "token": 0.0, "cash": 0.0, "prepaid": -2.0, "card": -2.5}
_OUTCOME = {"vended": 0.0, "failed": -0.3, "refunded": -1.0, "cancelled": -1.5}
_OTHERS_NUMBER, _OWN_NUMBER, _NO_NUMBER = -5.0, 4.0, -1.0
"""A customer happens upon the very number that a label has about once in fifty vends (4 nats)."""
_OTHER_PRICE = log(0.1)
_BY_RULE, _AGAINST_RULE, _PARAMETER = 4.0, -3.0, 4.0
"""Where a rule holds: a customer's vend has the number it gives once in fifty; a number that it does not give is an
exception, once in twenty. A parameter can be had fifty ways."""
_OFFSETS_BY_RULE = 2


@dataclass(frozen=True, slots=True)
class NotedTest:
    """A test vend as noted. moment: seconds since 1970 UTC, None where no time was noted. price: minor units that the
    layout asks for the label, None where it does not say."""

    label: str
    moment: float | None
    price: int | None = None


@dataclass(frozen=True, slots=True)
class Vend:
    """A vend as logged. moment: seconds since 1970 UTC. price: minor units, None where missing."""

    moment: float
    bus: int | None
    tender: str
    outcome: str = "vended"
    price: int | None = None


@dataclass(frozen=True, slots=True)
class Choice:
    """A vend (its place in the list; None: no vend) for a test, and how far it falls short of the best reading."""

    vend: int | None
    short_by: float


@dataclass(frozen=True, slots=True)
class Alignment:
    """offset: seconds that the log's clock is ahead of the tests'; None where no test has a time. total: score of the
    best reading. choices: for each test, what it may be, the likeliest first."""

    offset: float | None
    total: float
    choices: tuple[tuple[Choice, ...], ...]


Scores = Sequence[Mapping[int, float]]
"""For each test, the score of each vend that it may be."""


def align(
    tests: Sequence[NotedTest], vends: Sequence[Vend], rules: Sequence[tuple[int, Mapping[str, int]]] = ()
) -> Alignment:
    """Align tests with vends, both in the order in which they happened.

    Several clock offsets are tried; the margins hold over all of them, so that a test is as sure as the offset is.
    rules: numbering rules that may be the machine's, each as its count of parameters and its numbers by label. Each is
    tried as if it held, beside none, and a test is then as sure as it is whichever of them holds.
    """
    if not tests:
        return Alignment(None, 0.0, ())
    backdrop = _Backdrop(vends)
    readings = [_settled(tests, vends, offset, backdrop) for offset in _offsets(tests, vends, backdrop)]
    offsets = [each.offset for each in sorted(readings, key=lambda each: -each.total)[:_OFFSETS_BY_RULE]]
    for parameters, numbers in rules:
        for offset in dict.fromkeys(offsets):
            reading = _settled(tests, vends, offset, backdrop, numbers)
            readings.append(replace(reading, total=reading.total - _PARAMETER * parameters))
    best = max(readings, key=lambda reading: reading.total)
    return replace(best, choices=tuple(_merged(at, readings, best.total) for at in range(len(tests))))


def _merged(at: int, readings: Sequence[Alignment], total: float) -> tuple[Choice, ...]:
    """The choices of one test over all clock offsets, each measured against the best reading of all."""
    short: dict[int | None, float] = {}
    for reading in readings:
        for choice in reading.choices[at]:
            behind = choice.short_by + total - reading.total
            short[choice.vend] = min(behind, short.get(choice.vend, inf))
    return _in_order([Choice(vend, behind) for vend, behind in short.items()])


def _in_order(choices: Iterable[Choice]) -> tuple[Choice, ...]:
    """The likeliest first; among equals a vend before none, and the earlier vend."""
    return tuple(sorted(choices, key=lambda one: (round(one.short_by, 9), one.vend is None, one.vend or 0)))


class _Backdrop:
    """How common among the vends near the tests a price is, and how many vends there are to a second."""

    def __init__(self, vends: Sequence[Vend]) -> None:
        prices = Counter(vend.price for vend in vends if vend.price)
        self._prices, self._priced = prices, sum(prices.values())
        # Nights and the days between two visits, for which no vends are given, are no selling time.
        span = sum(min(later.moment - vend.moment, _PAUSE) for vend, later in pairwise(vends))
        self.rate = (len(vends) + 1) / max(span, 6 * 3600.0)

    def of_price(self, test: NotedTest, vend: Vend) -> float:
        """A vend at the layout's price speaks for the label, the more the rarer the price; another price against it."""
        if not vend.price or test.price is None:
            return 0.0
        if vend.price != test.price:
            return _OTHER_PRICE
        return log(0.9 * (self._priced + 1) / (self._prices[vend.price] + 1)) if self._priced else 0.0

    def of_time(self, gap: float) -> float:
        """Seconds between the times, clocks set right: errors fall off evenly (Laplace) against vends at their rate."""
        return -log(2 * _SPREAD * self.rate) - abs(gap) / _SPREAD


def _of_itself(vend: Vend) -> float:
    """What the vend says by itself: how it was paid, what came of it, and whether it has a number to teach."""
    return _TENDER[vend.tender] + _OUTCOME[vend.outcome] + (_NO_NUMBER if vend.bus is None else 0.0)


def _offsets(tests: Sequence[NotedTest], vends: Sequence[Vend], backdrop: _Backdrop) -> list[float | None]:
    """Clock offsets to try: none, and the peaks of the histogram of differences, each vend with the weight it has."""
    if all(test.moment is None for test in tests):
        return [None]
    heights: defaultdict[int, float] = defaultdict(float)
    for test in tests:
        for vend in vends:
            if test.moment is not None and abs(gap := vend.moment - test.moment) <= _REACH:
                weight = 2.0 ** max(-3.0, min(4.0, _of_itself(vend) + backdrop.of_price(test, vend)))
                for near, share in ((-2, 0.25), (-1, 0.5), (0, 1.0), (1, 0.5), (2, 0.25)):
                    heights[round(gap / _BIN) + near] += weight * share
    peaks: list[int] = []
    for place, _ in sorted(heights.items(), key=lambda entry: (-entry[1], abs(entry[0]))):
        if all(abs(place - other) > 6 for other in peaks):
            peaks.append(place)
        if len(peaks) == _PEAKS:
            break
    return [0.0, *(place * _BIN for place in peaks)]


def _settled(
    tests: Sequence[NotedTest], vends: Sequence[Vend], offset: float | None, backdrop: _Backdrop,
    rule: Mapping[str, int] | None = None,
) -> Alignment:  # fmt: skip
    """Align under one offset: set it anew to the median difference, and let the pairs found bear on each other."""
    rule = rule or {}
    known: dict[int, int] = {}
    for _ in range(_ROUNDS):
        scores = _scores(tests, vends, offset, known, backdrop, rule)
        found = best_sums(scores)
        gaps = [
            vends[choices[0].vend].moment - test.moment
            for test, choices in zip(tests, found.choices, strict=True)
            if choices[0].vend is not None and test.moment is not None
        ]  # fmt: skip
        now = _confident(vends, found)
        settled = median(gaps) if gaps and offset is not None else offset
        if now == known and settled == offset:
            break
        known, offset = now, settled
    return replace(found, offset=offset, total=found.total + _of_offset(offset))


def _of_offset(offset: float | None) -> float:
    """Clocks that agree are likelier than clocks that do not."""
    return 0.0 if offset is None else -0.7 * log(1 + abs(offset) / 120.0)


def _confident(vends: Sequence[Vend], found: Alignment) -> dict[int, int]:
    """Tests that have a number beyond doubt: place of the test to the number."""
    sure = {}
    for at, choices in enumerate(found.choices):
        vend = choices[0].vend
        if vend is not None and (bus := vends[vend].bus) is not None and margin(choices, vends) >= CONFIDENT:
            sure[at] = bus
    return sure


def margin(choices: Sequence[Choice], vends: Sequence[Vend]) -> float:
    """Nats between the first choice and the next that gives another number or none."""
    best = _bus(choices[0], vends)
    return next((choice.short_by for choice in choices[1:] if best is None or _bus(choice, vends) != best), inf)


def _bus(choice: Choice, vends: Sequence[Vend]) -> int | None:
    return None if choice.vend is None else vends[choice.vend].bus


def _scores(
    tests: Sequence[NotedTest], vends: Sequence[Vend], offset: float | None, known: Mapping[int, int],
    backdrop: _Backdrop, rule: Mapping[str, int],
) -> list[dict[int, float]]:
    itself = [_of_itself(vend) for vend in vends]
    found = []
    for at, test in enumerate(tests):
        # What the other tests that are beyond doubt say of the numbers.
        others = [(tests[other].label, bus) for other, bus in known.items() if other != at]
        own = {bus for label, bus in others if label == test.label}
        taken = {bus for label, bus in others if label != test.label} - own
        row = {}
        clock = None if test.moment is None or offset is None else test.moment + offset
        for place in _in_reach(vends, clock):
            vend = vends[place]
            score = itself[place] + backdrop.of_price(test, vend)
            if clock is not None:
                score += backdrop.of_time(vend.moment - clock)
            if vend.bus is not None and test.label in rule:
                score += _BY_RULE if vend.bus == rule[test.label] else _AGAINST_RULE
            elif vend.bus in own:
                score += _OWN_NUMBER
            elif vend.bus in taken:
                score += _OTHERS_NUMBER
            row[place] = score
        found.append(row)
    return found


def _in_reach(vends: Sequence[Vend], clock: float | None) -> range:
    """The vends that a test made at that moment of the log's clock may be; all of them where that is not known."""
    if clock is None:
        return range(len(vends))
    since = bisect_left(vends, clock - _WIDEST, key=lambda vend: vend.moment)
    return range(since, bisect_right(vends, clock + _WIDEST, lo=since, key=lambda vend: vend.moment))


def best_sums(scores: Scores) -> Alignment:
    """The best order-keeping choice for all tests together, and for each test how far each vend falls short of it.

    scores: for each test the vends it may be, by their place, with the score. A test left without a vend costs the
    same whichever it is. Returns choices within _FAR of the best, the likeliest first, with no offset.
    """
    # Only vends that some test may be matter: they are counted on from 0, in their order.
    order = {place: at for at, place in enumerate(sorted({place for row in scores for place in row}))}
    width = len(order)
    before, after = _passes([{order[place]: score for place, score in row.items()} for row in scores], width)
    total = before[-1][width]
    choices = []
    for at, row in enumerate(scores):
        sums: dict[int | None, float] = {
            place: before[at][order[place]] + score + after[at + 1][order[place] + 1] for place, score in row.items()
        }
        sums[None] = _MISSED + max(before[at][cut] + after[at + 1][cut] for cut in range(width + 1))
        near = [Choice(place, max(0.0, total - whole)) for place, whole in sums.items() if total - whole < _FAR]
        choices.append(_in_order(near))
    return Alignment(None, total, tuple(choices))


def _passes(scores: Scores, width: int) -> tuple[list[list[float]], list[list[float]]]:
    """before[n][v]: best sum of the first n tests in the first v vends; after[n][v]: of tests from n, vends from v."""
    before = [[0.0] * (width + 1)]
    for row in scores:
        last, now = before[-1], [before[-1][0] + _MISSED]
        for place in range(width):
            paired = last[place] + row[place] if place in row else -inf
            now.append(max(now[-1], last[place + 1] + _MISSED, paired))
        before.append(now)
    after = [[0.0] * (width + 1)]
    for row in reversed(scores):
        last, now = after[-1], [0.0] * (width + 1)
        now[width] = last[width] + _MISSED
        for place in range(width - 1, -1, -1):
            paired = last[place + 1] + row[place] if place in row else -inf
            now[place] = max(now[place + 1], last[place] + _MISSED, paired)
        after.append(now)
    return before, after[::-1]
