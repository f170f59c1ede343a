"""Full card numbers: found wherever they stand, told by their last four digits alone, and nothing of the file kept.

PCI DSS v4, requirement 3.4.1: shown with BIN and last four digits at most; 3.5.1: never stored readable. FAQ 1091
allows the first six and the last four to be kept; recon keeps the last four alone.
"""

from pathlib import Path

import polars as pl
import pytest
from builders import RouteBuilder
from clean_exports import trips
from hypothesis import given
from hypothesis import strategies as st
from stdnum import luhn as oracle

from recon.intake.cards import FEW, SURE, find_card_number, luhn, tail
from recon.intake.table import read_table

# Published test numbers, from memory; each is held against python-stdnum below.
NUMBERS = [
    "4111111111111111", "4012888888881881", "4222222222222", "4242424242424242", "5555555555554444",
    "5105105105105100", "378282246310005", "371449635398431", "6011111111111117", "3530111333300000", "30569309025904",
]  # fmt: skip
WRONG = "4111111111111112"


def passes(digits: str) -> bool:
    return bool(pl.DataFrame({"d": [digits]}).select(luhn(pl.col("d"))).item())


def grouped(number: str, mark: str) -> str:
    return mark.join(number[at : at + 4] for at in range(0, len(number), 4))


@pytest.mark.parametrize("number", [*NUMBERS, "79927398713"])
def test_published_numbers_pass_as_python_stdnum_says(number: str) -> None:
    assert oracle.is_valid(number)
    assert passes(number)


def test_the_check_digit_of_7894_is_9() -> None:
    # python-stdnum, luhn doctest: checksum('7894') is 6, its check digit 9.
    assert oracle.calc_check_digit("7894") == "9"
    assert passes("78949")
    assert not passes("78948")


@given(st.text("0123456789", min_size=1, max_size=19))
def test_luhn_as_python_stdnum(digits: str) -> None:
    assert passes(digits) == oracle.is_valid(digits)


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("cell", ["{}", "card {} used", "{} ", '"{}"'])
def test_a_card_number_is_found_in_a_note(number: str, cell: str) -> None:
    table = read_table(
        f"machine,time,note\nm-1,2026-09-01 10:00,\nm-1,2026-09-01 10:05,{cell.format(number)}\n".encode()
    )
    found = find_card_number(table)
    assert found is not None
    assert (found.row, found.column, found.last) == (3, "note", number[-4:])


@pytest.mark.parametrize("mark", [" ", "-"])
def test_it_is_found_in_groups(mark: str) -> None:
    table = read_table(f"machine,reference\nm-1,{grouped(NUMBERS[0], mark)}\n".encode())
    assert find_card_number(table) is not None


def test_in_a_column_of_cards_any_length_counts() -> None:
    # 12 digits that pass the check, of no known length and prefix.
    number = "12345678901" + oracle.calc_check_digit("12345678901")
    assert find_card_number(read_table(f"machine,Card\nm-1,{number}\n".encode())) is not None
    assert find_card_number(read_table(f"machine,Parcel\nm-1,{number}\n".encode())) is None


@pytest.mark.parametrize(
    "cell", [WRONG, "xxxx xxxx xxxx 1111", "411111******1111", "1111", f"a{NUMBERS[0]}f", f"{NUMBERS[0]}.5"]
)
def test_what_is_no_full_number_is_left_alone(cell: str) -> None:
    assert find_card_number(read_table(f"machine,Card\nm-1,{cell}\n".encode())) is None


def test_a_column_of_card_numbers_called_otherwise_is_found() -> None:
    rows = "".join(f"m-1,{number}\n" for number in NUMBERS)
    assert find_card_number(read_table(f"machine,reference\n{rows}".encode())) is not None


@pytest.mark.parametrize("place", ["title", "header", "torn", "footer"])
def test_every_corner_is_looked_at(route: RouteBuilder, place: str) -> None:
    number = NUMBERS[0]
    rows = "machine,time,label,counted\nm-1,2026-09-01 10:00,A1,4\n"
    text = {
        "title": f"Sheet for card {number}\n{rows}",
        "header": rows.replace("counted", f"counted,card {number}", 1).replace(",4\n", ",4,\n"),
        "torn": rows + f"m-1,2026-09-02 10:00,A1,4,{number},x\nm-1,2026-09-03 10:00,A1,3\n",
        "footer": rows + f"paid with {number}\n",
    }[place]
    run = route.file("inbox/sheet.csv", text).run()
    assert [finding.kind for finding in run.results.findings if finding.severity == "error"] == ["card-number-present"]


def test_nothing_of_the_file_is_kept(route: RouteBuilder, tmp_path: Path) -> None:
    number = NUMBERS[1]
    run = route.file("inbox/a.csv", f"machine,time,label,counted,note\nm-1,2026-09-01 10:00,A1,4,{number}\n").run()
    entry = run.results.inputs[0]
    assert (entry.rows, entry.accepted, entry.duplicate, entry.rejected) == (1, 0, 0, 1)
    shown = run.json() + "".join(frame.write_json() for name, frame in run.frames.items() if name != "inputs")
    assert number not in shown
    assert number[:-4] not in shown
    assert number[-4:] in run.results.findings[0].message
    assert run.frames["rejects"]["text"].to_list() == ["(withheld)"]


def test_clean_exports_are_left_alone() -> None:
    """A slice; the whole, and what it printed, is in docs/intake.md."""
    assert trips(1, 250) == []


def test_three_by_chance_are_rare_enough() -> None:
    # Binomial by hand: three of three at one in ten is 1 in 1,000.
    assert tail(FEW, FEW) == pytest.approx(0.001)
    assert tail(FEW, FEW) <= SURE * 1.0001
    assert tail(0, 5) == pytest.approx(1.0)
