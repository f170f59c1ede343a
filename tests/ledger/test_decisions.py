"""Decisions: they stay with their finding, come back when its figures change, and correct without touching a file."""

from pathlib import Path

import pytest
from builders import NOW, RouteBuilder, only, slot

from recon.deciding import Asked, Made, decide
from recon.ledger.journal import reading
from recon.model.errors import ReconError
from recon.model.results import Finding


@pytest.fixture
def short(tmp_path: Path) -> RouteBuilder:
    """Ten counted, one sold, seven counted: short 2."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    return route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7").vends("09-03 12:00, A1, cash, 2.00")


def found(route: RouteBuilder, kind: str = "stock-short") -> Finding:
    return only(finding for finding in route.run().results.findings if finding.kind == kind)


def decided(route: RouteBuilder, verb: str, **more: str | Path) -> Made:
    finding = more.pop("finding", None) or found(route).id
    return decide(route.root, str(finding), Asked(verb, "Ann", "for a reason", **more), now=NOW)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("verb", "state"), [("accept", "accepted"), ("write-off", "written-off"), ("dispute", "disputed")]
)
def test_a_decision_stays_with_its_finding(short: RouteBuilder, verb: str, state: str) -> None:
    made = decided(short, verb)
    for _ in range(2):
        finding = found(short)
        assert (finding.state, finding.decision, finding.changed_since) == (state, made.decided.entry, False)
    told = only(short.run().results.decisions)
    assert (told.state, told.by, told.why, told.units, told.occurs, told.standing) == (
        state, "Ann", "for a reason", -2, True, True,
    )  # fmt: skip


def test_a_finding_whose_figures_change_is_open_again_and_says_so(short: RouteBuilder) -> None:
    made = decided(short, "accept")
    short.file("inbox/late.csv", "machine,time,label,tender,price\nm-1,2026-09-04 12:00,A1,cash,2.00\n")
    finding = found(short)
    assert (finding.units, finding.state, finding.decision, finding.changed_since) == (
        -1, "open", made.decided.entry, True,
    )  # fmt: skip
    again = decided(short, "accept")
    assert (found(short).state, found(short).decision) == ("accepted", again.decided.entry)
    assert [told.standing for told in short.run().results.decisions] == [False, True]


def test_reopening_takes_back(short: RouteBuilder) -> None:
    decided(short, "accept")
    made = decided(short, "reopen")
    finding = found(short)
    assert (finding.state, finding.decision, finding.changed_since) == ("open", made.decided.entry, False)
    with pytest.raises(ReconError, match="is open: nothing was decided"):
        decided(short, "reopen")


def test_a_correction_counts_and_the_file_stays_as_it_is(short: RouteBuilder) -> None:
    before = {path.name: path.read_bytes() for path in (short.root / "inbox").iterdir()}
    finding = found(short)
    made = decided(short, "correct", to="9")
    assert made.after is None
    assert only(short.run().results.stock).variance == 0
    assert {path.name: path.read_bytes() for path in (short.root / "inbox").iterdir()} == before
    told = only(short.run().results.decisions)
    assert (told.corrected, told.occurs) == ("inbox/counts.csv:3 counted 7 -> 9", False)
    assert only(short.run().frames["corrections"].select("was", "is").rows()) == (7, 9)
    # Its finding is gone, and can be had back all the same.
    decided(short, "reopen", finding=finding.id)
    assert found(short).units == -2


def test_what_a_correction_leaves_unexplained_is_open(short: RouteBuilder) -> None:
    decided(short, "correct", to="8")
    finding = found(short)
    assert (finding.units, finding.state, finding.changed_since) == (-1, "open", False)
    decided(short, "write-off")
    # The correction still counts beneath what was decided about the rest.
    assert (found(short).units, found(short).state) == (-1, "written-off")
    decided(short, "reopen")
    assert (found(short).units, found(short).state) == (-2, "open")


def test_a_correction_belongs_to_a_content_whatever_the_file_is_called(short: RouteBuilder) -> None:
    decided(short, "correct", to="9")
    inbox = short.root / "inbox"
    (inbox / "counts.csv").rename(inbox / "visits.csv")
    assert only(short.run().results.stock).counted == 9
    (inbox / "visits.csv").write_bytes((inbox / "visits.csv").read_bytes() + b"\n")
    assert only(short.run().results.stock).counted == 7


def test_money_is_corrected_exactly(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).vends("09-03 12:00, A1, cash, 2.00")
    route.cash("09-01 09:00, 0.00", "09-08 09:00, 0.10")
    finding = found(route, "cash-short").id
    for to in ("2.001", "1,90", "two"):
        with pytest.raises(ReconError, match="--to"):
            decided(route, "correct", finding=finding, to=to)
    assert decided(route, "correct", finding=finding, to="2.00").after is None
    assert str(only(route.run().results.cash).over_short) == "0.00"


def test_the_row_and_the_field_can_be_named(short: RouteBuilder) -> None:
    made = decided(short, "correct", to="8", row="inbox/counts.csv:2", field="counted")
    assert made.after is None
    assert (only(short.run().results.stock).opening, only(short.run().results.stock).variance) == (8, 0)


@pytest.mark.parametrize(
    ("verb", "more", "says"),
    [
        ("correct", {}, "--to"),
        ("accept", {"to": "9"}, 'go with "correct"'),
        ("correct", {"to": "nine"}, "no whole number"),
        ("correct", {"to": "9", "row": "inbox/other.csv:3"}, "no file of this run"),
        ("correct", {"to": "9", "row": "inbox/counts.csv"}, "names no row"),
        ("correct", {"to": "9", "row": "inbox/counts.csv:99"}, "no row that was used"),
        ("correct", {"to": "9", "field": "colour"}, "one of counted, loaded, removed"),
        ("accept", {"finding": "ffffff"}, "no finding has the id"),
        ("accept", {"finding": "abc"}, "too short"),
        ("accept", {"attachment": Path("nowhere.jpg")}, "cannot be read"),
    ],
)
def test_what_cannot_be_decided_says_why_and_leaves_no_entry(
    short: RouteBuilder, verb: str, more: dict[str, str | Path], says: str
) -> None:
    with pytest.raises(ReconError, match=says):
        decided(short, verb, **more)
    assert short.run().results.decisions == []


def test_no_card_number_enters_by_a_reason_or_an_attachment(short: RouteBuilder, tmp_path: Path) -> None:
    # 4111 1111 1111 1111 is a published test number (from memory); it passes the check of ISO/IEC 7812.
    finding = found(short).id
    with pytest.raises(ReconError, match="ending in 1111"):
        decide(short.root, finding, Asked("accept", "Ann", "paid with 4111 1111 1111 1111"), now=NOW)
    letter = tmp_path / "letter.txt"
    letter.write_text("card 4111-1111-1111-1111")
    with pytest.raises(ReconError, match="ending in 1111"):
        decided(short, "accept", attachment=letter)
    kept = [path.read_bytes() for path in (short.root / "ledger").rglob("*") if path.is_file()]
    assert not any(b"1111 1111" in data or b"1111-1111" in data for data in kept)


def test_an_attachment_is_kept_by_its_hash(short: RouteBuilder, tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_text("the caretaker counted too")
    decided(short, "accept", attachment=letter)
    with reading(short.root) as ledger:
        attachment = only(ledger.entries("decision-made")).body["attachment"]
    kept = short.root / "ledger/originals" / attachment["original"][:2] / attachment["original"]
    assert (attachment["name"], kept.read_text()) == ("letter.txt", "the caretaker counted too")
