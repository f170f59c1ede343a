"""Files that change or vanish after they were taken in: the ledger remembers, and a finding says so."""

from pathlib import Path

import pytest
from builders import NOW, RouteBuilder, only, slot

from recon.deciding import Asked, decide
from recon.recorded import run_and_record


@pytest.fixture
def kept(tmp_path: Path) -> RouteBuilder:
    """A route that was run and recorded once."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7").vends("09-03 12:00, A1, cash, 2.00")
    run_and_record(route.root, now=NOW)
    return route


def told(route: RouteBuilder) -> list[tuple[str, str, str]]:
    return [
        (finding.kind, finding.severity, finding.message)
        for finding in run_and_record(route.root, now=NOW).run.results.findings
        if finding.kind.startswith("file-")
    ]


def test_nothing_is_said_where_nothing_changed(kept: RouteBuilder) -> None:
    assert told(kept) == []


def test_a_changed_count_is_told_until_someone_decides(kept: RouteBuilder) -> None:
    sheet = kept.root / "inbox/counts.csv"
    sheet.write_text(sheet.read_text().replace(",7", ",9"))
    for _ in range(2):
        kind, severity, message = only(told(kept))
        assert (kind, severity) == ("file-changed", "warning")
        assert message.startswith("inbox/counts.csv is not what was taken in on 2026-12-01 12:00 (ledger entry ")
        assert "1 line of it gone or changed, 1 line new" in message
    finding = only(finding for finding in kept.run().results.findings if finding.kind == "file-changed")
    assert [(place.file, place.row) for place in finding.evidence] == [("inbox/counts.csv", 3)]
    decide(kept.root, finding.id, Asked("accept", "Ann", "a slip of the pen, seen by two"), now=NOW)
    assert only(f for f in kept.run().results.findings if f.kind == "file-changed").state == "accepted"


def test_a_file_that_only_grew_is_a_note(kept: RouteBuilder) -> None:
    kept.vends("09-04 12:00, A1, cash, 2.00")
    kind, severity, message = only(told(kept))
    assert (kind, severity) == ("file-changed", "note")
    assert "all of its lines are there, and 1 line more" in message


def test_a_file_that_is_gone_is_missed_but_not_one_that_was_renamed(kept: RouteBuilder) -> None:
    sheet = kept.root / "inbox/counts.csv"
    sheet.rename(sheet.with_name("visits.csv"))
    assert told(kept) == []
    sheet.with_name("visits.csv").unlink()
    assert {(kind, severity) for kind, severity, _ in told(kept)} == {("file-gone", "warning")}
    sheet.write_bytes(next((kept.root / "ledger/originals").rglob(_hash_of_counts(kept))).read_bytes())
    assert told(kept) == []


def _hash_of_counts(kept: RouteBuilder) -> str:
    from recon.ledger.journal import reading

    with reading(kept.root) as ledger:
        return str(next(e for e in ledger.entries("file-taken") if "counts" in e.body["file"]).body["original"])
