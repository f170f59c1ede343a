"""Cells to numbers, amounts and words: exact, or refused with what was found."""

from collections.abc import Callable
from decimal import Decimal

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.intake import values
from recon.intake.values import LARGEST_MONEY, LARGEST_UNITS, Parsed
from recon.model.errors import MoneyError
from recon.model.frames import OUTCOME, TENDER
from recon.model.money import to_minor, to_text
from recon.model.words import LARGEST_BUS, OUTCOMES, TENDERS, UNDEFINED_BUS


def read(reader: Callable[[pl.Expr], Parsed], *cells: str | None) -> list[tuple[object, str | None]]:
    """(value, reason) of each cell, read as one column."""
    frame = pl.DataFrame({"cell": cells}, schema={"cell": pl.String})
    parsed = reader(values.trimmed("cell"))
    return frame.select(parsed.value.alias("value"), parsed.reason.alias("reason")).rows()


def one(reader: Callable[[pl.Expr], Parsed], cell: str | None) -> tuple[object, str | None]:
    return read(reader, cell)[0]


def units(text: pl.Expr) -> Parsed:
    return values.whole(text, "counted")


def money(digits: int, *, negative: bool = False) -> Callable[[pl.Expr], Parsed]:
    return lambda text: values.amount(text, "total", digits, negative=negative)


# --- units ---


@pytest.mark.parametrize(
    ("cell", "value"),
    [("0", 0), ("7", 7), ("007", 7), ("+7", 7), (" 7 ", 7), ("7.0", 7), ("7.000", 7),
     (str(LARGEST_UNITS), LARGEST_UNITS), ("", None),
     ("  ", None), (None, None)],
)  # fmt: skip
def test_whole_numbers(cell: str | None, value: int | None) -> None:
    assert one(units, cell) == (value, None)


@pytest.mark.parametrize(
    ("cell", "why"),
    [("-1", "below zero"), ("7.5", "not a whole number"), ("7,5", "not a whole number"),
     ("1e3", "not a whole number"),
     ("seven", "not a whole number"), ("1 000", "not a whole number"), ("１２", "not a whole number"),
     ("١٢", "not a whole number"), ("²", "not a whole number"), (str(LARGEST_UNITS + 1), "outside 0 to"),
     ("9" * 15, "outside 0 to"), ("9" * 40, "not a whole number")],
)  # fmt: skip
def test_what_is_no_number_of_units_is_refused(cell: str, why: str) -> None:
    value, reason = one(units, cell)
    assert value is None
    assert reason is not None
    assert why in reason
    assert f'counted "{cell}"' in reason


# --- amounts ---


@pytest.mark.parametrize(
    ("cell", "digits", "minor"),
    [("1.75", 2, 175), ("1.7", 2, 170), ("2", 2, 200), ("+1.75", 2, 175), ("0.05", 2, 5), ("0", 2, 0),
     ("-0.00", 2, 0),
     ("1.7500", 2, 175), ("150", 0, 150), ("150.00", 0, 150), ("1.500", 3, 1500), ("1.5", 3, 1500),
     ("1.0001", 4, 10001), ("", 2, None)],
)  # fmt: skip
def test_amounts_are_exact(cell: str, digits: int, minor: int | None) -> None:
    assert one(money(digits), cell) == (minor, None)


@pytest.mark.parametrize(
    ("cell", "digits", "why"),
    [("1.755", 2, "more than the 2 decimal digits"), ("1.5", 0, "more than the 0 decimal digits"),
     ("0.0001", 3, "more than the 3 decimal digits"),
     ("1.75" + "0" * 30 + "1", 2, "more than the 2 decimal digits"),
     ("1e9", 2, "not an amount"), ("1,75", 2, "not an amount"), ("1.234,50", 2, "not an amount"),
     ("$1.75", 2, "not an amount"), (".5", 2, "not an amount"), ("1.", 2, "not an amount"),
     ("nan", 2, "not an amount"),
     ("--1", 2, "not an amount"), ("1 75", 2, "not an amount"), ("１.75", 2, "not an amount"),
     ("-1.75", 2, "below zero"),
     (str(LARGEST_MONEY), 2, "too large"), ("9" * 15, 4, "too large"), ("9" * 16, 2, "not an amount")],
)  # fmt: skip
def test_what_is_no_amount_is_refused_never_rounded(cell: str, digits: int, why: str) -> None:
    value, reason = one(money(digits), cell)
    assert value is None
    assert reason is not None
    assert why in reason
    assert f'total "{cell[:20]}' in reason


def test_a_thousand_million_is_an_amount_only_where_money_may_be_so_large() -> None:
    assert one(money(2), "1000000000") == (10**11, None)
    value, reason = one(lambda text: values.price(text, 2), "1000000000")
    assert value is None
    assert reason is not None
    assert "too large" in reason


def test_amounts_below_zero_are_read_where_they_may_be() -> None:
    assert one(money(2, negative=True), "-12.50") == (-1250, None)


@given(st.integers(0, LARGEST_MONEY), st.sampled_from([0, 2, 3, 4]), st.sampled_from(["", "0", "00"]))
def test_an_amount_in_a_cell_is_the_amount_that_was_meant(minor: int, digits: int, zeros: str) -> None:
    cell = to_text(minor, digits) + (zeros if digits else "")
    assert one(money(digits), cell) == (minor, None)
    assert one(money(digits, negative=True), f"-{cell}") == (-minor, None)


@given(st.text(st.sampled_from("0123456789.,-+e "), max_size=8), st.sampled_from([0, 2, 3]))
def test_a_cell_is_read_as_one_amount_is(cell: str, digits: int) -> None:
    """Check: the reader of single amounts, which goes through the decimals of the standard library."""
    value, reason = one(money(digits, negative=True), cell)
    if not cell.strip():
        assert (value, reason) == (None, None)
        return
    try:
        expected = to_minor(cell, digits)
    except MoneyError:
        assert value is None
        assert reason is not None
    else:
        assert (value, reason) == (expected, None)


# --- prices, and FFFFh in them ---

# Source: MDB/ICP, reader configuration data: actual price = P x X x 10^-Y, X the scale factor, Y the decimal
# places
# (from memory; the figures are arithmetic on it). P, X, Y and what an export shows.
SCALED = [
    (0x0096, 1, 2, "1.50"), (30, 5, 2, "1.50"), (15, 10, 2, "1.50"), (3, 50, 2, "1.50"), (150, 1, 0, "150"),
    (1500, 1, 3, "1.500"),
]  # fmt: skip
UNDEFINED = [
    (0xFFFF, 1, 2, "655.35"), (0xFFFF, 5, 2, "3276.75"), (0xFFFF, 10, 2, "6553.50"),
    (0xFFFF, 50, 2, "32767.50"),
    (0xFFFF, 100, 2, "65535.00"), (0xFFFF, 1, 0, "65535"), (0xFFFF, 1, 3, "65.535"),
    (0xFFFFFFFF, 1, 2, "42949672.95"),
    (0xFFFFFFFF, 1, 0, "4294967295"),
]  # fmt: skip


def scaled(price: int, scale: int, places: int) -> Decimal:
    return (Decimal(price) * scale).scaleb(-places)


@pytest.mark.parametrize(("price", "scale", "places", "shown"), SCALED)
def test_scaled_prices(price: int, scale: int, places: int, shown: str) -> None:
    assert scaled(price, scale, places) == Decimal(shown)
    parsed = one(lambda text: values.price(text, places), shown)
    assert parsed == (price * scale, None)


@pytest.mark.parametrize(("price", "scale", "places", "shown"), UNDEFINED)
def test_a_price_field_that_holds_ffffh_has_no_price(price: int, scale: int, places: int, shown: str) -> None:
    """That FFFFh in the price field means "no price" is common practice, no source."""
    assert scaled(price, scale, places) == Decimal(shown)
    assert one(lambda text: values.price(text, places), shown) == (None, None)


@pytest.mark.parametrize("shown", ["-1", "-0.01", "-0.001", "-1.00", "0xFFFF", "FFFF", "ffffh", "0xffffffff"])
def test_ffffh_misread_as_signed_or_left_in_hexadecimal(shown: str) -> None:
    """FFFFh read as a signed 16-bit number is -1 (arithmetic); that exports show it so is common practice,
    no source.
    """
    assert int.from_bytes(b"\xff\xff", signed=True) == -1
    assert one(lambda text: values.price(text, 2), shown) == (None, None)


@pytest.mark.parametrize("shown", ["-2.00", "655.36", "65.53", "-1.75", "-0.10"])
def test_other_prices_are_not_taken_for_ffffh(shown: str) -> None:
    found = pl.DataFrame({"cell": [shown]}).select(values.undefined_price(pl.col("cell"))).item()
    assert found is False


def test_a_price_of_nothing_is_a_price() -> None:
    assert read(lambda text: values.price(text, 2), "0", "0.00", "") == [(0, None), (0, None), (None, None)]


# --- bus numbers ---


def bus(base: int = 10) -> Callable[[pl.Expr], Parsed]:
    return lambda text: values.bus_number(text, base)


@pytest.mark.parametrize(
    ("cell", "base", "number"),
    [("272", 10, 272), ("0", 10, 0), ("00272", 10, 272), ("65534", 10, LARGEST_BUS), ("110", 16, 0x110),
     ("A1", 16, 161),
     ("a1", 16, 161), ("0x110", 10, 272), ("0X110", 16, 272), ("fffe", 16, LARGEST_BUS),
     ("0xFFFE", 10, LARGEST_BUS),
     (" 272 ", 10, 272)],
)  # fmt: skip
def test_bus_numbers(cell: str, base: int, number: int) -> None:
    assert one(bus(base), cell) == (number, None)


@pytest.mark.parametrize("base", [10, 16])
@pytest.mark.parametrize(
    "cell", ["65535", "-1", "0xFFFF", "FFFF", "ffff", "FFFFh", "4294967295", "0xFFFFFFFF", "", None]
)
def test_an_undefined_number_is_no_number_and_no_fault(cell: str | None, base: int) -> None:
    """Source: MDB/ICP: VEND REQUEST and VEND SUCCESS carry FFFFh where the item number is undefined (second
    hand).
    """
    assert UNDEFINED_BUS == 0xFFFF == int("FFFF", 16)
    assert one(bus(base), cell) == (None, None)


@pytest.mark.parametrize(
    ("cell", "base", "why"),
    [("65536", 10, "outside 0 to 65534"), ("4294967294", 10, "outside"), ("10000", 16, "outside"),
     ("0x10000", 10, "outside"), ("A1", 10, "not a whole number"), ("27.2", 10, "not a whole number"),
     ("-2", 10, "not a whole number"), ("1e2", 10, "not a whole number"),
     ("slot 4", 10, "not a whole number"),
     ("G1", 16, "not a hexadecimal number"), ("0x", 16, "not a hexadecimal"),
     ("１１０", 10, "not a whole number"),
     ("9" * 30, 10, "not a whole number")],
)  # fmt: skip
def test_what_is_no_bus_number_is_refused(cell: str, base: int, why: str) -> None:
    value, reason = one(bus(base), cell)
    assert value is None
    assert reason is not None
    assert why in reason
    assert f'"{cell}"' in reason


@given(st.integers(0, LARGEST_BUS))
def test_a_number_is_the_same_in_either_base(number: int) -> None:
    decimal, prefixed = read(bus(10), str(number), f"0x{number:X}")
    assert decimal == prefixed == (number, None)
    assert one(bus(16), f"{number:x}") == (number, None)


# --- words ---

THEIRS = {"cash": ["Coin", " Bill ", "Großgeld"], "card": ["Chip & PIN", "ΣΑΣ"]}


def tender(text: pl.Expr) -> Parsed:
    return values.word(text, "tender", TENDERS, THEIRS, TENDER, "words.tender")


@pytest.mark.parametrize(
    ("cell", "word"),
    [("cash", "cash"), ("CASH", "cash"), ("Coin", "cash"), ("COIN", "cash"), ("bill", "cash"),
     ("chip & pin", "card"),
     ("Prepaid", "prepaid"), (" free ", "free"), ("großgeld", "cash"), ("Großgeld", "cash"), ("σας", "card"),
     ("ΣΑΣ", "card"), ("", None)],
)  # fmt: skip
def test_words_of_ours_and_of_the_description_in_any_case(cell: str, word: str | None) -> None:
    assert one(tender, cell) == (word, None)


@pytest.mark.parametrize("cell", ["cheque", "coins", "cas", "Chip"])
def test_a_word_without_a_meaning_is_refused_and_says_where_to_give_one(cell: str) -> None:
    value, reason = one(tender, cell)
    assert value is None
    assert reason is not None
    assert f'"{cell}"' in reason
    assert "[words.tender]" in reason


@pytest.mark.parametrize("outcome", OUTCOMES)
def test_every_outcome_of_ours_needs_no_description(outcome: str) -> None:
    assert one(
        lambda text: values.word(text, "outcome", OUTCOMES, {}, OUTCOME, "words.outcome"), outcome
    ) == (outcome, None)


def test_a_field_that_must_be_there_says_so_where_it_is_empty() -> None:
    def needed(text: pl.Expr) -> Parsed:
        return values.required(tender(text), text, "tender")

    assert read(needed, "coin", "", None) == [("cash", None), (None, "no tender"), (None, "no tender")]


def test_a_long_cell_is_cut_in_the_reason() -> None:
    _, reason = one(money(2), "x" * 5000)
    assert reason is not None
    assert len(reason) < 200
