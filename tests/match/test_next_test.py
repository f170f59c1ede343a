"""The next test vend. Check of the expected information: scipy.stats.entropy."""

import random
from collections import Counter
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from learn_machines import DIGIT_RULES, LETTER_RULES, generate
from scipy.stats import entropy

from recon.match.infer import Hypothesis, Machine, distinct, hypotheses, standing, weighed
from recon.match.next_test import bits, information, needed, next_test, outcomes, pairs_needed
from recon.model.layout import Slot

SIXTY_DIGITS = [f"{row}{column}" for row in range(11, 17) for column in range(10)]
SIXTY_LETTERS = [f"{row}{column}" for row in "ABCDEF" for column in range(1, 11)]
"""Six rows of ten: the machine of sixty selections. Ten columns by letter run past one digit: A10."""


def machine(labels: Sequence[str]) -> Machine:
    return Machine(tuple(Slot(label=label, product="gum") for label in labels))


def at_first(on: Machine) -> list[Hypothesis]:
    return distinct(weighed(hypotheses(on, {})))


def settled_after(on: Machine, numbers: dict[str, int], choose: Callable[[dict[str, int]], str | None]) -> int:
    """Tests until one rule is left and rests on enough, the labels chosen by `choose` (None: settled)."""
    pairs: dict[str, int] = {}
    while (label := choose(pairs)) is not None:
        pairs[label] = numbers[label]
    return len(pairs)


def by_advice(on: Machine, numbers: dict[str, int]) -> int:
    def choose(pairs: dict[str, int]) -> str | None:
        left = standing(on, pairs) if pairs else at_first(on)
        advised = next_test(on, left, pairs)
        return None if advised is None else advised.label

    return settled_after(on, numbers, choose)


def at_random(on: Machine, numbers: dict[str, int], chance: random.Random) -> int:
    order = chance.sample(list(numbers), len(numbers))

    def choose(pairs: dict[str, int]) -> str | None:
        left = standing(on, pairs) if pairs else []
        done = len(left) == 1 and len(pairs) >= pairs_needed(left[0])
        return None if done or len(pairs) == len(order) else order[len(pairs)]

    return settled_after(on, numbers, choose)


@given(st.lists(st.floats(0.001, 5), min_size=1, max_size=30))
def test_bits_are_those_of_scipy(weights: list[float]) -> None:
    assert bits(weights) == pytest.approx(float(entropy(weights, base=2)), abs=1e-9)


@given(st.integers(0, 5000))
@settings(deadline=None, max_examples=25)
def test_expected_information_is_the_drop_in_entropy(seed: int) -> None:
    """What is undecided before, less what is on average undecided after, by scipy on each branch."""
    made = generate(seed, customers=False)
    on = Machine(made.layout().slots)
    label = made.labels[seed % len(made.labels)]
    left = standing(on, {label: made.numbers[label]})
    whole = sum(each.weight for each in left)
    for asked in made.labels[::5]:
        after = sum(
            sum(each.weight for each in group) / whole * entropy([each.weight for each in group], base=2)
            for group in outcomes(on, left, asked).values()
        )
        before = entropy([each.weight for each in left], base=2)
        assert information(on, left, asked) == pytest.approx(float(before - after), abs=1e-6)


@given(st.integers(0, 5000))
@settings(deadline=None, max_examples=25)
def test_no_other_selection_tells_more(seed: int) -> None:
    made = generate(seed, customers=False)
    on = Machine(made.layout().slots)
    pairs = {made.labels[-1]: made.numbers[made.labels[-1]]}
    left = standing(on, pairs)
    advised = next_test(on, left, pairs)
    assert advised is not None
    assert advised.bits >= max(information(on, left, label) for label in made.labels) - 1e-6
    assert dict(advised.predictions) == {each.rule: each.predicted[on.at[advised.label]] for each in left}


@given(st.integers(0, 5000))
@settings(deadline=None, max_examples=30)
def test_every_machine_is_settled_within_the_number_that_was_promised(seed: int) -> None:
    """Before each test the worst case is told; it never grows, and one test takes at least one off it."""
    made = generate(seed, customers=False)
    on, pairs = Machine(made.layout().slots), dict[str, int]()
    promised: int | None = None
    while (advised := next_test(on, standing(on, pairs) if pairs else at_first(on), pairs)) is not None:
        assert advised.label not in pairs
        assert advised.worst is not None
        assert advised.expected is not None
        assert 1 <= advised.expected <= advised.worst + 1e-9
        assert promised is None or advised.worst <= promised - 1
        promised = advised.worst
        pairs[advised.label] = made.numbers[advised.label]
    left = standing(on, pairs)
    assert [each.predicted for each in left] == [tuple(made.numbers.values())]
    assert len(pairs) >= pairs_needed(left[0])


def sixty(rule: str, labels: list[str]) -> dict[str, int]:
    """Sixty slots by that rule, worked out here."""
    row = {label: ord(label[0]) if label[0].isalpha() else int(label) // 10 for label in labels}
    column = {label: int(label[1:]) if label[0].isalpha() else int(label) % 10 for label in labels}
    first = labels[0]
    down, along = (lambda label: row[label] - row[first]), (lambda label: column[label] - column[first])
    ways: dict[str, Callable[[str], int]] = {
        "same": int, "zero-based": lambda label: int(label) - 1, "hex-label": lambda label: int(label, 16),
        "ascii-pair": lambda label: int.from_bytes(label.encode("ascii")), "offset": lambda label: int(label) + 37,
        "grid": lambda label: 3 + 13 * down(label) + along(label),
        "column-grid": lambda label: 3 + 9 * along(label) + down(label), "sequence": labels.index,
    }  # fmt: skip
    return {label: ways[rule](label) for label in labels}


NINE = [f"{row}{column}" for row in "ABCDEF" for column in range(10)]
"""Sixty labels of two characters."""
MACHINES = [(rule, SIXTY_DIGITS) for rule in DIGIT_RULES] + [(rule, NINE) for rule in LETTER_RULES]


@pytest.mark.parametrize(("rule", "labels"), MACHINES, ids=lambda value: value if isinstance(value, str) else value[0])
def test_sixty_selections_take_two_or_three_tests(rule: str, labels: list[str]) -> None:
    assert by_advice(machine(labels), sixty(rule, labels)) in (2, 3)


@pytest.mark.parametrize(("rule", "labels"), MACHINES, ids=lambda value: value if isinstance(value, str) else value[0])
def test_never_more_tests_than_a_person_vending_at_random_needs(rule: str, labels: list[str]) -> None:
    """On average over 40 orders drawn by chance, and in the worst of them."""
    on, numbers = machine(labels), sixty(rule, labels)
    chance = random.Random(rule)
    drawn = [at_random(on, numbers, chance) for _ in range(40)]
    advised = by_advice(on, numbers)
    assert advised <= max(drawn)
    assert advised <= sum(drawn) / len(drawn), Counter(drawn)


def test_where_ten_columns_go_by_letters() -> None:
    on = machine(SIXTY_LETTERS)
    numbers = {label: at for at, label in enumerate(SIXTY_LETTERS)}
    assert by_advice(on, numbers) in (2, 3)


def test_labels_tried_in_vain_are_left_out_while_others_are_there() -> None:
    on = machine(SIXTY_DIGITS)
    pairs = {"110": 272}
    left = standing(on, pairs)
    advised = next_test(on, left, pairs)
    assert advised is not None
    other = next_test(on, left, pairs, avoid={advised.label})
    assert other is not None
    assert other.label != advised.label


def test_empty_spirals_are_not_turned() -> None:
    slots = [Slot(label=label, product="gum" if label in ("111", "124") else None) for label in SIXTY_DIGITS]
    on = Machine(tuple(slots))
    advised = next_test(on, at_first(on), {})
    assert advised is not None
    assert advised.label in ("111", "124")


def test_a_machine_of_one_slot_and_one_without_any() -> None:
    one = machine(["7"])
    advised = next_test(one, at_first(one), {})
    assert advised is not None
    assert advised.label == "7"
    assert next_test(one, standing(one, {"7": 3}), {"7": 3}) is None
    assert next_test(machine([]), [], {}) is None


def test_where_labels_run_out_no_number_of_tests_is_promised() -> None:
    on = machine(SIXTY_DIGITS)
    left = standing(on, {"110": 272})
    assert needed(on, left, 1, []) == (None, None)
    assert needed(on, left, 1, ["111"])[0] is None
