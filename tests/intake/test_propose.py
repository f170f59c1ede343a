"""What a description is proposed from: headers, contents, words, names of files."""

import itertools
import re
import tomllib
from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal
from fnmatch import fnmatchcase

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.intake import header_words, word_meanings
from recon.intake.header_words import fold, header_fit, kind_fit, known_headers
from recon.intake.propose import Guess, propose
from recon.intake.propose_columns import Machine, assign, columns_of, fit_of, machine_named, plain_amount
from recon.intake.propose_files import globs, machine_pattern, source_name
from recon.intake.propose_times import read_when
from recon.intake.table import read_table
from recon.intake.word_meanings import meaning
from recon.model.errors import ReconError
from recon.model.source import FIELDS
from recon.model.words import OUTCOMES, TENDERS
from recon.report.source_draft import quoted, source_draft

NOW = datetime(2026, 9, 29, 16, tzinfo=UTC)
QUAY = Machine(
    "quay-2", "Ferry quay", frozenset({"110", "112"}), frozenset({272, 274}), frozenset({Decimal("1.75")}), 2
)
LOBBY = Machine("lobby-1", None, frozenset({"A1"}), frozenset({1}), frozenset({Decimal("2.00")}), 2)


# --- headers


def test_every_field_of_every_kind_has_words_in_seven_languages() -> None:
    fields = {field for kind in FIELDS.values() for field in kind}
    assert set(header_words._WORDS) == fields
    assert {field: len(lines) for field, lines in header_words._WORDS.items()} == dict.fromkeys(fields, 7)


def test_every_word_is_folded_as_headers_are() -> None:
    lines = [*itertools.chain(*header_words._WORDS.values()), *header_words._OTHERS, *header_words._KINDS.values()]
    words = [word.removeprefix("~") for line in lines for word in line.split("|")]
    assert [word for word in words if fold(word) != word] == []


@pytest.mark.parametrize(
    ("header", "field"),
    [
        ("Terminal", "machine"),
        ("Automaten-Nr.", "machine"),
        ("Numéro de machine", "machine"),
        ("MÁQUINA", "machine"),
        ("macchina", "machine"),
        ("Apparaat", "machine"),
        ("Equipamento", "machine"),
        ("Prix de vente (TTC)", "price"),
        ("unitPrice", "price"),
        ("Stückpreis [EUR]", "price"),
        ("Zahlungsart", "tender"),
        ("Betaalwijze", "tender"),
        ("Nachgefüllt", "loaded"),
        ("paid_on", "paid_on"),
        ("Wechselgeld", "tubes"),
        ("Período desde", "from"),
    ],
)
def test_a_header_in_any_spelling_names_its_field(header: str, field: str) -> None:
    assert header_fit(header, field) == 1.0
    assert max(header_words._WORDS, key=lambda other: header_fit(header, other)) == field


@pytest.mark.parametrize(
    ("header", "field"),
    [
        ("Product", "label"),
        ("Customer name", "machine"),
        ("Balance", "price"),
        ("Kartennummer", "tender"),
        ("TVA", "price"),
    ],
)
def test_headers_of_other_things_count_against_a_field(header: str, field: str) -> None:
    assert header_fit(header, field) <= 0


def test_words_made_of_words_count_less_than_the_words_themselves() -> None:
    assert 0 < header_fit("Kundenpreis", "price") < header_fit("Preis", "price")
    assert 0 < header_fit("Net price per unit", "price") < header_fit("Price", "price")


def test_a_line_of_headers_is_known_among_titles_and_rows() -> None:
    assert known_headers(["Automat", "Uhrzeit", "Betrag", "xyz"])[1] == 2
    assert known_headers(["Sales of 2026", "", ""])[1] == 0
    assert known_headers(["0423", "10:15", "1.75"])[1] == 0


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("Verkäufe_2026.csv", "vends"),
        ("comptage-08.csv", "counts"),
        ("Liquidação.csv", "payouts"),
        ("recaudacion.csv", "cash"),
        ("reposição.csv", "loads"),
    ],
)
def test_the_names_of_files_tell_kinds(name: str, kind: str) -> None:
    assert [each for each in FIELDS if kind_fit(name, each)] == [kind]


# --- which column is which


@given(
    st.dictionaries(
        st.sampled_from("ABCD"),
        st.dictionaries(st.sampled_from("vwxyz"), st.integers(1, 9).map(float), max_size=4),
        max_size=4,
    )
)
def test_columns_are_given_to_fields_so_that_the_sum_is_highest(scored: Mapping[str, Mapping[str, float]]) -> None:
    """Held against every way there is: each column one of its fields or none, no field twice."""
    ways = itertools.product(*([None, *own] for own in scored.values()))
    sums = [
        sum(own[field] for own, field in zip(scored.values(), way, strict=True) if field is not None)
        for way in ways
        if len(taken := [field for field in way if field is not None]) == len(set(taken))
    ]
    total, picked = assign(scored)
    assert total == max(sums, default=0)
    assert sum(scored[column][field] for field, column in picked.items()) == total
    assert len(set(picked.values())) == len(picked)


def test_contents_overrule_a_header_that_names_two_things() -> None:
    """ "Position" heads labels here and bus numbers there: the layouts tell which."""
    for cells, field in ((["110", "112"], "label"), (["272", "274"], "bus")):
        rows = "".join(f"quay-2;2026-09-0{at + 1} 10:00;{cells[at % 2]};cash\n" for at in range(6))
        table = read_table(f"Automat;Zeit;Position;Zahlart\n{rows}".encode())
        fit = fit_of(columns_of(table.frame, table.header, NOW), [QUAY, LOBBY], "x.csv")
        assert fit.columns == {"machine": "Automat", "time": "Zeit", field: "Position", "tender": "Zahlart"}


@pytest.mark.parametrize("machines", [2, 3, 7, 50, 96])
def test_a_long_file_is_looked_at_without_falling_into_its_step(machines: int) -> None:
    """Machines that take turns row by row are all met, though only some cells are looked at."""
    frame = pl.DataFrame({"Machine": [f"m-{at % machines}" for at in range(60_000)]})
    (column,) = columns_of(frame, ["Machine"], NOW)
    assert len(column.sample) <= 520
    late = column.sample[300:]
    assert len(set(late)) == machines


def test_numbers_of_rows_are_no_references() -> None:
    rows = "".join(f"{at},quay-2,2026-09-0{at} 10:00,110,cash\n" for at in range(1, 8))
    table = read_table(f"No,Machine,Time,Slot,Paid by\n{rows}".encode())
    assert "reference" not in fit_of(columns_of(table.frame, table.header, NOW), [QUAY], "x.csv").columns


def test_the_order_of_columns_does_not_matter() -> None:
    head = ["Machine", "Time", "Slot", "Price", "Paid by", "Status", "Receipt"]
    cells = [["quay-2", f"2026-09-0{at} 10:00", "110", "1.75", "cash", "ok", f"R-{at}"] for at in range(1, 8)]
    found = set()
    for order in itertools.islice(itertools.permutations(range(7)), 0, 5040, 501):
        lines = [",".join(line[at] for at in order) for line in (head, *cells)]
        table = read_table("\n".join(lines).encode())
        found.add(frozenset(fit_of(columns_of(table.frame, table.header, NOW), [QUAY], "x.csv").columns.items()))
    fields = ("machine", "time", "label", "price", "tender", "outcome", "reference")
    assert found == {frozenset(zip(fields, head, strict=True))}


def test_a_file_of_no_kind_is_refused_with_its_columns() -> None:
    table = read_table(b"Day,Door,Passages\n2026-08-24,front,41873\n")
    with pytest.raises(ReconError, match="Day, Door, Passages"):
        propose(table, "doors.csv", [], Guess("doors.csv", ""), now=NOW)


def test_a_header_without_rows_is_drafted_by_its_words() -> None:
    table = read_table(b"Machine,Date/Time,Slot,Price,Paid by\n")
    proposal = propose(table, "sales.csv", [], Guess("sales.csv", ""), now=NOW)
    assert {guess.field for guess in proposal.columns} >= {"machine", "label", "price", "tender"}
    assert tomllib.loads(source_draft(proposal).text)["kind"] == "vends"


@pytest.mark.parametrize(
    ("cell", "amount"),
    [
        ("1.75", "1.75"),
        ("1,75", "1.75"),
        ("175", "175"),
        ("$1.75", "1.75"),
        ("1,75 €", "1.75"),
        ("CAD 1,234.50", "1234.50"),
        ("1.234,50", "1234.50"),
        ("1 234,5", "1234.5"),
        ("-2.00", "2.00"),
        ("A4", None),
        ("soon", None),
        ("12.09.2026 10:00", None),
    ],
)
def test_amounts_are_known_in_any_spelling(cell: str, amount: str | None) -> None:
    assert plain_amount(cell) == (None if amount is None else Decimal(amount))


# --- machines


@pytest.mark.parametrize(
    ("text", "machine"),
    [
        ("quay-2", "quay-2"),
        ("QUAY2", "quay-2"),
        ("Quay 2 north", "quay-2"),
        ("ferry QUAY", "quay-2"),
        ("quay-25", None),
        ("quay-2 or lobby-1", None),
        ("0423", None),
    ],
)
def test_a_machine_is_known_by_its_id_or_site(text: str, machine: str | None) -> None:
    assert machine_named(text, [QUAY, LOBBY]) == machine


@pytest.mark.parametrize(
    ("file", "machine"),
    [
        ("sales-quay-2-2026-39.csv", "quay-2"),
        ("Quay_2 39.csv", "quay-2"),
        ("2026.09.lobby1.(2).csv", "lobby-1"),
        ("sales-39.csv", None),
        ("quay-2-lobby-1.csv", None),
        ("quay-21.csv", None),
    ],
)
def test_the_machine_in_a_file_name_is_the_group_of_the_pattern(file: str, machine: str | None) -> None:
    found = machine_pattern(file, [QUAY, LOBBY])
    assert (found and found[2]) == machine
    if found is not None:
        again = re.search(found[0], file)
        assert again is not None
        assert again[1] == found[1]


# --- names of files


@given(st.text(st.sampled_from("ab09-_ .[]*?()é"), min_size=1, max_size=20).map(lambda stem: f"{stem}.csv"))
def test_every_pattern_fits_the_file_it_was_made_from(file: str) -> None:
    for glob in globs(file, None):
        assert fnmatchcase(file.lower(), glob.lower()), glob


@pytest.mark.parametrize(
    ("file", "glob", "name"),
    [
        ("sales-2026-39.csv", "sales-*.csv", "sales"),
        ("Export (3).csv", "Export (*).csv", "export"),
        ("umsätze.csv", "umsätze.csv", "umsatze"),
        ("20260914.csv", "[0-9][0-9][0-9][0-9][0-9][0-9][0-9][0-9].csv", "export"),
        ("a_2026-09-14T10-15_b.csv", "a_*_b.csv", "a-b"),
        ("2026-39 sales.csv", "* sales.csv", "sales"),
    ],
)
def test_figures_in_a_name_are_left_open(file: str, glob: str, name: str) -> None:
    assert globs(file, None)[0] == glob
    assert source_name(file, None) == name


# --- words


@pytest.mark.parametrize(
    ("field", "word", "ours"),
    [
        ("tender", "Münze", "cash"),
        ("tender", "CARTE BANCAIRE", "card"),
        ("tender", "Card payment", "card"),
        ("tender", "Bill / coin", "cash"),
        ("tender", "Cash and card", None),
        ("tender", "Cashless", None),
        ("tender", "Key", None),
        ("tender", "Carte de lecteur", None),
        ("tender", "Gettone", "token"),
        ("tender", "Free vend", "free"),
        ("tender", "prepaid", "prepaid"),
        ("tender", "", None),
        ("outcome", "OK", "vended"),
        ("outcome", "Non servi", "failed"),
        ("outcome", "not OK", None),
        ("outcome", "Annulé", "cancelled"),
        ("outcome", "Devuelto", "refunded"),
        ("outcome", "0", None),
        ("outcome", "mislukt", "failed"),
    ],
)
def test_words_mean_what_they_say_or_nothing(field: str, word: str, ours: str | None) -> None:
    assert meaning(field, word) == ours


def test_no_word_has_two_meanings() -> None:
    for table, ours in ((word_meanings._TENDERS, TENDERS), (word_meanings._OUTCOMES, OUTCOMES)):
        assert set(table) == set(ours)
        words = [word for line in table.values() for word in line.split("|")]
        assert [word for word in set(words) if words.count(word) > 1] == []
        assert [word for word in words if fold(word) != word] == []


# --- times


@pytest.mark.parametrize(
    ("texts", "form"),
    [
        (["2026-09-14 10:15:00", "2026-09-02 10:15:00"], None),
        (["14/09/2026 10:15", "2/9/2026 9:15"], "%d/%m/%Y %H:%M"),
        (["09/14/2026 10:15:00 AM"], "%m/%d/%Y %I:%M:%S %p"),
        (["14.09.26 10:15"], "%d.%m.%y %H:%M"),
        (["14 Sep 2026 10:15"], None),
        (["2026-09-14T10:15:00Z"], None),
    ],
)
def test_a_format_is_named_where_another_file_could_be_in_doubt(texts: list[str], form: str | None) -> None:
    when = read_when(pl.Series(texts), now=NOW, with_clock=True)
    assert (when.share, when.format, when.ways) == (1.0, form, ())


def test_both_ways_are_shown_where_days_could_be_months() -> None:
    when = read_when(pl.Series(["03/04/2026 10:15:30", "05/04/2026 10:15:30"]), now=NOW, with_clock=True)
    assert [(way.format, way.first, way.last) for way in when.ways] == [
        ("%d/%m/%Y %H:%M:%S", "03 April 2026", "05 April 2026"),
        ("%m/%d/%Y %H:%M:%S", "04 March 2026", "04 May 2026"),
    ]


def test_what_does_not_read_is_counted() -> None:
    when = read_when(pl.Series(["2026-09-14 10:15", "never", "2026-09-15 10:15", "x"]), now=NOW, with_clock=True)
    assert (when.share, when.example) == (0.5, "never")


# --- TOML


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_comes_back_from_its_quotes(text: str) -> None:
    assert (
        tomllib.loads(f"x = {quoted(text)}\n{quoted(text)} = 1" if text != "x" else f"x = {quoted(text)}")["x"] == text
    )


@given(
    header=st.lists(
        st.text(st.characters(exclude_categories=["Cs"], exclude_characters='",\n\r'), max_size=12),
        min_size=1,
        max_size=4,
    ),
    cell=st.text(st.characters(exclude_categories=["Cs"], exclude_characters='",\n\r'), max_size=12),
)
def test_a_draft_is_toml_whatever_the_file_holds(header: list[str], cell: str) -> None:
    columns = ["Machine", "Time", "Slot", "Paid by", *(f"{name} {at}" for at, name in enumerate(header))]
    frame = pl.DataFrame({name: [cell or "x"] * 2 for name in columns})
    table = read_table(b"Machine,Time,Slot,Paid by\nm,2026-09-01 10:00,1,cash\n")
    odd = type(table)(tuple(columns), frame, table.lines)
    proposal = propose(odd, "sales.csv", [], Guess("sales.csv", cell), now=NOW)
    parsed = tomllib.loads(source_draft(proposal).text)
    assert set(parsed.get("columns", {}).values()) <= set(columns)
