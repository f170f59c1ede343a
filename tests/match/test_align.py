"""Test vends found among customers' vends. Check: every possible order-keeping alignment, tried one by one."""

from itertools import combinations
from math import inf, isclose

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.match.align import _MISSED, CONFIDENT, Alignment, NotedTest, Vend, align, best_sums, margin

MINUTE = 60.0
Table = list[dict[int, float]]


def by_brute_force(scores: Table, width: int) -> dict[tuple[int, int | None], float]:
    """Best sum with each test given each vend or none, over all alignments that keep the order."""
    best: dict[tuple[int, int | None], float] = {}
    for count in range(min(len(scores), width) + 1):
        for tests in combinations(range(len(scores)), count):
            for vends in combinations(range(width), count):
                pairs = dict(zip(tests, vends, strict=True))
                if any(vend not in scores[test] for test, vend in pairs.items()):
                    continue
                missed = (len(scores) - count) * _MISSED
                whole = missed + sum(scores[test][vend] for test, vend in pairs.items())
                for test in range(len(scores)):
                    key = (test, pairs.get(test))
                    best[key] = max(best.get(key, -inf), whole)
    return best


tables = st.integers(1, 6).flatmap(
    lambda width: st.lists(st.dictionaries(st.integers(0, width - 1), st.floats(-5, 5)), min_size=1, max_size=5)
)


@given(tables)
@settings(max_examples=200, deadline=None)
def test_best_sums_and_what_falls_short_of_them_are_those_of_brute_force(scores: Table) -> None:
    width = 1 + max((place for row in scores for place in row), default=-1)
    best, found = by_brute_force(scores, width), best_sums(scores)
    assert isclose(found.total, max(best.values()), abs_tol=1e-9)
    for test, choices in enumerate(found.choices):
        told = {choice.vend: found.total - choice.short_by for choice in choices}
        near = {vend: whole for (at, vend), whole in best.items() if at == test and found.total - whole < 11.9}
        assert near.keys() <= told.keys()
        for vend, whole in told.items():
            assert isclose(whole, best[test, vend], abs_tol=1e-6)


def test_the_best_alignment_is_not_the_greedy_one() -> None:
    """Taking the best vend for the first test would leave nothing for the second."""
    found = best_sums([{0: 3.0, 1: 4.0}, {1: 3.5}])
    assert [choices[0].vend for choices in found.choices] == [0, 1]


def noted(*rows: tuple[str, float | None]) -> list[NotedTest]:
    """Tests by label and minute."""
    return [NotedTest(label, None if minute is None else minute * MINUTE) for label, minute in rows]


def vends_at(*rows: tuple[float, int | None, str], price: int | None = None) -> list[Vend]:
    """Vends by minute, number and tender."""
    return [Vend(minute * MINUTE, bus, tender, price=price) for minute, bus, tender in rows]


def taken(found: Alignment) -> list[int | None]:
    return [choices[0].vend for choices in found.choices]


def sure(found: Alignment, vends: list[Vend]) -> list[bool]:
    return [margin(choices, vends) >= CONFIDENT for choices in found.choices]


def test_customers_between_the_tests_are_left_alone() -> None:
    vends = vends_at((0, 272, "test"), (1, 301, "card"), (2, 308, "test"), (3, 302, "cash"), (4, 280, "test"))
    found = align(noted(("110", 0), ("134", 2), ("118", 4)), vends)
    assert taken(found) == [0, 2, 4]
    assert all(sure(found, vends))


def test_a_test_that_the_log_missed_has_no_vend() -> None:
    vends = vends_at((0, 272, "test"), (5, 308, "test"), (15, 280, "test"))
    found = align(noted(("110", 0), ("134", 5), ("112", 10), ("118", 15)), vends)
    assert taken(found) == [0, 1, None, 2]


@pytest.mark.parametrize("minutes", [-180.5, -7, 3, 61, 720])
def test_one_clock_offset_is_found_for_all(minutes: float) -> None:
    moments = (0, 3, 4, 11, 13)
    labels = ("110", "134", "118", "112", "140")
    rows = [(moment + minutes, 272 + at, "cash") for at, moment in enumerate(moments)]
    others = [(moment + minutes, 400 + at, "card") for at, moment in enumerate((-50, -31, 2, 12, 44))]
    vends = vends_at(*sorted([*rows, *others]))
    found = align(noted(*zip(labels, moments, strict=True)), vends)
    assert [vends[vend].bus for vend in taken(found) if vend is not None] == [272, 273, 274, 275, 276]
    assert found.offset == pytest.approx(minutes * MINUTE, abs=1)


def test_two_vends_alike_are_ambiguous_and_both_told() -> None:
    vends = vends_at((9.9, 272, "cash"), (10.1, 280, "cash"))
    found = align(noted(("110", 10)), vends)
    assert sure(found, vends) == [False]
    assert {choice.vend for choice in found.choices[0]} >= {0, 1}


def test_two_vends_of_one_number_are_no_ambiguity_about_the_number() -> None:
    vends = vends_at((9.9, 272, "test"), (10.1, 272, "test"))
    found = align(noted(("110", 10)), vends)
    assert sure(found, vends) == [True]


def test_the_price_of_the_layout_tells_vends_of_one_minute_apart() -> None:
    vends = [Vend(600 + at, bus, "cash", price=price) for at, (bus, price) in enumerate([(1, 200), (2, 175), (3, 200)])]
    many = [Vend(7200 + 900 * at, 9, "card", price=200) for at in range(20)]
    found = align([NotedTest("110", 600.0, price=175)], vends + many)
    assert taken(found) == [1]
    same = align([NotedTest("110", 600.0)], vends + many)
    assert margin(found.choices[0], vends + many) > margin(same.choices[0], vends + many)


def test_a_number_that_another_label_has_is_passed_over() -> None:
    """134 was found beyond doubt at 308; so the doubtful vend of 110 at the same minute is 272, not 308 again."""
    doubtful = vends_at((20.0, 308, "cash"), (20.0, 272, "cash"))
    first = vends_at((0, 308, "test"), (2, 320, "test"))
    alone = align(noted(("110", 20)), doubtful)
    assert sure(alone, doubtful) == [False]
    vends = first + doubtful
    found = align(noted(("134", 0), ("150", 2), ("110", 20)), vends)
    assert taken(found) == [0, 1, 3]
    assert sure(found, vends) == [True, True, True]


def test_a_repeated_test_agrees_with_the_first() -> None:
    vends = vends_at((0, 308, "test"), (2, 320, "test"), (20.0, 333, "cash"), (20.0, 308, "cash"))
    found = align(noted(("134", 0), ("150", 2), ("134", 20)), vends)
    assert taken(found) == [0, 1, 3]
    assert all(sure(found, vends))


def test_without_times_the_order_tells_where_it_can() -> None:
    vends = vends_at((0, 272, "test"), (5, 308, "test"), (6, 999, "card"), (7, 280, "test"))
    found = align(noted(("110", None), ("134", None), ("118", None)), vends)
    assert taken(found) == [0, 1, 3]
    assert found.offset is None
    fewer = align(noted(("110", None), ("134", None)), vends)
    assert sure(fewer, vends) == [False, False]


def test_no_vends_and_no_tests() -> None:
    assert align([], vends_at((0, 1, "cash"))).choices == ()
    found = align(noted(("110", 0)), [])
    assert taken(found) == [None]
