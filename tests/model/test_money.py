"""Amounts are exact from the text to the result, in the digits that ISO 4217 gives the currency."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from iso4217 import Currency

from recon.model.currencies import EXPONENTS
from recon.model.errors import MoneyError
from recon.model.money import LARGEST_AMOUNT, exact, round_minor, to_minor, to_text

PUBLISHED = {currency.code: currency.exponent for currency in Currency if currency.exponent is not None}
"""Source: ISO 4217, list published 2026-01-01, as the iso4217 package carries it."""

# Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 9.1 (card sales with a
# fee).
# Gross, percent, fee. The first four are solved in the text; the others are its exercises, worked out by
# arithmetic.
CARD_FEES = [
    ("300", "5", "15.00"), ("1200", "4", "48.00"), ("1790", "3", "53.70"), ("1120", "3", "33.60"),
    ("2101", "5", "105.05"), ("132980", "4", "5319.20"), ("3780", "2", "75.60"), ("4676", "3", "140.28"),
    ("1650", "3.5", "57.75"), ("43400", "2", "868.00"), ("3625", "5", "181.25"), ("4900", "3.5", "171.50"),
    ("900", "2.4", "21.60"), ("231518.00", "2.5", "5787.95"), ("567120", "1.5", "8506.80"),
    ("5720", "4.6", "263.12"), ("131372", "3.5", "4598.02"),
]  # fmt: skip


@pytest.mark.parametrize("code", sorted(PUBLISHED))
def test_every_currency_of_the_list_has_its_digits(code: str) -> None:
    assert EXPONENTS.get(code) == PUBLISHED[code]


@pytest.mark.parametrize("code", sorted(EXPONENTS))
def test_every_currency_known_here_is_in_the_list(code: str) -> None:
    assert PUBLISHED.get(code) == EXPONENTS[code]


@pytest.mark.parametrize("code", ["XAU", "XTS", "XXX"])
def test_codes_without_a_minor_unit_are_left_out(code: str) -> None:
    """Source: ISO 4217, list published 2026-01-01: "N.A." as their minor unit."""
    assert Currency(code).exponent is None
    assert code not in EXPONENTS


@pytest.mark.parametrize(
    ("text", "exponent", "minor"),
    [
        ("1.75", 2, 175), ("1.7", 2, 170), ("1", 2, 100), ("-1.75", 2, -175), ("+1.75", 2, 175),
        (" 1.75 ", 2, 175),
        ("0", 2, 0), ("-0.00", 2, 0), ("0.01", 2, 1), ("1.750000", 2, 175), ("0001.75", 2, 175),
        ("150", 0, 150), ("150.0", 0, 150), ("1.500", 3, 1500), ("1.5", 3, 1500), ("1.0001", 4, 10001),
        ("231518.00", 2, 23151800),
    ],
)  # fmt: skip
def test_a_plain_decimal_is_read_exactly(text: str, exponent: int, minor: int) -> None:
    assert to_minor(text, exponent) == minor


@pytest.mark.parametrize(
    "text",
    ["", "  ", ".5", "1.", "1,75", "1.234,50", "1 000", "1e9", "1E2", "$1.75", "1.75 CAD", "--1", "+-1",
     "nan", "inf",
     "0x10", "1_000", "１２", "١٢", "²", "1.7.5"],
)  # fmt: skip
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(MoneyError) as error:
        to_minor(text, 2)
    assert f'"{text}"' in str(error.value)


@pytest.mark.parametrize(
    ("text", "exponent"),
    [("1.755", 2), ("0.001", 2), ("1.5", 0), ("0.0001", 3), ("0.00001", 4), ("1.75" + "0" * 30 + "1", 2)],
)
def test_more_digits_than_the_currency_has_are_refused_not_rounded(text: str, exponent: int) -> None:
    with pytest.raises(MoneyError):
        to_minor(text, exponent)


def test_an_amount_too_large_to_be_real_is_refused() -> None:
    assert to_minor(str(LARGEST_AMOUNT - 1), 0) == LARGEST_AMOUNT - 1
    with pytest.raises(MoneyError, match="too large"):
        to_minor(str(LARGEST_AMOUNT), 0)
    with pytest.raises(MoneyError, match="too large"):
        to_minor("-" + str(LARGEST_AMOUNT // 100), 2)


@given(st.integers(1 - LARGEST_AMOUNT, LARGEST_AMOUNT - 1), st.sampled_from(sorted(set(EXPONENTS.values()))))
def test_text_and_minor_units_are_the_same_amount(minor: int, exponent: int) -> None:
    text = to_text(minor, exponent)
    assert to_minor(text, exponent) == minor
    assert Decimal(text) == Decimal(minor).scaleb(-exponent)
    assert len(text.partition(".")[2]) == exponent


@given(
    st.decimals(min_value=-(10**9), max_value=10**9, allow_nan=False, places=6), st.sampled_from([0, 2, 3, 4])
)
def test_an_amount_is_exact_or_refused(amount: Decimal, exponent: int) -> None:
    try:
        minor = to_minor(amount, exponent)
    except MoneyError:
        assert amount != round(amount, exponent)
    else:
        assert Decimal(minor).scaleb(-exponent) == amount


@pytest.mark.parametrize(("gross", "percent", "fee"), CARD_FEES)
def test_published_card_fees(gross: str, percent: str, fee: str) -> None:
    owed = round_minor(to_minor(gross, 2) * exact(percent) / 100)
    assert owed == to_minor(fee, 2)
    net = to_minor(gross, 2) - owed
    assert to_text(net, 2) == str(Decimal(gross) - Decimal(fee))


def test_the_half_cent_of_the_book_goes_to_the_even_cent() -> None:
    """Source: OpenStax, Financial Accounting 9.1, exercise: 55 x 3.25 = 178.75, of which 2 % is 3.575."""
    assert 55 * to_minor("3.25", 2) == to_minor("178.75", 2)
    assert round_minor(to_minor("178.75", 2) * exact("2") / 100) == 358


@pytest.mark.parametrize(
    ("value", "rounded"),
    [("357.5", 358), ("356.5", 356), ("0.5", 0), ("1.5", 2), ("-0.5", 0), ("-1.5", -2), ("-2.5", -2),
     ("2.5001", 3),
     ("2.4999", 2)],
)  # fmt: skip
def test_half_goes_to_even(value: str, rounded: int) -> None:
    assert round_minor(Decimal(value)) == rounded


@given(st.decimals(min_value=-(10**12), max_value=10**12, allow_nan=False, places=4))
def test_rounding_is_that_of_the_standard_library(value: Decimal) -> None:
    assert round_minor(value) == round(value)
