"""Machines to learn: a numbering worked out apart from recon's, customers, and a person who makes test vends.

Invented throughout. The rules are those of docs/route-folder.md (common practice, no source), computed here by other
means than in recon.match.numbering.
"""

import random
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import polars as pl

from recon.match.learn import Learned, learn
from recon.model.frames import TESTS, VENDS, Frame
from recon.model.layout import Layout

EVENING = datetime(2026, 9, 1, 17, tzinfo=UTC)
PRICES = (100, 125, 150, 175, 200, 225, 250, 300)
DIGIT_RULES = ("same", "zero-based", "hex-label", "offset", "grid", "column-grid", "sequence")
LETTER_RULES = ("hex-label", "ascii-pair", "grid", "column-grid", "sequence")


@dataclass
class Machine:
    """A machine as it is: labels, true numbers, prices (minor units), and how its evening goes.

    offset: seconds that the log's clock is ahead of the person's. timed: whether the person notes times. test_mode:
    whether test vends are logged as such (else as cash). daily: customers' vends a day.
    """

    rule: str
    labels: list[str]
    pitches: list[int]
    numbers: dict[str, int]
    prices: dict[str, int]
    offset: float = 0.0
    timed: bool = True
    test_mode: bool = True
    daily: float = 60.0
    failing: float = 0.0
    missing: float = 0.0
    vends: list[dict[str, object]] = field(default_factory=list)
    tests: list[dict[str, object]] = field(default_factory=list)

    def layout(self) -> Layout:
        slots = [
            {"label": label, "pitch": pitch, "product": "gum", "price": f"{self.prices[label] / 100:.2f}"}
            for label, pitch in zip(self.labels, self.pitches, strict=True)
        ]
        return Layout.model_validate({"machine": "m-1", "effective": datetime(2026, 1, 1), "slot": slots})

    def states(self) -> Frame:
        """What learn needs of the states frame."""
        rows = [("m-1", label, datetime(2026, 1, 1, tzinfo=UTC), self.prices[label]) for label in self.labels]
        schema = {"machine": pl.String, "label": pl.String, "starts": pl.Datetime("us", "UTC"), "price": pl.Int64}
        return pl.DataFrame(rows, schema=schema, orient="row")

    def learned(self) -> Learned:
        return learn("m-1", *self.frames(), layout=self.layout(), states=self.states())

    def frames(self) -> tuple[Frame, Frame]:
        """The frames of tests and of vends."""
        return _frame(self.tests, TESTS.schema), _frame(self._log(), VENDS.schema)

    def _log(self) -> list[dict[str, object]]:
        ordered = sorted(self.vends, key=lambda vend: str(vend["time"]))
        return [vend | {"file": 0, "row": 2 + at} for at, vend in enumerate(ordered)]

    def vend(
        self, label: str, moment: datetime, tender: str, outcome: str = "vended", price: int | None = None
    ) -> None:
        """Put a vend into the log, by the log's clock."""
        self.vends.append({
            "time": moment + timedelta(seconds=self.offset), "bus": self.numbers[label], "tender": tender,
            "outcome": outcome, "price": self.prices[label] if price is None else price, "quantity": 1,
        })  # fmt: skip

    def note(self, label: str, moment: datetime | None) -> None:
        """Put a test into the person's list."""
        self.tests.append({"file": 1, "row": 2 + len(self.tests), "label": label, "time": moment})


def _frame(rows: list[dict[str, object]], schema: dict[str, pl.DataType | type[pl.DataType]]) -> Frame:
    return pl.DataFrame([{"machine": "m-1", "zone": "UTC", **row} for row in rows], schema=schema)


def generate(seed: int, *, customers: bool = True, exchanged: int = 0, daily: float | None = None) -> Machine:
    """A machine of 20 to 80 slots that follows one rule, with customers and all the noise of an evening.

    exchanged: so many slots have each other's numbers, against the rule, in a ring. daily: vends a day, else by chance.
    """
    chance = random.Random(seed)
    while True:
        letters = chance.random() < 0.4
        rule = chance.choice(LETTER_RULES if letters else DIGIT_RULES)
        labels, pitches = _labels(chance, letters, rule)
        numbers = _numbers(chance, rule, labels, pitches)
        told = list(numbers.values())
        if 20 <= len(labels) <= 80 and len(set(told)) == len(told) and min(told) >= 0 and max(told) <= 65534:
            break
    machine = Machine(rule, labels, pitches, numbers, {label: chance.choice(PRICES) for label in labels})
    machine.offset = chance.choice([
        0.0, 0.0, chance.uniform(-300, 300), chance.uniform(-300, 300),
        chance.randint(-12, 12) * 3600 + chance.uniform(-200, 200),
    ])  # fmt: skip
    machine.test_mode = chance.random() < 0.5
    machine.timed = not machine.test_mode or chance.random() < 0.8
    machine.daily, machine.failing, machine.missing = chance.uniform(10, 120), 0.08, 0.05
    machine.daily = daily or machine.daily
    if exchanged:
        ring = chance.sample(machine.labels, exchanged)
        passed_on = [numbers[label] for label in (*ring[1:], ring[0])]
        machine.numbers.update(zip(ring, passed_on, strict=True))
    if customers:
        _customers(machine, chance)
    return machine


def _labels(chance: random.Random, letters: bool, rule: str) -> tuple[list[str], list[int]]:
    first = chance.choice([1, 10, 11, 20])
    columns = chance.randint(6, 9)
    labels: list[str] = []
    pitches: list[int] = []
    for row in range(chance.randint(3, 6 if rule == "hex-label" else 10)):
        name = "ABCDEFGHIJ"[row] if letters else str(first + row)
        wide = chance.random() < 0.3
        for column in range(1 if letters else 0, columns + 1, 2 if wide else 1):
            labels.append(f"{name}{column}")
            pitches.append(2 if wide else 1)
    return labels, pitches


def _numbers(chance: random.Random, rule: str, labels: list[str], pitches: list[int]) -> dict[str, int]:
    offset = chance.choice([-7, -5, 1, 50, 100, 1000])
    first, width = chance.choice([0, 1, 10, 100]), chance.randint(8, 40)
    row = {label: ord(label[0]) if label[0].isalpha() else int(label) // 10 for label in labels}
    top = labels[0]
    ways: dict[str, Callable[[str], int]] = {
        "same": int,
        "zero-based": lambda label: int(label) - 1,
        "hex-label": lambda label: int(label, 16),
        "ascii-pair": lambda label: int(struct.unpack(">H", label.encode())[0]),
        "offset": lambda label: int(label) + offset,
        "grid": lambda label: first + width * (row[label] - row[top]) + int(label[-1]) - int(top[-1]),
        "column-grid": lambda label: first + width * (int(label[-1]) - int(top[-1])) + row[label] - row[top],
        "sequence": lambda label: first + sum(pitches[: labels.index(label)]),
    }  # fmt: skip
    return {label: ways[rule](label) for label in labels}


def _customers(machine: Machine, chance: random.Random) -> None:
    """Vends from four days before the evening to one day after it, at an even rate; some labels sell more."""
    weights = [chance.uniform(0.1, 1) for _ in machine.labels]
    moment = EVENING - timedelta(days=4)
    while (moment := moment + timedelta(days=chance.expovariate(machine.daily))) < EVENING + timedelta(days=1):
        label = chance.choices(machine.labels, weights)[0]
        outcome = "failed" if chance.random() < 0.02 else "vended"
        machine.vend(label, moment, chance.choice(["cash", "card"]), outcome)


def evening(machine: Machine, seed: int, *, most: int = 15) -> tuple[Learned, int, bool]:
    """A person follows the advice until the numbering is certain, or `most` tests are made.

    Returns what was learned, the tests made, and whether a wrong number was ever called certain on the way.
    """
    chance = random.Random(f"evening {seed}")
    moment, lied = EVENING, False
    told = machine.learned()
    while not told.certain and told.next_test is not None and len(machine.tests) < most:
        moment += timedelta(seconds=chance.uniform(40, 400))
        make_test(machine, told.next_test.label, moment, chance)
        told = machine.learned()
        lied |= told.certain and dict(told.numbers) != machine.numbers
    return told, len(machine.tests), lied


def make_test(machine: Machine, label: str, moment: datetime, chance: random.Random) -> None:
    """One test vend, noted to the minute with a minute's error; it may fail, or the log may miss it."""
    noted = (moment + timedelta(seconds=chance.gauss(0, 40))).replace(second=0, microsecond=0)
    machine.note(label, noted if machine.timed else None)
    fails = chance.random() < machine.failing
    if (fails and chance.random() < 0.5) or chance.random() < machine.missing:
        return
    tender = "test" if machine.test_mode else "cash"
    price = 0 if machine.test_mode and chance.random() < 0.5 else None
    machine.vend(label, moment, tender, "failed" if fails else "vended", price)
