"""Rules fitted to pairs of label and number. The rules are common practice, no source; the figures are arithmetic."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from learn_machines import Machine as Made
from learn_machines import generate

from recon.match.infer import Machine, distinct, explained, hypotheses, ranked, standing, weighed
from recon.match.learned import RuleStanding
from recon.match.numbering import number_of, rule_words
from recon.model.layout import Slot

DIGITS = tuple(f"{row}{column}" for row in (11, 12, 13, 14) for column in range(10))
LETTERS = tuple(f"{row}{column}" for row in "ABCD" for column in range(1, 9))


def machine(*labels: str, pitch: int = 1, in_order: bool = True) -> Machine:
    return Machine(tuple(Slot(label=label, pitch=pitch) for label in labels), in_order)


def left(on: Machine, **pairs: int) -> list[str]:
    """The rules that stand; labels are given as n110 where they begin with a digit."""
    told = {label.removeprefix("n"): bus for label, bus in pairs.items()}
    return [rule_words(found.rule) for found in standing(on, told)]


def alike(on: Machine, pairs: dict[str, int]) -> set[str]:
    """Every rule that stands, under each of its names."""
    return {rule_words(rule) for found in standing(on, pairs) for rule in (found.rule, *found.others)}


def test_two_labels_leave_the_hexadecimal_reading_alone() -> None:
    assert left(machine(*DIGITS), n110=int("110", 16), n134=int("134", 16)) == ["hex-label"]
    assert left(machine(*LETTERS), A1=161, B4=180, D8=216) == ["hex-label"]


def test_each_rule_is_found_with_its_parameters() -> None:
    digits, letters = machine(*DIGITS), machine(*LETTERS)
    assert left(digits, n110=110, n148=148) == ["same"]
    assert left(digits, n110=109, n148=147) == ["zero-based"]
    assert left(digits, n110=115, n148=153) == ["{ offset = 5 }"]
    assert left(digits, n110=7, n125=36, n149=88) == ["{ grid = 24, first = 7 }"]
    assert left(digits, n110=7, n125=58, n149=100) == ["{ column-grid = 10, first = 7 }"]
    assert left(letters, A1=0x4131, D8=0x4438) == ["ascii-pair"]
    assert left(letters, A1=50, D6=79) == ["{ sequence = 50 }"]


def test_the_same_numbers_by_two_rules_go_by_the_simpler_name() -> None:
    """On full trays of ten, counting on, a grid of ten and an offset are one and the same."""
    names = {"{ offset = -109 }", "{ sequence = 1 }", "{ grid = 10, first = 1 }"}
    assert alike(machine(*DIGITS), {"110": 1, "148": 39}) == names
    assert left(machine(*DIGITS), n110=1, n148=39) == ["{ offset = -109 }"]
    assert alike(machine(*DIGITS), {"110": 272, "134": 308}) == {"hex-label", "{ grid = 16, first = 272 }"}


def test_opposite_corners_do_not_tell_rows_from_columns() -> None:
    """4 rows of 10: the last of 40 is the last either way."""
    found = left(machine(*DIGITS), n110=1, n149=40)
    assert found == ["{ offset = -109 }", "{ column-grid = 4, first = 1 }"]


def test_one_row_leaves_the_width_of_a_grid_open() -> None:
    found = left(machine(*LETTERS), A1=161, A8=168)
    assert found[0] == "hex-label"
    assert sum(words.startswith("{ grid") for words in found) > 40


def test_double_width_trays_count_by_twos() -> None:
    """Labels 110, 112, 114 of coupled motors are 272, 274, 276 (common practice, no source)."""
    wide = machine("110", "112", "114", "116", "120", "121", pitch=1)
    assert "hex-label" in left(wide, n110=272, n114=276)
    labels = ("110", "112", "114", "120", "121")
    pitched = Machine(tuple(Slot(label=label, pitch=2 if label < "120" else 1) for label in labels))
    assert "{ sequence = 1 }" in alike(pitched, {"110": 1, "112": 3, "121": 8})


def test_a_pitch_that_the_layout_lacks_is_named() -> None:
    """The layout says nothing of double width; the numbers count two for each label of the tray that goes by twos."""
    labels = ("110", "112", "114", "118", "120", "121", "122")
    found = next(each for each in standing(machine(*labels), {"110": 1, "118": 7, "120": 9, "122": 11})
                 if rule_words(each.rule) == "{ sequence = 1 }")  # fmt: skip
    assert found.pitches == {"110": 2, "112": 2, "114": 2, "118": 2}
    assert found.predicted == (1, 3, 5, 7, 9, 10, 11)


def test_without_the_order_of_the_machine_there_is_no_sequence() -> None:
    pairs = {"A1": 50, "D8": 81}
    assert any("sequence" in words for words in alike(machine(*LETTERS), pairs))
    assert not any("sequence" in words for words in alike(machine(*LETTERS, in_order=False), pairs))


def test_no_rule_gives_two_slots_one_number_or_one_outside_the_bus() -> None:
    """A grid narrower than its columns, and an offset below zero, are no numbering."""
    on = machine(*DIGITS)
    for found in hypotheses(on, {"149": 5}):
        told = [number for number in found.predicted if number is not None]
        assert len(set(told)) == len(told), rule_words(found.rule)
        assert min(told) >= 0, rule_words(found.rule)
        assert max(told) <= 0xFFFE, rule_words(found.rule)


def test_exceptions_are_told_by_label() -> None:
    on = machine(*DIGITS)
    pairs = {"110": 272, "115": 277, "134": 308, "141": 999, "149": int("149", 16)}
    assert standing(on, pairs) == []
    assert ranked(on, pairs)[0] == RuleStanding("hex-label", 0, 4, ("141",))


def test_rules_are_ranked_by_what_they_explain_then_by_simplicity() -> None:
    pairs = {"110": 272, "115": 277, "134": 308, "141": 999}
    found = ranked(machine(*DIGITS), pairs)
    assert [each.explains for each in found] == sorted((each.explains for each in found), reverse=True)
    best = [each.parameters for each in found if each.explains == found[0].explains]
    assert best == sorted(best)
    assert all(2 * each.explains >= len(pairs) for each in found)


def test_numbers_without_rule_fit_none() -> None:
    assert left(machine(*LETTERS), A1=9, A2=400, B1=31, C5=77) == []


def test_a_label_that_no_rule_reads_is_left_to_a_sequence() -> None:
    on = machine("TEA", "COFFEE", "SOUP")
    assert left(on, TEA=4, COFFEE=5) == ["{ sequence = 4 }"]
    assert left(on) == []


def test_weights_are_shared_among_the_values_that_a_rule_may_have() -> None:
    """Stated in the docs: 2**-p for a rule of p parameters."""
    found = weighed(hypotheses(machine(*DIGITS), {"110": 5}))
    grids = [each for each in found if rule_words(each.rule).startswith("{ grid")]
    assert len(grids) > 10
    assert sum(each.weight for each in grids) == pytest.approx(0.25)
    assert sum(each.weight for each in distinct(found)) == pytest.approx(sum(each.weight for each in found))


@given(st.integers(0, 10_000))
@settings(deadline=None, max_examples=40)
def test_the_true_rule_of_a_generated_machine_always_stands(seed: int) -> None:
    """Whichever of its labels were tested. The machine's numbers are worked out apart from recon's rules."""
    made = generate(seed, customers=False)
    on = Machine(made.layout().slots)
    tested = random.Random(seed).sample(made.labels, 4)
    pairs = {label: made.numbers[label] for label in tested}
    truth = tuple(made.numbers[label] for label in made.labels)
    assert truth in [found.predicted for found in standing(on, pairs)]
    assert all(explained(on, found, pairs) == 4 for found in standing(on, pairs))


@given(st.integers(0, 10_000))
@settings(deadline=None, max_examples=40)
def test_what_a_rule_is_said_to_predict_is_what_a_layout_would_do_with_it(seed: int) -> None:
    made: Made = generate(seed, customers=False)
    on = Machine(made.layout().slots)
    for found in hypotheses(on, {label: made.numbers[label] for label in made.labels[:2]}):
        slots = [slot.model_copy(update={"pitch": found.pitches.get(slot.label, slot.pitch)}) for slot in on.slots]
        given_by_layout = [number_of(found.rule, slot.label, at, slots) for at, slot in enumerate(slots)]
        assert list(found.predicted) == given_by_layout
