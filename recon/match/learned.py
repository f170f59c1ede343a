"""What was learned of a machine's numbering, as types: the tests found, the rules that stand, the next test to make."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from recon.model.layout import Numbering


@dataclass(frozen=True, slots=True)
class Pair:
    """A label and its bus number, with the logged vend that says so: file (number of the input) and row (its line)."""

    label: str
    bus: int
    file: int
    row: int


@dataclass(frozen=True, slots=True)
class Candidate:
    """A logged vend that may be a test vend. time: UTC. short_by: how much worse the best reading of the log with this
    vend is than the best of all, in nats (0: the best itself; 3 is about twenty to one)."""

    file: int
    row: int
    time: datetime
    bus: int | None
    short_by: float


@dataclass(frozen=True, slots=True)
class FoundTest:
    """One test vend and what the log says of it.

    file, row, time: of the test itself (time UTC, None where none was noted). vend: the likeliest logged vend, None
    where the log seems to have none. margin: nats between the best reading and the best that gives another number or
    none. state: "found" where the margin is wide enough, "ambiguous" where it is not, "missing" where the log has no
    vend for it. runners_up: other vends that it may be, the likeliest first.
    """

    file: int
    row: int
    label: str
    time: datetime | None
    vend: Candidate | None
    margin: float
    state: Literal["found", "ambiguous", "missing"]
    runners_up: tuple[Candidate, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleStanding:
    """A numbering rule beside the confirmed labels: how many it explains, and which not.

    parameters: numbers fitted to get it (0 for a rule that has none). pitches: the pitch of each label where the rule
    needs another than the layout gives; empty mostly.
    """

    rule: Numbering
    parameters: int
    explains: int
    exceptions: tuple[str, ...] = ()
    pitches: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NextTest:
    """The selection to vend next. predictions: what each rule that stands expects of it, None where the rule gives it
    no number or has a parameter that no test has fixed. bits: how much the test is expected to tell. worst, expected:
    tests still needed from now on, this one included; None where no number of tests is promised."""

    label: str
    predictions: tuple[tuple[Numbering | None, int | None], ...]
    bits: float
    worst: int | None
    expected: float | None
    reason: Literal["first", "tells-apart", "confirms", "again", "doubted", "unexplained"]


@dataclass(frozen=True, slots=True)
class Learned:
    """What is known of a machine's numbering.

    rule: the rule that explains every pair, where there is one; None where several stand or none does. certain: every
    slot's number is known, by its own test or by the one rule that is left. pairs: confirmed, one a label. numbers:
    label to bus for every slot that can be filled. exceptions: labels whose confirmed number is not the best rule's.
    undecided: labels of the machine without an entry in `numbers`. clock_offset: the log's clock less the tests'.
    strays: numbers in the log after the tests began that the rule gives to no slot. other_prices: labels not tested
    whose number, by the rule, vended at other prices than the layout's alone. disputed: label to the numbers that
    its repeated tests gave, where they do not agree. rules: the best first.
    """

    machine: str
    rule: Numbering | None
    certain: bool
    pairs: tuple[Pair, ...]
    numbers: Mapping[str, int]
    exceptions: tuple[str, ...]
    undecided: tuple[str, ...]
    tests: tuple[FoundTest, ...] = ()
    rules: tuple[RuleStanding, ...] = ()
    next_test: NextTest | None = None
    clock_offset: timedelta | None = None
    strays: tuple[int, ...] = ()
    other_prices: tuple[str, ...] = ()
    disputed: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    pitches: Mapping[str, int] = field(default_factory=dict)
