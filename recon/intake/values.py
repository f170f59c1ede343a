"""Cells as values: whole columns of text read into numbers, amounts and words, with the reason where one does not read.

Every reader here takes an expression of trimmed text (null where the cell was empty) and returns a Parsed: the value,
null where it cannot be read, and the reason, null where nothing is wrong. Digits are 0 to 9: those of other scripts
match \\d, yet do not cast to numbers. Readers of numbers take `plain` besides where the cell was written otherwise than
1234.50: the same number so written, null where it reads as none (see recon.intake.amounts). Reasons show the text.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import polars as pl

from recon.model.words import LARGEST_BUS

LARGEST_PRICE = 10_000_000
"""Minor units. No vend costs this much: an amount beyond it is a misread column, not a price."""
LARGEST_MONEY = 100_000_000_000
"""Minor units. No collection or payout of a small route reaches this."""
LARGEST_UNITS = 100_000

UNDEFINED_NUMBERS = ("65535", "-1", "0xffff", "ffff", "ffffh", "4294967295", "0xffffffff", "ffffffff")
"""FFFFh as exports write it: unsigned, signed, hexadecimal, and widened to 32 bits."""

UNDEFINED_PRICES = frozenset({"65535", "327675", "655350", "3276750", "6553500", "4294967295"})
"""Digits, without the point and outer zeros kept aside, of a price field that holds FFFFh or FFFFFFFFh.

MDB/ICP scales a price as P x X x 10^-Y (X scale factor, Y decimals): FFFFh with X of 1, 5, 10, 50 and 100, any Y. That
FFFFh in the price field means "no price" is common practice, no source: the standard gives it for the item number.
"""


_UNDEFINED_MINOR = sorted(int(digits) for digits in UNDEFINED_PRICES)


class Parsed(NamedTuple):
    """value: null where the text does not read. reason: what was found and expected, null where nothing is wrong."""

    value: pl.Expr
    reason: pl.Expr


def nothing(dtype: pl.DataType | type[pl.DataType]) -> Parsed:
    """A field for which the file has no column."""
    return Parsed(pl.lit(None, dtype), pl.lit(None, pl.String))


def trimmed(column: str) -> pl.Expr:
    """The cell without surrounding blanks; null where nothing is left."""
    text = pl.col(column).str.strip_chars()
    return pl.when(text != "").then(text)


def plain_whole(text: pl.Expr, *, least: int = 0, most: int = LARGEST_UNITS) -> pl.Expr:
    """What `whole` reads, of the texts that are written in the plainest way; null for all others, which it leaves to
    `whole`: reading a column so takes a fraction of the time. The other readers have their like."""
    number = text.cast(pl.Int64, strict=False)
    plain = ~text.str.contains("^[-+]") & (text.str.len_bytes() <= 10)
    return pl.when(number.is_between(least, most) & plain).then(number)


def plain_amount(text: pl.Expr, digits: int, *, most: int = LARGEST_MONEY, minor_units: bool = False) -> pl.Expr:
    """The same for `amount`: digits, a point, and as many digits as the currency has."""
    digits = 0 if minor_units else digits
    plain = text.str.contains(rf"^[0-9]+\.[0-9]{{{digits}}}$" if digits else "^[0-9]+$") & (text.str.len_bytes() <= 14)
    minor = (text.str.replace(".", "", literal=True) if digits else text).cast(pl.Int64, strict=False)
    return pl.when(plain & (minor <= most)).then(minor)


def plain_price(text: pl.Expr, digits: int, *, minor_units: bool = False) -> pl.Expr:
    """The same for `price`; what may be FFFFh is left to it."""
    minor = plain_amount(text, digits, most=LARGEST_PRICE, minor_units=minor_units)
    return pl.when(~minor.is_in(_UNDEFINED_MINOR)).then(minor)


def plain_bus(text: pl.Expr) -> pl.Expr:
    """The same for `bus_number` in decimal."""
    return plain_whole(text, most=LARGEST_BUS).cast(pl.Int32)


def _unless(good: pl.Expr, text: pl.Expr, words: str) -> pl.Expr:
    """`words` (with {} for the text) where there is a text and it is not good."""
    return pl.when(text.is_not_null() & ~good.fill_null(False)).then(pl.format(words, text.str.slice(0, 80)))


def whole(
    text: pl.Expr, name: str, *, least: int = 0, most: int = LARGEST_UNITS, plain: pl.Expr | None = None
) -> Parsed:
    """A whole number of units from `least` to `most`. Decimals that are all zero (`4.0`) do no harm."""
    shown = (text if plain is None else plain).str.replace(r"\.0+$", "")
    number = pl.when(shown.str.contains(r"^\+?[0-9]{1,15}$")).then(shown.str.strip_prefix("+")).cast(pl.Int64)
    good = number.is_between(least, most)
    below = shown.str.contains(r"^-[0-9]+$")
    reason = (
        pl.when(below).then(pl.format(f'{name} "{{}}" is below zero', text))
        .when(number.is_not_null() & ~good).then(pl.format(f'{name} "{{}}" is outside {least} to {most}', text))
        .otherwise(_unless(number.is_not_null(), text, f'{name} "{{}}" is not a whole number'))
    )  # fmt: skip
    return Parsed(pl.when(good).then(number), pl.when(text.is_not_null()).then(reason))


def amount(
    text: pl.Expr, name: str, digits: int, *, most: int = LARGEST_MONEY, negative: bool = False,
    plain: pl.Expr | None = None, minor_units: bool = False,
) -> Parsed:  # fmt: skip
    """An exact amount of money in minor units of a currency with `digits` decimals; excess digits are refused.

    minor_units: whether the text itself is in minor units.
    """
    digits = 0 if minor_units else digits
    number = text if plain is None else plain
    reads = number.str.contains(r"^[+-]?[0-9]{1,15}(\.[0-9]+)?$").fill_null(False)
    sign = pl.when(number.str.starts_with("-")).then(-1).otherwise(1)
    bare = number.str.strip_chars_start("+-")
    fraction = bare.str.extract(r"\.([0-9]+)$").fill_null("").str.strip_chars_end("0")
    exact = fraction.str.len_bytes() <= digits
    scaled = bare.str.extract(r"^([0-9]+)") + (fraction.str.pad_end(digits, "0") if digits else pl.lit(""))
    minor = pl.when(reads & exact).then(scaled).cast(pl.Int64, strict=False) * sign
    in_range = minor.abs() <= most
    least_ok = pl.lit(True) if negative else minor >= 0
    excess = (
        "is not a whole number of minor units"
        if minor_units
        else f"has more than the {digits} decimal digits of the currency"
    )
    reason = (
        pl.when(~reads).then(pl.format(f'{name} "{{}}" is not an amount such as 1.75', text.str.slice(0, 80)))
        .when(~exact).then(pl.format(f'{name} "{{}}" {excess}', text))
        .when(~in_range.fill_null(False))
        .then(pl.format(f'{name} "{{}}" is too large to be real', text.str.slice(0, 80)))
        .when(~least_ok).then(pl.format(f'{name} "{{}}" is below zero', text))
    )  # fmt: skip
    good = reads & exact & in_range & least_ok
    return Parsed(pl.when(good).then(minor), pl.when(text.is_not_null()).then(reason))


def undefined_price(text: pl.Expr) -> pl.Expr:
    """Whether a price cell holds FFFFh in a form in which exports show it (65535, 655.35, -1, -0.01, 0xFFFF)."""
    lower = text.str.to_lowercase()
    digits = lower.str.replace(".", "", literal=True).str.strip_chars_start("0")
    minus_one = lower.str.contains(r"^-(1(\.0+)?|0\.(0{0,3})1)$")
    return digits.is_in(UNDEFINED_PRICES) | minus_one | lower.is_in(UNDEFINED_NUMBERS)


def price(text: pl.Expr, digits: int, *, plain: pl.Expr | None = None, minor_units: bool = False) -> Parsed:
    """A vend's price in minor units; FFFFh in any form reads as no price."""
    number = text if plain is None else plain
    shown = ~undefined_price(number).fill_null(False)
    there, number = pl.when(shown).then(text), pl.when(shown).then(number)
    return amount(there, "price", digits, most=LARGEST_PRICE, plain=number, minor_units=minor_units)


def bus_number(text: pl.Expr, base: int, *, plain: pl.Expr | None = None) -> Parsed:
    """A bus item number, decimal (or hexadecimal where the description says so, or the cell starts with 0x).

    FFFFh in any form and the empty cell read as no number: such vends are kept, as undefined.
    """
    lower = (text if plain is None else pl.coalesce(plain, text)).str.to_lowercase().str.replace(r"\.0+$", "")
    undefined = lower.is_in(UNDEFINED_NUMBERS)
    marked = lower.str.starts_with("0x")
    hexadecimal = (marked | pl.lit(base == 16)) & lower.str.contains(r"^(0x)?[0-9a-f]{1,8}$")
    decimal = ~marked & pl.lit(base == 10) & lower.str.contains(r"^[0-9]{1,10}$")
    number = pl.coalesce(
        pl.when(decimal & ~undefined).then(lower).cast(pl.Int64, strict=False),
        pl.when(hexadecimal & ~undefined).then(lower.str.strip_prefix("0x")).str.to_integer(base=16, strict=False),
    )
    good = number.is_between(0, LARGEST_BUS)
    kind = "a hexadecimal number" if base == 16 else "a whole number"
    reason = (
        pl.when(undefined).then(pl.lit(None, pl.String))
        .when(number.is_not_null() & ~good).then(pl.format(f'bus number "{{}}" is outside 0 to {LARGEST_BUS}', text))
        .otherwise(_unless(number.is_not_null(), text, f'bus number "{{}}" is not {kind}'))
    )  # fmt: skip
    return Parsed(pl.when(good).then(number).cast(pl.Int32), pl.when(text.is_not_null()).then(reason))


def meaning(text: pl.Expr, ours: Sequence[str], theirs: Mapping[Any, Sequence[str]], dtype: pl.DataType) -> pl.Expr:
    """The word of ours that a text stands for; null where it stands for none."""
    # lower(), not casefold(): polars can do no more, and the two must agree.
    meanings = {spelling.lower(): spelling for spelling in ours}
    meanings |= {spelling.strip().lower(): word for word, spellings in theirs.items() for spelling in spellings}
    return text.str.to_lowercase().replace_strict(meanings, default=None, return_dtype=dtype)


def word(
    text: pl.Expr, name: str, ours: Sequence[str], theirs: Mapping[Any, Sequence[str]], dtype: pl.DataType, table: str
) -> Parsed:
    """A word of ours, or one that the description gives for it, in any case."""
    value = meaning(text, ours, theirs, dtype)
    words = f'{name} "{{}}" is none of {", ".join(ours)}: give its meaning under [{table}] in the description'
    return Parsed(value, _unless(value.is_not_null(), text, words))


def required(parsed: Parsed, text: pl.Expr, name: str) -> Parsed:
    """The same, with a reason where the cell is empty."""
    return Parsed(parsed.value, pl.when(text.is_null()).then(pl.lit(f"no {name}")).otherwise(parsed.reason))
