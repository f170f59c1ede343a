"""Whether amounts fit the currency: no more digits than its minor unit has, and no absurd size."""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from recon.model.currencies import EXPONENTS
from recon.model.money import LARGEST_AMOUNT

COST_DIGITS = 4
"""A cost per unit may have this many digits below the minor unit: a case price over its units."""

_LARGEST_POWER = len(str(LARGEST_AMOUNT)) - 1


@lru_cache(maxsize=4096)
def amount_fault(amount: Decimal, currency: str | None, extra: int = 0) -> str | None:
    """What an amount ought to be, in words, where it does not fit the currency; None where it does.

    currency: None where it is not known, then only the size is looked at. extra: digits allowed below the
    minor unit.
    """
    digits = 0 if currency is None else EXPONENTS[currency]
    if amount and amount.adjusted() + digits >= _LARGEST_POWER:
        return f"an amount below {10 ** (_LARGEST_POWER - digits)}"
    exponent = amount.as_tuple().exponent
    limit = (8 if currency is None else digits) + extra
    if isinstance(exponent, int) and -exponent > limit and amount != round(amount, limit):
        unit = "" if currency is None else f" ({currency})"
        return f"an amount with at most {limit} decimal digits{unit}"
    return None


@lru_cache(maxsize=4096)
def on_step(amount: Decimal, step: Decimal) -> bool:
    """Whether an amount is a whole number of price steps (step above 0)."""
    return Fraction(amount) % Fraction(step) == 0
