"""The Poisson distribution of units asked for, and the level that lasts with a chosen chance.

Counts of independent buyers over a time in which `mean` of them are expected. Probabilities are floats, summed exactly
(math.fsum) from terms made in logarithms, so that means in the thousands do not underflow.
"""

from decimal import Decimal
from functools import lru_cache
from math import exp, fsum, lgamma, log


def chance_of(units: int, mean: float) -> float:
    """The chance that exactly `units` (0 or more) are asked for."""
    if mean == 0:
        return 1.0 if units == 0 else 0.0
    return exp(units * log(mean) - mean - lgamma(units + 1))


@lru_cache(maxsize=16)
def _chances(most: int, mean: float) -> tuple[float, ...]:
    """The chances of 0, 1, 2 and so on up to `most` units; mean: above 0.

    Of many units those that are 0.0 are left out. Beyond the mean they only fall: once one is 0.0 all further are, and
    a slot said to hold a thousand million units costs no more than one that holds a hundred. Kept for a moment: the
    chance of running out and what is left then are asked of the same slot one after the other.
    """
    each = log(mean)
    if most < len(_LOG_FACTORIALS):
        logs = zip(range(most + 1), _LOG_FACTORIALS, strict=False)
        return tuple([exp(units * each - mean - log_factorial) for units, log_factorial in logs])
    found = []
    for units in range(most + 1):
        chance = exp(units * each - mean - lgamma(units + 1))
        if chance == 0 and units > mean:
            break
        found.append(chance)
    return tuple(found)


_LOG_FACTORIALS = tuple(lgamma(units + 1) for units in range(256))
"""Of as many units as most slots hold."""


def at_most(units: int, mean: float) -> float:
    """The chance that no more than `units` are asked for, P(D <= units); 0 for a negative number."""
    if mean == 0:
        return 1.0 if units >= 0 else 0.0
    return min(1.0, fsum(_chances(units, mean)))


def least_level(mean: float, chance: float, *, most: int) -> tuple[int, bool]:
    """The smallest level S with P(D <= S) >= chance, and whether it is capped: not above `most`.

    Order-up-to level of a periodic review with lost sales: the level at each visit covers what is asked for until the
    next one. chance: from 0 to below 1.
    """
    total, parts = 0.0, []
    for level in range(most + 1):
        parts.append(chance_of(level, mean))
        total += parts[-1]
        # The running sum may be off in its last digits: near the chance it is summed exactly.
        if total >= chance - 1e-9 and fsum(parts) >= chance:
            return level, False
    return most, True


def expected_left(units: int, mean: float) -> float:
    """Units expected to be left of `units` after demand of that mean, E[max(0, units - D)]; 0 for a negative number."""
    if mean == 0:
        return float(max(0, units))
    return fsum((units - asked) * chance for asked, chance in enumerate(_chances(units - 1, mean)))


def critical_ratio(price: Decimal | int, cost: Decimal | int, salvage: Decimal | int = 0) -> float:
    """The chance of not running short that earns most where what is left is lost: Cu / (Cu + Co), with Cu = price -
    cost and Co = cost - salvage (the newsvendor). 0 where a sale earns nothing.
    """
    if price <= cost:
        return 0.0
    return float(Decimal(price - cost) / Decimal(price - salvage))
