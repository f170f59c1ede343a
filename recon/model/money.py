"""Money as whole minor units (cents, fils, yen), exact from the text to the result.

An amount is an int of minor units; `exponent` is the number of decimal digits of the currency (ISO 4217). Decimals
appear only at the edges and where a percentage or a cost per unit needs digits below the minor unit; they are rounded
once, at the end of a sum, half to even.
"""

import re
from decimal import ROUND_HALF_EVEN, Decimal

from recon.model.errors import MoneyError

LARGEST_AMOUNT = 10**14
"""No single amount may reach this many minor units: sums of Int64 wrap in silence, and no route has such an amount."""

_EXACT = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_MOST_DIGITS = 28
"""Beyond these the decimal arithmetic of the standard library rounds, so that an excess digit could pass unseen."""


def exact(text: str) -> Decimal:
    """Read a plain decimal ("1.75", "-3", "0.625") without rounding.

    Raises MoneyError for anything else: exponents, thousands marks and currency signs are not plain decimals.
    """
    stripped = text.strip()
    if not _EXACT.fullmatch(stripped):
        raise MoneyError(f'"{text}" is not a plain decimal number such as 1.75')
    return Decimal(stripped)


def to_minor(amount: Decimal | str | int, exponent: int) -> int:
    """The amount in whole minor units: to_minor("1.75", 2) is 175, to_minor("1.500", 3) is 1500.

    Raises MoneyError where the amount has more digits than the currency, or is too large to be real.
    """
    value = exact(amount) if isinstance(amount, str) else Decimal(amount)
    if len(value.as_tuple().digits) > _MOST_DIGITS:
        raise MoneyError(f"{value} has more than {_MOST_DIGITS} digits")
    scaled = value.scaleb(exponent)
    if scaled != scaled.to_integral_value():
        raise MoneyError(f"{value} has more than the {exponent} decimal digits of the currency")
    if abs(scaled) >= LARGEST_AMOUNT:
        raise MoneyError(f"{value} is too large for an amount")
    return int(scaled)


def to_text(minor: int, exponent: int) -> str:
    """The amount as a decimal string in the currency's own digits: to_text(-175, 2) is "-1.75"."""
    sign, digits = ("-" if minor < 0 else ""), str(abs(minor)).rjust(exponent + 1, "0")
    return f"{sign}{digits[:-exponent]}.{digits[-exponent:]}" if exponent else f"{sign}{digits}"


def round_minor(value: Decimal) -> int:
    """Round an exact figure in minor units to a whole number of them, half to even: 357.5 is 358, 356.5 is 356."""
    return int(value.quantize(Decimal(1), rounding=ROUND_HALF_EVEN))
