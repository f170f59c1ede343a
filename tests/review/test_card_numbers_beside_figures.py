"""Card numbers as people write them: beside an expiry date, before a full stop, in columns named in seven languages.

4111111111111111 is a published test number (from memory); 123456789015 passes the Luhn formula, worked out by hand:
5+2+0+9+8+5+6+1+4+6+2+2 = 50.
"""

from pathlib import Path

import pytest
from builders import RouteBuilder, kinds, slot

from recon.intake.cards import card_number_in, tail

PAN = "4111111111111111"
SPACED = "4111 1111 1111 1111"
HEAD = "machine,time,bus,price,tender"
ROW = "m-1,2026-09-01 10:00,1,2.00,cash"


def _kept_out(tmp_path: Path, column: str, cell: str) -> bool:
    route = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1", bus=1))
    route.file("inbox/a.csv", f'{HEAD},{column}\n{ROW},"{cell}"\nm-1,2026-09-01 11:00,1,2.00,cash,\n')
    run = route.run()
    [entry] = run.results.inputs
    assert (entry.accepted == 0) == ("card-number-present" in kinds(run))
    return entry.accepted == 0


@pytest.mark.parametrize(
    "cell", [f"{SPACED} 12/27", f"{PAN} 123", f"2 {SPACED}", f"10:00 {PAN}", f"2026-09-01 {PAN}", f"tel 555 0100 {PAN}"]
)
def test_a_card_number_beside_other_figures(tmp_path: Path, cell: str) -> None:
    assert _kept_out(tmp_path, "comment", cell)


@pytest.mark.parametrize("cell", [f"paid with {PAN}.", f"no.{PAN}", f"card {PAN}. Call back"])
def test_a_card_number_beside_a_full_stop(tmp_path: Path, cell: str) -> None:
    assert _kept_out(tmp_path, "comment", cell)


@pytest.mark.parametrize("blank", ["\u00a0", "\u202f", "\u2013", "  ", " - "])
def test_blanks_and_dashes_of_every_kind_part_a_card_number(tmp_path: Path, blank: str) -> None:
    assert _kept_out(tmp_path, "comment", SPACED.replace(" ", blank))


@pytest.mark.parametrize(
    "column", ["Kartennummer", "Kreditkartennummer", "Numéro de carte", "Numero carta", "Kaartnummer", "creditcard no"]
)
def test_a_column_of_card_numbers_in_any_language(tmp_path: Path, column: str) -> None:
    for cell in (PAN, "123456789015"):
        assert _kept_out(tmp_path / cell, column, cell)


@pytest.mark.parametrize("cell", ["0.4111111111111111", "1.4111111111111111 l", f"x{PAN}y", "4111 1111 1111 1112"])
def test_what_is_no_card_number_stays(tmp_path: Path, cell: str) -> None:
    assert not _kept_out(tmp_path, "comment", cell)


def test_long_references_of_few_rows_are_weighed_too(tmp_path: Path) -> None:
    """Card vends alone have a reference, cash ones none: two in a hundred such references look like a card number."""
    route = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1", bus=1))
    rows = "".join(
        f"m-1,2026-09-{1 + at % 28:02} {at % 24:02}:{at % 60:02},1,2.00,{'card' if at % 3 == 0 else 'cash'},"
        f"{4_700_000_000_000_003 + at * 7_919 if at % 3 == 0 else ''}\n"
        for at in range(300)
    )
    run = route.file("inbox/a.csv", f"{HEAD},reference\n{rows}").run()
    assert "card-number-present" not in kinds(run)


def test_a_number_in_a_reason_is_found_beside_its_expiry_date() -> None:
    assert card_number_in(f"refunded to {SPACED} 12/27.") == "1111"
    assert card_number_in(f"refunded to {PAN}.") == "1111"
    assert card_number_in("counted twice, 110 was 4 and 112 was 5 on 2026-09-01 10:00") is None


@pytest.mark.parametrize("tried", [1_000, 5_000, 300_000])
def test_thousands_of_references_are_weighed(tried: int) -> None:
    """The coefficients of so many overflowed a float: a long log of such references ended the run with a fault.

    Against the normal approximation (common knowledge): 5 standard deviations are 3 in ten million, one is 16 in 100.
    """
    deviation = (tried * 0.1 * 0.9) ** 0.5
    assert tail(tried // 10, tried) == 1.0
    assert tail(round(tried * 0.1 + 5 * deviation), tried) < 1e-5
    assert 0.1 < tail(round(tried * 0.1 + deviation), tried) < 0.2
