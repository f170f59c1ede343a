"""Learning from frames: generated machines, and machines that follow no rule. No wrong answer is called certain."""

import random
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from learn_machines import EVENING, Machine, evening, generate, make_test
from learn_trials import trials

from recon.match.learn import Learned, learn
from recon.model.frames import TESTS, VENDS


def quiet(labels: list[str], numbers: list[int], **keys: object) -> Machine:
    """A machine without noise and without customers, whose numbers are as given."""
    given = dict(zip(labels, numbers, strict=True))
    machine = Machine("given", labels, [1] * len(labels), given, dict.fromkeys(labels, 200))
    for name, value in keys.items():
        setattr(machine, name, value)
    return machine


def after_tests(machine: Machine, *labels: str) -> Learned:
    """Learn after tests of these labels, in this order."""
    chance = random.Random(1)
    for label in labels:
        make_test(machine, label, EVENING + timedelta(seconds=90 * len(machine.tests)), chance)
    return machine.learned()


DIGITS = [f"{row}{column}" for row in range(11, 17) for column in range(10)]
HEX = [int(label, 16) for label in DIGITS]


def test_a_slice_of_the_thousand_machines() -> None:
    """The whole: python tests/match/learn_trials.py --machines 1000 --seed 1"""
    figures = trials(60, 7)
    assert figures.verdicts["wrong"] == 0, figures.seeds
    assert figures.verdicts["right"] >= 59, figures.seeds
    assert sum(figures.verdicts.values()) == 60


@pytest.mark.parametrize("seed", range(4))
def test_slots_wired_against_the_rule_are_not_called_certain_where_customers_bought_enough(seed: int) -> None:
    """Six slots exchanged in a ring, a hundred vends a day for four days. See docs/learn.md, Trials."""
    machine = generate(seed, exchanged=6, daily=100)
    told, _, lied = evening(machine, seed, most=6)
    assert not lied
    assert not told.certain


def test_two_tests_fill_in_sixty_slots() -> None:
    machine = quiet(DIGITS, HEX)
    told = after_tests(machine, "169", "118")
    assert told.certain
    assert told.rule == "hex-label"
    assert dict(told.numbers) == machine.numbers
    assert [(pair.label, pair.bus) for pair in told.pairs] == [("169", 361), ("118", 280)]
    assert told.next_test is None
    assert told.undecided == ()


def test_each_pair_names_the_row_of_its_vend() -> None:
    machine = quiet(DIGITS, HEX)
    told = after_tests(machine, "169", "118")
    rows = {vend["bus"]: 2 + at for at, vend in enumerate(machine.vends)}
    assert [(pair.file, pair.row) for pair in told.pairs] == [(0, rows[361]), (0, rows[280])]


def test_without_tests_the_first_test_is_named() -> None:
    told = quiet(DIGITS, HEX).learned()
    assert not told.certain
    assert told.numbers == {}
    assert told.next_test is not None
    assert told.next_test.reason == "first"
    assert len(told.undecided) == 60


def test_one_test_is_never_certain() -> None:
    told = after_tests(quiet(DIGITS, HEX), "169")
    assert not told.certain
    assert told.rule is None
    assert dict(told.numbers) == {"169": 361}
    assert told.next_test is not None
    assert told.next_test.reason == "tells-apart"


@given(st.integers(0, 100_000))
@settings(deadline=None, max_examples=40)
def test_a_machine_without_rule_is_never_certain_before_every_slot_was_tested(seed: int) -> None:
    chance = random.Random(seed)
    labels = DIGITS[: chance.randint(4, 30)]
    machine = quiet(labels, chance.sample(range(1, 400), len(labels)))
    told = after_tests(machine, *chance.sample(labels, chance.randint(1, len(labels) - 1)))
    assert not told.certain or dict(told.numbers) == machine.numbers
    assert all(machine.numbers[label] == bus for label, bus in told.numbers.items())


def test_a_machine_without_rule_is_certain_once_every_slot_was_tested() -> None:
    labels = DIGITS[:6]
    machine = quiet(labels, [9, 400, 31, 77, 12, 150])
    told = after_tests(machine, *labels)
    assert told.certain
    assert told.rule is None
    assert dict(told.numbers) == machine.numbers


@given(st.integers(0, 100_000))
@settings(deadline=None, max_examples=40)
def test_a_tested_exception_keeps_the_rest_from_being_certain(seed: int) -> None:
    """Two slots swapped, one of them tested: the rule explains the others, and it says so, but no more."""
    chance = random.Random(seed)
    numbers = HEX.copy()
    one, other = chance.sample(range(60), 2)
    numbers[one], numbers[other] = numbers[other], numbers[one]
    rest = [label for at, label in enumerate(DIGITS) if at not in (one, other)]
    told = after_tests(quiet(DIGITS, numbers), *chance.sample(rest, 5), DIGITS[one])
    assert not told.certain
    # Now and then five tests lie so that a grid, too, explains all of them but one: then neither is named.
    alike = [tried for tried in told.rules if len(tried.exceptions) == 1]
    assert told.rules[0].rule == "hex-label"
    assert told.rule == ("hex-label" if len(alike) == 1 else None)
    assert told.exceptions == (DIGITS[one],)
    assert told.next_test is not None
    assert (told.next_test.label, told.next_test.reason) == (DIGITS[one], "again")


def test_a_confirmed_exception_is_not_asked_for_a_third_time() -> None:
    numbers = HEX.copy()
    numbers[3], numbers[40] = numbers[40], numbers[3]
    told = after_tests(quiet(DIGITS, numbers), "169", "118", "134", "145", "113", "113")
    assert told.exceptions == ("113",)
    assert told.next_test is not None
    assert told.next_test.reason == "unexplained"
    assert told.next_test.label != "113"


def test_a_number_of_no_slot_keeps_the_rule_from_being_certain() -> None:
    """282 is 11A hexadecimal: no label of digits alone reads so (common practice, no source)."""
    machine = quiet(DIGITS, HEX)
    machine.numbers["stranger"], machine.prices["stranger"] = 282, 200
    machine.vend("stranger", EVENING + timedelta(minutes=30), "card")
    told = after_tests(machine, "169", "118")
    assert not told.certain
    assert told.strays == (282,)
    assert told.next_test is not None


def test_what_another_reader_logged_before_is_not_held_against_the_rule() -> None:
    machine = quiet(DIGITS, HEX)
    machine.numbers["stranger"], machine.prices["stranger"] = 282, 200
    machine.vend("stranger", EVENING - timedelta(days=2), "card")
    assert after_tests(machine, "169", "118").certain


def test_slots_that_sell_at_other_prices_are_tested_before_the_rule_is_believed() -> None:
    """Two slots swapped, of different prices: customers' vends give it away, and one test shows it."""
    numbers = HEX.copy()
    numbers[3], numbers[40] = numbers[40], numbers[3]
    machine = quiet(DIGITS, numbers)
    machine.prices["113"] = 350
    for at, label in enumerate(["113", "150", "120", "121", "122", "123", "124"] * 3):
        machine.vend(label, EVENING + timedelta(hours=1, minutes=at), "cash")
    told = after_tests(machine, "169", "118")
    assert not told.certain
    assert told.other_prices == ("113", "150")
    assert told.next_test is not None
    assert (told.next_test.label, told.next_test.reason) == ("113", "doubted")
    shown = after_tests(machine, "113")
    assert shown.exceptions == ("113",)
    assert not shown.certain


def test_earlier_vends_at_other_prices_count_back_to_another_reader() -> None:
    """The same two slots, sold before the tests; then the same before a number that only another reader can send."""
    numbers = HEX.copy()
    numbers[3], numbers[40] = numbers[40], numbers[3]
    for stranger, certain in ((None, False), (999, True)):
        machine = quiet(DIGITS, numbers)
        machine.prices["113"] = 350
        for at, label in enumerate(["113", "150", "120", "121", "122", "123", "124"] * 3):
            machine.vend(label, EVENING - timedelta(hours=5, minutes=at), "cash")
        if stranger is not None:
            machine.numbers["stranger"], machine.prices["stranger"] = stranger, 200
            machine.vend("stranger", EVENING - timedelta(hours=4), "cash")
        assert after_tests(machine, "169", "118").certain is certain


def test_prices_that_are_wrong_everywhere_say_nothing() -> None:
    machine = quiet(DIGITS, HEX)
    for at, label in enumerate(["113", "150", "120", "121"] * 3):
        machine.vend(label, EVENING + timedelta(hours=1, minutes=at), "cash", price=215)
    assert after_tests(machine, "169", "118").certain


def test_tests_of_one_label_that_disagree_are_told() -> None:
    machine = quiet(DIGITS, HEX)
    told = after_tests(machine, "169", "118")
    machine.numbers["118"] = 300
    told = after_tests(machine, "118")
    assert told.disputed == {"118": (280, 300)}
    assert "118" not in [pair.label for pair in told.pairs]
    assert not told.certain


def test_without_a_layout_the_tests_are_all_that_is_known() -> None:
    machine = quiet(DIGITS, HEX)
    after_tests(machine, "169", "118")
    log = machine.frames()
    told = learn("m-1", log[0], log[1])
    assert dict(told.numbers) == {"169": 361, "118": 280}
    assert told.certain
    assert told.rule == "hex-label"
    assert told.next_test is None
    one = learn("m-1", log[0].head(1), log[1])
    assert one.rule is None


def test_nothing_at_all() -> None:
    told = learn("m-1", TESTS.empty(), VENDS.empty())
    assert not told.certain
    assert told.tests == ()
    assert told.numbers == {}


def test_other_machines_are_left_alone() -> None:
    machine = quiet(DIGITS, HEX)
    after_tests(machine, "169", "118")
    told = learn("m-2", *machine.frames())
    assert told.tests == ()


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_the_rows_does_not_matter(seed: int) -> None:
    machine = generate(seed)
    evening(machine, seed, most=3)
    tests, vends = machine.frames()
    layout, states = machine.layout(), machine.states()
    told = learn("m-1", tests, vends, layout=layout, states=states)
    tests, vends = (frame.sample(fraction=1, shuffle=True, seed=seed) for frame in (tests, vends))
    shuffled = learn("m-1", tests, vends, layout=layout, states=states.reverse())
    assert shuffled == told


def test_a_failed_test_that_was_logged_teaches_its_number() -> None:
    machine = quiet(DIGITS, HEX)
    for at, label in enumerate(["169", "118"]):
        moment = EVENING + timedelta(minutes=3 * at)
        machine.note(label, moment)
        machine.vend(label, moment, "test", "failed")
    told = machine.learned()
    assert told.certain
    assert {pair.label: pair.bus for pair in told.pairs} == {"169": 361, "118": 280}


def test_a_rule_that_most_tests_follow_tells_the_doubtful_ones_apart() -> None:
    """No times, cash among cash: the order alone tells little, the rule that most tests follow tells the rest."""
    machine = quiet(DIGITS, HEX, timed=False, test_mode=False)
    labels = ["169", "118", "134", "145", "120", "152", "111", "163"]
    for at, label in enumerate(labels):
        machine.note(label, None)
        machine.vend(label, EVENING + timedelta(minutes=3 * at), "cash")
    for at, label in enumerate(["127", "150", "133"]):
        machine.vend(label, EVENING + timedelta(minutes=4 + 6 * at), "card")
    told = machine.learned()
    assert told.certain
    assert dict(told.numbers) == machine.numbers
