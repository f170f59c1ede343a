"""Amounts and whole numbers however they are written: the column settles the decimal mark, and nothing is guessed."""

import re
from decimal import Decimal, InvalidOperation

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from written import amounts, columns, figures

from recon.intake.amounts import Mark
from recon.intake.clock import AmbiguousFormat
from recon.model.currencies import EXPONENTS

STEADY = settings(deadline=None)
"""No limit of time: the first look at a format is slow."""


@pytest.mark.parametrize(
    ("cells", "minor"),
    [
        (["1,75", "2,5", "3"], [175, 250, 300]),
        (["1.234,50"], [123450]), (["1,234.50"], [123450]), (["1 234,50"], [123450]), (["1'234.50"], [123450]),
        (["1’234.50"], [123450]), (["1\u00a0234,50"], [123450]), (["1\u202f234,50"], [123450]), (["1\u2009234.50"],
         [123450]),
        (["1.234.567"], [123456700]), (["1,234,567"], [123456700]), (["1,23,456", "12,34,567.50"], [12345600,
         123456750]),
        (["1234,567.50", "1,234.50"], [None, 123450]), (["1,75", "1.234"], [175, 123400]), (["1.75", "1,234"], [175,
         123400]),
        (["1,5", "2.500"], [150, 250000]), (["0,500"], [50]), (["1234,500"], [123450]), (["1 234"], [123400]),
    ],
)  # fmt: skip
def test_decimal_marks_and_thousands(cells: list[str], minor: list[int | None]) -> None:
    assert [value for value, _ in amounts(*cells)] == minor


@pytest.mark.parametrize("cell", ["-1.75", "1.75-", "−1.75", "(1.75)", "- 1.75", "–1.75", "-$1.75", "$-1.75", "($1.75)",
                                  "$(1.75)", "1.75- $", "CAD -1.75", "-1.75 CAD", "(1.75 CAD)", "CA$ -1.75",
                                  "-$1.75 CAD"])  # fmt: skip
def test_each_way_to_write_what_is_below_zero(cell: str) -> None:
    assert figures(cell) == [-175]


@pytest.mark.parametrize(
    "cell",
    ["$1.75", "1.75$", "$ 1.75", "CAD 1.75", "1.75 CAD", "cad1.75", "C$1.75", "+1.75", "$1.75 CAD", "$\u00a01.75"],
)
def test_what_may_stand_beside_an_amount(cell: str) -> None:
    assert figures(cell) == [175]


@pytest.mark.parametrize(
    ("cell", "coin", "found"),
    [("€1.75", "CAD", "€"), ("1.75 EUR", "CAD", "EUR"), ("US$1.75", "CAD", "US$"), ("$1.75 USD", "CAD", "USD"),
     ("1,75 kr", "EUR", "kr"),
     ("£1.75", "EUR", "£"), ("$1.75", "EUR", "$")],
)  # fmt: skip
def test_money_of_another_currency_is_refused(cell: str, coin: str, found: str) -> None:
    [(value, reason)] = amounts(cell, coin=coin)
    assert value is None
    assert reason is not None
    assert f'total "{cell}" is in {found}, where the machine takes {coin}' in reason


def test_each_machine_takes_its_own_currency() -> None:
    (one, _), (two, _), (three, why) = amounts("€1,75", "1,75 kr", "€2,50", coin=["EUR", "SEK", "SEK"])
    assert (one, two, three) == (175, 175, None)
    assert why is not None
    assert "takes SEK" in why


@pytest.mark.parametrize(
    "cell",
    ["1,23,4", "12,34", "1.2.3", "1,234,56", "1 75", "1'75", "1,234.567.8", "1,234 567", ",5", "1.", "--1.75",
     "(-1.75)", "-(1.75)", "-1.75-",
     "(1.75", "1.75)", "1.75 apples", "x1.75", "1e9", "１,75", "١٫٧٥", "5,-", "1.75 %", "1/2", "175¢", "0,123,456",
     "1,75 2,50"],
)  # fmt: skip
def test_what_is_no_amount_in_any_convention_is_refused(cell: str) -> None:
    good, (value, reason), _ = amounts("1.75", cell, "2.50")
    assert good == (175, None)
    assert value is None
    assert reason is not None
    assert reason.startswith(f'total "{cell}" ')


def test_a_number_with_marks_that_fit_nothing_says_what_it_might_be() -> None:
    _, (value, reason), *_ = amounts("1.50", "1,75,0", "2.50")
    assert (value, reason) == (None, 'total "1,75,0" reads neither as 1.75 nor as 175.0')


def test_a_cell_that_does_not_fit_its_column_is_refused_and_the_mark_named() -> None:
    read = amounts("1,50", "1.75", "2,00", "3,00")
    assert [value for value, _ in read] == [150, None, 200, 300]
    assert read[1][1] == 'total "1.75" does not fit its column, in which the decimal mark is the comma'


def test_in_a_column_with_both_marks_what_reads_two_ways_is_refused() -> None:
    read = amounts("1.50", "1.75", "2,00", "1,234")
    assert [value for value, _ in read] == [150, 175, None, None]
    assert read[3][1] == 'total "1,234" could be 1234 or 1.234: its column has numbers with either decimal mark'


@pytest.mark.parametrize(
    ("cells", "coin", "minor"),
    [
        (["1,234"], "CAD", [123400]), (["1.234"], "EUR", [123400]), (["1,234"], "JPY", [1234]), (["1,000"], "JPY",
         [1000]),
        (["85", "1,500", "920"], "CAD", [8500, 150000, 92000]), (["85", "1.500"], "EUR", [8500, 150000]),
        (["0.500", "1.500"], "KWD", [500, 1500]), (["0,500", "1,500"], "KWD", [500, 1500]),
    ],
)  # fmt: skip
def test_three_digits_behind_a_lone_mark(cells: list[str], coin: str, minor: list[int]) -> None:
    """The digits of the currency decide, and what else the column shows (ISO 4217: CAD and EUR 2, JPY 0, KWD 3)."""
    assert figures(*cells, coin=coin) == minor


@pytest.mark.parametrize(
    ("cells", "coin", "readings"),
    [(["1,234"], "KWD", ("1234", "1.234")), (["1.234"], "KWD", ("1.234", "1234")), (["1.500", "2.250"], "CAD",
     ("1.500", "1500")),
     (["1,500", "1500"], "CAD", ("1500", "1.500")), (["1.234", "1,234"], "CAD", ("1.234", "1234"))],
)  # fmt: skip
def test_what_stays_open_is_refused_with_both_readings_and_the_line_to_add(
    cells: list[str], coin: str, readings: tuple[str, str]
) -> None:
    with pytest.raises(AmbiguousFormat) as error:
        amounts(*cells, coin=coin)
    told = str(error.value)
    assert f'("{cells[0]}" is {readings[0]} or {readings[1]})' in told
    assert 'decimal = "." or decimal = "," under [amounts]' in told


def test_the_description_decides() -> None:
    assert figures("1,234", coin="KWD", decimal=",") == [1234]
    assert figures("1,234", coin="KWD", decimal=".") == [1234000]
    assert figures("1.500", decimal=".") == [150]
    assert figures("1.500", decimal=",") == [150000]
    [(value, reason)] = amounts("1.75", decimal=",")
    assert value is None
    assert reason is not None
    assert "decimal mark is the comma" in reason


def test_the_other_columns_of_the_file_speak_for_a_mark() -> None:
    read = columns({"gross": ["1.500", "2.250"], "fees": ["10,50", "11,25"]}, coin="EUR")
    assert [value for value, _ in read["gross"]] == [150000, 225000]
    read = columns({"gross": ["1.500", "2.250"], "fees": ["10.50", "11.25"]}, coin="EUR")
    assert [value for value, _ in read["gross"]] == [150, 225]


@pytest.mark.parametrize(
    ("cell", "minor"), [("175", 175), ("1,234", 1234), ("1.234", 1234), ("175.00", 175), ("-175", -175), ("$175", 175)]
)
def test_amounts_in_minor_units(cell: str, minor: int) -> None:
    assert figures(cell, minor_units=True) == [minor]


def test_minor_units_have_no_parts() -> None:
    assert amounts("175.5", minor_units=True) == [(None, 'total "175.5" is not a whole number of minor units')]


# Source: MDB/ICP, actual price = P x X x 10^-Y (from memory); the figures are arithmetic on it. That FFFFh in the price
# field means "no price" is common practice, no source.
@pytest.mark.parametrize(
    ("cell", "price", "scale", "places"),
    [("655,35", 0xFFFF, 1, 2), ("3.276,75", 0xFFFF, 5, 2), ("6.553,50", 0xFFFF, 10, 2), ("65.535,00", 0xFFFF, 100, 2),
     ("42.949.672,95", 0xFFFFFFFF, 1, 2), ("42’949’672,95", 0xFFFFFFFF, 1, 2), ("€ 655,35", 0xFFFF, 1, 2)],
)  # fmt: skip
def test_ffffh_with_a_decimal_comma_is_no_price(cell: str, price: int, scale: int, places: int) -> None:
    digits = re.sub(r"[^0-9,]", "", cell).replace(",", ".")
    assert (Decimal(price) * scale).scaleb(-places) == Decimal(digits)
    assert figures("1,75", cell, "1.234,50", coin="EUR", field="price") == [175, None, 123450]


@pytest.mark.parametrize("cell", ["-0,01", "-1,00", "−0,01", "0xFFFF", "ffffh", "-1"])
def test_ffffh_read_as_signed_or_left_in_hexadecimal_with_a_decimal_comma(cell: str) -> None:
    assert figures("1,75", cell, coin="EUR", field="price") == [175, None]


@pytest.mark.parametrize(
    ("cells", "units"),
    [(["4.0", "12.0"], [4, 12]), (["4,0", "12,0"], [4, 12]), (["4", "1,234"], [4, 1234]), (["4", "1.234"], [4, 1234]),
     (["1 234"], [1234]), (["4,00", "1.234,00"], [4, 1234]), (["+4"], [4]), (["4.000", "12.5", "0.000"], [4, None, 0])],
)  # fmt: skip
def test_whole_numbers(cells: list[str], units: list[int | None]) -> None:
    assert [value for value, _ in amounts(*cells, field="counted")] == units


def test_units_that_may_be_thousands_or_have_three_decimals_are_refused() -> None:
    with pytest.raises(AmbiguousFormat, match="counted"):
        amounts("4.000", "12.000", field="counted")


@pytest.mark.parametrize("cell", ["4,5", "4.5", "$4", "4 units", "1,23", "(4)", "4-"])
def test_what_is_no_whole_number_of_units(cell: str) -> None:
    [(value, reason), _] = amounts(cell, "3", field="loaded")
    assert value is None
    assert reason is not None
    assert f'"{cell}"' in reason


@pytest.mark.parametrize(
    ("cell", "number"),
    [("272.0", 272), ("272,0", 272), ("1,234", 1234), ("65535.0", None), ("-1", None), ("FFFF", None), ("0x110", 272)],
)
def test_bus_numbers(cell: str, number: int | None) -> None:
    assert figures("274", cell, field="bus") == [274, number]


# --- any style: exactly, or refused ------------------------------------------------------------------------------

THOUSANDS = {".": ["", ",", " ", "'", "’", "\u00a0", "\u202f"], ",": ["", ".", " ", "'", "’", "\u00a0", "\u202f"]}
DRESSES = ["{}", "${}", "$ {}", "{} $", "{}\u00a0$", "CAD {}", "{} CAD", "CA${}"]
MINUS = ["-{}", "−{}", "{}-", "({})"]


def spelled(value: int, digits: int, mark: str, thousand: str, decimals: int, indian: bool) -> str:
    """An amount (not below zero) in a style; `decimals` as shown."""
    whole, part = divmod(value, 10**digits)
    text = str(whole)
    heads = [text[-3:]]
    text = text[:-3]
    step = 2 if indian else 3
    while text:
        heads.insert(0, text[-step:])
        text = text[:-step]
    body = thousand.join(heads)
    return f"{body}{mark}{str(part).zfill(digits).ljust(decimals, '0')}" if decimals else body


@st.composite
def written_columns(draw: st.DrawFn) -> tuple[list[str], list[int], str]:
    """A column as one writer writes it, the amounts that were meant (minor units), and the currency."""
    coin = draw(st.sampled_from(["CAD", "JPY", "KWD"]))
    digits = EXPONENTS[coin]
    mark = draw(st.sampled_from([".", ","]))
    thousand = draw(st.sampled_from(THOUSANDS[mark]))
    # No decimals, the currency's own, or (where it has some) a third that is 0, as scaled prices have.
    decimals = draw(st.sampled_from([0, digits, max(digits, 3)] if digits else [0]))
    indian = thousand == "," and draw(st.booleans())
    sums = draw(st.lists(st.integers(0, 10**8), min_size=1, max_size=8))
    sums = sums if decimals else [each // 10**digits * 10**digits for each in sums]
    dress = draw(st.sampled_from(DRESSES if coin == "CAD" else ["{}", f"{coin} {{}}"]))
    minus = draw(st.sampled_from(MINUS))
    below = draw(st.lists(st.booleans(), min_size=len(sums), max_size=len(sums)))
    texts = [dress.format(spelled(each, digits, mark, thousand, decimals, indian)) for each in sums]
    texts = [minus.format(text) if negative else text for text, negative in zip(texts, below, strict=True)]
    return texts, [-each if negative else each for each, negative in zip(sums, below, strict=True)], coin


@STEADY
@given(written_columns())
def test_a_column_in_any_style_reads_exactly_or_is_refused(column: tuple[list[str], list[int], str]) -> None:
    """Check: the writer above, which is none of the engine's."""
    texts, meant, coin = column
    try:
        read = amounts(*texts, coin=coin)
    except AmbiguousFormat:
        # Nothing but three digits behind a lone mark can leave a column open.
        assert any(re.fullmatch(r"[^0-9]*[1-9][0-9]{0,2}[.,][0-9]{3}[^0-9]*", text) for text in texts)
        return
    for (value, reason), expected in zip(read, meant, strict=True):
        assert (value, reason) == (expected, None)


def strict(cell: str, mark: str, digits: int) -> int | None:
    """A second reader of plain numbers under a known decimal mark: splits by hand and reckons with decimals."""
    text = cell.strip()
    sign = -1 if text.startswith("-") or text.endswith("-") else 1
    if text.startswith(("-", "+")):
        text = text[1:].strip()
    elif text.endswith("-"):
        text = text[:-1].strip()
    if not text or not text[0].isdigit() or not text[-1].isdigit() or text.count(mark) > 1:
        return None
    whole, _, part = text.partition(mark)
    if part and not part.isdigit():
        return None
    others = {sign for sign in whole if not sign.isdigit()}
    if len(others) > 1:
        return None
    heads = whole.split(others.pop()) if others else [whole]
    if len(heads) > 1:
        sizes = [len(head) for head in heads]
        threes = sizes[0] in (1, 2, 3) and set(sizes[1:]) == {3}
        lakhs = mark == "." and "," in whole and sizes[0] in (1, 2) and sizes[-1] == 3 and set(sizes[1:-1]) == {2}
        if not (threes or lakhs) or heads[0][0] == "0":
            return None
    try:
        value = Decimal(f"{''.join(heads)}.{part or '0'}") * 10**digits
    except InvalidOperation:
        return None
    return sign * int(value) if value == int(value) else None


@STEADY
@given(
    st.lists(st.text(st.sampled_from("0123456789.,' -"), min_size=1, max_size=9), min_size=1, max_size=6),
    st.sampled_from([".", ","]), st.sampled_from(["CAD", "JPY", "KWD"]),
)  # fmt: skip
def test_any_text_under_a_known_mark_reads_as_a_strict_reader_reads_it(cells: list[str], mark: Mark, coin: str) -> None:
    read = amounts(*cells, coin=coin, decimal=mark)
    for (value, reason), cell in zip(read, cells, strict=True):
        if not cell.strip():
            assert (value, reason) == (None, None)
            continue
        assert value == strict(cell.replace(" -", "-").replace("- ", "-"), mark, EXPONENTS[coin]) or (
            value is None and reason
        )
        assert (value is None) == (reason is not None)


@STEADY
@given(
    st.lists(st.text(st.sampled_from("0123456789.,"), min_size=1, max_size=7), min_size=1, max_size=6),
    st.sampled_from(["CAD", "JPY", "KWD"]),
)  # fmt: skip
def test_a_column_reads_under_one_mark_throughout(cells: list[str], coin: str) -> None:
    """Whatever is read is what a strict reader reads under one of the two marks, the same for the whole column."""
    try:
        read = [value for value, _ in amounts(*cells, coin=coin)]
    except AmbiguousFormat:
        return
    digits = EXPONENTS[coin]
    assert any(
        all(value is None or value == strict(cell, mark, digits) for value, cell in zip(read, cells, strict=True))
        for mark in ".,"
    )
