"""What `recon learn --format json` prints, as types."""

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LearnedPair(_Record):
    """A label and its bus number, with the logged vend that says so."""

    label: str
    bus: int
    file: str
    """The input, as a path within the route folder."""
    row: int
    """Its line."""


class LearnedNumber(_Record):
    """A label and the bus number that can be filled in for it."""

    label: str
    bus: int


class DisputedLabel(_Record):
    """A label whose repeated tests gave numbers that do not agree."""

    label: str
    buses: list[int]


class LearnedPitch(_Record):
    """A label and the numbers that it takes by the rule, where the layout says otherwise."""

    label: str
    pitch: int


class LoggedVend(_Record):
    """A logged vend that may be a test vend."""

    file: str
    row: int
    time: datetime
    bus: int | None
    short_by: float
    """How much worse the best reading with this vend is than the best of all, in nats; 3 is about 20 to 1."""


class TestVend(_Record):
    """A test vend and what the log says of it."""

    label: str
    file: str
    row: int
    time: datetime | None
    state: Literal["found", "ambiguous", "missing"]
    margin: float | None
    """Nats between the best reading and the best that gives another number or none; null where there is no other."""
    vend: LoggedVend | None
    """The likeliest logged vend; null where the log seems to have none."""
    runners_up: list[LoggedVend]
    """Other vends that it may be, the likeliest first."""


class RankedRule(_Record):
    """A numbering rule beside the confirmed labels."""

    rule: str
    """As it is written in a layout."""
    parameters: int
    """Numbers fitted to get it."""
    explains: int
    """Confirmed labels that it explains."""
    exceptions: list[str]
    """Confirmed labels that it does not."""


class Prediction(_Record):
    """What a rule expects of the next test; null where it gives no number."""

    rule: str | None
    bus: int | None


class NextTestVend(_Record):
    """The selection to vend next."""

    label: str
    reason: str
    bits: float
    """How much the test is expected to tell."""
    worst: int | None
    """Tests still needed at most, this one included; null where no number is promised."""
    expected: float | None
    """Tests still needed on average."""
    predictions: list[Prediction]


class LearnResults(_Record):
    """What is known of a machine's numbering."""

    format: Literal["recon-learn/1"]
    machine: str
    certain: bool
    """Whether every slot's number is known, by its own test or by the one rule that is left."""
    rule: str | None
    """The rule that explains every pair, as it is written in a layout; null where several stand or none does."""
    pairs: list[LearnedPair]
    """Confirmed, one a label."""
    numbers: list[LearnedNumber]
    """For every slot that can be filled."""
    undecided: list[str]
    """Labels of the machine without an entry in numbers."""
    exceptions: list[str]
    """Labels whose confirmed number is not the best rule's."""
    strays: list[int]
    """Numbers in the log after the tests began that the rule gives to no slot."""
    other_prices: list[str]
    """Labels not tested whose number, by the rule, vended at other prices than the layout's alone."""
    disputed: list[DisputedLabel]
    pitches: list[LearnedPitch]
    clock_offset_seconds: int | None
    """The log's clock less the tests'."""
    tests: list[TestVend]
    rules: list[RankedRule]
    """The best first."""
    next_test: NextTestVend | None
