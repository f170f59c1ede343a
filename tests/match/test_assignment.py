"""The largest sum of weights, against scipy.optimize.linear_sum_assignment (scipy's documentation: it solves the linear
sum assignment problem exactly), and against trying every settlement by hand."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from recon.match.assignment import best_assignment

Weights = list[list[int]]


@st.composite
def matrices(draw: st.DrawFn, most: int = 7) -> Weights:
    rows, columns = draw(st.integers(0, most)), draw(st.integers(1, most))
    # Few distinct weights, so that ties are frequent.
    weight = st.integers(-3, 4) | st.integers(-(10**6), 10**6)
    return draw(st.lists(st.lists(weight, min_size=columns, max_size=columns), min_size=rows, max_size=rows))


def by_scipy(weights: Weights) -> int:
    """Leaving a row out weighs 0, so a pair below 0 counts as 0 for scipy, which pairs as many as it can."""
    if not weights:
        return 0
    clipped = np.clip(np.array(weights, dtype=np.int64), 0, None)
    rows, columns = linear_sum_assignment(clipped, maximize=True)
    return int(clipped[rows, columns].sum())


@settings(max_examples=300, deadline=None)
@given(matrices())
def test_the_total_is_scipys(weights: Weights) -> None:
    assert best_assignment(weights).total == by_scipy(weights)


@settings(max_examples=200, deadline=None)
@given(matrices(most=5))
def test_each_margin_is_what_is_lost_without_that_pair(weights: Weights) -> None:
    found = best_assignment(weights)
    for row, column in enumerate(found.columns):
        if column is None:
            assert found.margins[row] == 0
            continue
        without = [list(line) for line in weights]
        without[row][column] = -1
        assert found.margins[row] == found.total - by_scipy(without)


@settings(max_examples=200, deadline=None)
@given(matrices())
def test_columns_are_used_once_and_add_up(weights: Weights) -> None:
    found = best_assignment(weights)
    used = [column for column in found.columns if column is not None]
    assert len(set(used)) == len(used)
    pairs = [weights[row][column] for row, column in enumerate(found.columns) if column is not None]
    assert all(weight > 0 for weight in pairs)
    assert sum(pairs) == found.total


@pytest.mark.parametrize("size", [1, 2, 3, 4])
def test_every_settlement_tried_by_hand(size: int) -> None:
    weights = [[(7 * row + 3 * column * column + row * column) % 11 for column in range(size)] for row in range(size)]
    tried = max(sum(weights[row][order[row]] for row in range(size)) for order in permutations(range(size)))
    assert best_assignment(weights).total == tried


def test_taking_the_best_pair_first_is_not_the_best_of_all() -> None:
    """10 + 0 against 9 + 8."""
    found = best_assignment([[10, 9], [8, 0]])
    assert (found.columns, found.total, found.margins) == ((1, 0), 17, (7, 7))


def test_two_alike_have_no_margin() -> None:
    assert best_assignment([[5, 5]]).margins == (0,)
    assert best_assignment([[5, 4]]).margins == (1,)


def test_no_rows_and_no_columns() -> None:
    assert best_assignment([]).columns == ()
    assert best_assignment([[], []]).columns == (None, None)


def test_rows_of_unequal_length_are_refused() -> None:
    with pytest.raises(ValueError, match="as many columns"):
        best_assignment([[1, 2], [1]])


def test_a_machine_of_sixty_slots_and_sixty_numbers() -> None:
    weights = [[(31 * row + 17 * column + row * column) % 97 for column in range(60)] for row in range(60)]
    assert best_assignment(weights).total == by_scipy(weights)
