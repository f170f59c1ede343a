"""The Poisson distribution and the order-up-to level against scipy and published figures."""

import math
from decimal import Decimal

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats

from recon.balance.poisson import at_most, chance_of, critical_ratio, expected_left, least_level

MEANS = st.floats(0.001, 400, allow_nan=False)


@settings(deadline=None)
@given(units=st.integers(0, 600), mean=MEANS)
@example(units=160, mean=147.0)
@example(units=0, mean=0.0)
def test_chances_are_those_of_scipy(units: int, mean: float) -> None:
    assert chance_of(units, mean) == pytest.approx(stats.poisson.pmf(units, mean), rel=1e-9, abs=1e-300)
    assert at_most(units, mean) == pytest.approx(stats.poisson.cdf(units, mean), rel=1e-9, abs=1e-300)


@settings(deadline=None)
@given(mean=MEANS, chance=st.floats(0.01, 0.999))
def test_the_level_is_the_quantile_of_scipy(mean: float, chance: float) -> None:
    """Where scipy's own cdf stands within 1e-9 of the chance, either neighbour may be right: none is drawn then."""
    level, capped = least_level(mean, chance, most=1000)
    assert not capped
    if abs(stats.poisson.cdf(level, mean) - chance) > 1e-9 and abs(stats.poisson.cdf(level - 1, mean) - chance) > 1e-9:
        assert level == stats.poisson.ppf(chance, mean)
    assert at_most(level, mean) >= chance > at_most(level - 1, mean)


@settings(deadline=None)
@given(mean=st.floats(0.001, 60), chance=st.floats(0.01, 0.999), most=st.integers(0, 40))
def test_a_level_is_never_above_what_fits(mean: float, chance: float, most: int) -> None:
    level, capped = least_level(mean, chance, most=most)
    free, _ = least_level(mean, chance, most=1000)
    assert (level, capped) == ((free, False) if free <= most else (most, True))


@settings(deadline=None)
@given(units=st.integers(0, 60), mean=st.floats(0.0, 80))
def test_what_is_left_is_the_expectation_by_brute_force(units: int, mean: float) -> None:
    every = sum((units - asked) * chance for asked, chance in enumerate(stats.poisson.pmf(range(units), mean)))
    assert expected_left(units, mean) == pytest.approx(every, rel=1e-9, abs=1e-12)


def test_probabilities_of_a_textbook() -> None:
    """OpenStax, Introductory Statistics, Poisson distribution (m46961): mean .75, P(X > 1) = .1734; mean 147,
    P(160) = .0180 and P(X <= 160) = .8666."""
    assert 1 - at_most(1, 0.75) == pytest.approx(0.1734, abs=5e-5)
    assert chance_of(160, 147) == pytest.approx(0.0180, abs=5e-5)
    assert at_most(160, 147) == pytest.approx(0.8666, abs=5e-5)


def test_rule_of_three() -> None:
    """One-sided 95 % upper limits for 0, 1, 2 and 3 events (Garwood, by chi-square): at those means P(X <= x) = .05."""
    for events, mean in ((0, 2.9957), (1, 4.7439), (2, 6.2958), (3, 7.7537)):
        assert at_most(events, mean) == pytest.approx(0.05, abs=2e-6)


@pytest.mark.parametrize(("mean", "chance", "level"), [(10, 0.75, 12), (10, 0.95, 15), (4.2, 0.90, 7)])
def test_order_up_to_levels(mean: float, chance: float, level: int) -> None:
    """Discrete Poisson order-up-to levels, by plain arithmetic on the distribution (no published source)."""
    assert least_level(mean, chance, most=100) == (level, False)


@pytest.mark.parametrize(
    ("price", "cost", "salvage", "ratio"), [(20, 14, 5, 0.4), (140, 100, 90, 0.8), (130, 100, 80, 0.6)]
)
def test_critical_ratios(price: int, cost: int, salvage: int, ratio: float) -> None:
    """The newsvendor, Cu / (Cu + Co): p 20, c 14, s 5 gives 6 / 15 = .4; p 140, c 100, s 90 gives .8; p 130, s 80
    gives .6 (textbook data sets, answers worked out)."""
    assert critical_ratio(price, cost, salvage) == pytest.approx(ratio)


def test_the_level_of_the_critical_ratio_earns_most() -> None:
    """Newsvendor: no other level has a higher expected profit, reckoned by brute force over scipy's distribution."""
    price, cost, mean = Decimal("2.50"), Decimal("1.10"), 6.3
    level, _ = least_level(mean, critical_ratio(price, cost), most=100)

    def profit(stocked: int) -> float:
        sold = sum(min(stocked, asked) * stats.poisson.pmf(asked, mean) for asked in range(200))
        return float(price) * sold - float(cost) * stocked

    assert max(range(40), key=profit) == level


def test_what_earns_nothing_is_not_worth_a_risk() -> None:
    assert critical_ratio(100, 100) == 0.0
    assert critical_ratio(100, 120) == 0.0
    assert least_level(3.0, 0.0, most=10) == (0, False)


@pytest.mark.parametrize("mean", [0.3, 25.0, 4000.0])
def test_a_slot_said_to_hold_a_thousand_million_units_costs_no_more_than_another(mean: float) -> None:
    assert at_most(1_000_000_000, mean) == pytest.approx(1.0, abs=1e-9)
    assert expected_left(1_000_000_000, mean) == pytest.approx(1_000_000_000 - mean, rel=1e-9)


@pytest.mark.parametrize("mean", [0.3, 25.0, 900.0])
def test_what_is_left_off_is_nothing_at_all(mean: float) -> None:
    assert at_most(3000, mean) == min(1.0, math.fsum(chance_of(units, mean) for units in range(3001)))


@pytest.mark.parametrize("units", [254, 255, 256, 300])
@pytest.mark.parametrize("mean", [0.001, 3.5, 255.0, 2000.0])
def test_kept_logarithms_change_no_digit(units: int, mean: float) -> None:
    assert at_most(units, mean) == min(1.0, math.fsum(chance_of(asked, mean) for asked in range(units + 1)))
    left = math.fsum((units - asked) * chance_of(asked, mean) for asked in range(units))
    assert expected_left(units, mean) == left
