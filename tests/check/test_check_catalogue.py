"""The catalogue of check kinds is whole: each entry can be said, shown and looked up."""

import re
from string import Formatter

import pytest

from recon.findings.catalogue import CHECK_KINDS, Kind, check_kind, sentence, words
from recon.model.problem import Place, Problem

KINDS = list(CHECK_KINDS.values())


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.code)
def test_every_entry_is_whole(kind: Kind) -> None:
    assert CHECK_KINDS[kind.code] is kind
    assert check_kind(kind.code) is kind
    assert re.fullmatch(r"[a-z]+(-[a-z]+)+", kind.code)
    for text in (kind.words, kind.advice, kind.meaning, kind.mend):
        assert text.endswith((".", '"0".'))
    assert "{" not in kind.advice


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.code)
def test_every_example_is_a_sentence_of_its_own_words(kind: Kind) -> None:
    place, code, said = kind.example.split("  ", 2)
    assert code == kind.code
    assert re.fullmatch(r"[a-z0-9/.-]+:\d+:\d+", place)
    names = [name for _, name, _, _ in Formatter().parse(kind.words) if name]
    pattern = re.escape(kind.words + " " + kind.advice)
    for name in set(names):
        pattern = pattern.replace(re.escape("{" + name + "}"), "(.+)")
    assert re.fullmatch(pattern, said)


STOPS = """
    unknown-key bad-value duplicate-machine unknown-timezone unknown-currency duplicate-label duplicate-number
    number-out-of-range change-out-of-order change-unknown-label
"""
WARNINGS = """
    missing-number missing-price between-numbers coupled-slots price-off-step par-over-capacity unknown-product
    numbering-differs
"""


def test_which_problems_stop_a_run() -> None:
    assert {kind.code for kind in KINDS if kind.stops_run} == set(STOPS.split())
    assert {kind.code for kind in KINDS if kind.severity == "warning"} == set(WARNINGS.split())
    assert {kind.code for kind in KINDS if kind.severity == "note"} == {"price-varies"}


def test_a_missing_fact_raises_and_does_not_print_blank() -> None:
    with pytest.raises(KeyError):
        words(Problem("bad-value", Place("a.toml"), {"key": "x"}))


def test_a_sentence_begins_with_its_place() -> None:
    problem = Problem("bad-value", Place("a.toml", 3, 4), {"key": "bus", "found": "x", "expected": "{y}"})
    assert sentence(problem).startswith("a.toml:3:4  bad-value  bus: found x, expected {y}.")
