"""Reports: results.json in the contract's shape, rejects.csv that no spreadsheet runs, text that cuts nothing
in silence."""

import csv
import io
import json
import re
from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from rich.console import Console

from recon.model.results import Results
from recon.report import folder as folder_module
from recon.report.folder import write_report
from recon.report.rejects_csv import rejects_csv
from recon.report.text import print_results

SHAPE = {
    "inputs": "file sha256 kind source rows accepted duplicate rejected",
    "stock": "machine label product opened_at closed_at opening loaded removed vended expected counted"
    " variance variance_low variance_high retail_value cost_value",
    "cash": "machine opened_at closed_at vends unpriced_vends"
    " expected expected_low expected_high collected tube_change over_short",
    "payouts": "reference paid_on from to machine vends"
    " gross_expected gross fees_expected fees net_expected net over_short",
    "machines": "machine vends unmapped_vends sales cash_sales card_sales"
    " fees cost_of_goods shrink_units shrink_retail shrink_cost margin",
    "findings": "id kind severity machine label bus product opened_at closed_at"
    " units amount message advice evidence evidence_count state decision changed_since",
    "decisions": "entry at finding kind machine label state by why message units amount"
    " corrected attachment attachment_sha256 standing occurs",
}
"""The keys of results.json, section by section, as they are promised."""


@pytest.fixture
def troubled(route: RouteBuilder) -> RouteBuilder:
    """A route with something in every section, and with fields that have no value."""
    route.settings(timezone="America/Halifax").machine("m-1", slot("A1"), slot("B1", price=None))
    route.counts(
        "09-01 09:00, A1, 10",
        "09-01 09:00, B1, 10",
        "09-08 09:00, A1, 7",
        "09-08 09:00, B1, 7",
        "09-08 10:00, A1, =1+1",
    )
    route.vends("09-03 12:00, A1, cash, 2.00", "09-03 12:00, C1, card, 1.00").cash(
        "09-01 09:00, 0, 0", "09-08 09:00, 5.00", "09-15 09:00, 0"
    )
    return route.payouts("2026-09-09, , , , , 9.00", "2026-09-09, 2026-09-01, 2026-09-03, 1.00, 0.06, 0.94, P-1")


def test_every_key_is_there_and_none_is_left_out(troubled: RouteBuilder) -> None:
    printed = json.loads(troubled.run().json())
    assert list(printed) == ["format", "route", "currency", "until", *SHAPE]
    assert printed["decisions"] == [], "nothing was decided; tests of the ledger have some"
    for section, keys in SHAPE.items():
        assert printed[section] or section == "decisions", section
        assert {tuple(row) for row in printed[section]} <= {tuple(keys.split())}
    missing = {
        (section, key) for section in SHAPE for row in printed[section] for key, value in row.items() if value is None
    }
    assert {
        ("payouts", "from"),
        ("stock", "retail_value"),
        ("cash", "tube_change"),
        ("findings", "label"),
        ("inputs", "source"),
    } <= missing


def test_money_is_text_in_the_currencys_digits_and_times_carry_the_machines_offset(
    troubled: RouteBuilder,
) -> None:
    troubled.settings(currency="KWD", timezone="America/Halifax")
    printed = json.loads(troubled.run().json())
    money = [
        row[key] for row in printed["cash"] for key in ("expected", "collected", "over_short") if row[key] is not None
    ]
    assert all(re.fullmatch(r"-?\d+\.\d{3}", amount) for amount in money)
    times = [
        row[key] for section in ("stock", "cash") for row in printed[section] for key in ("opened_at", "closed_at")
    ]
    assert set(times) == {f"2026-09-{day}T09:00:00-03:00" for day in ("01", "08", "15")}
    assert printed["until"].endswith("-04:00")


def test_one_record_a_line(troubled: RouteBuilder) -> None:
    text = troubled.run().json()
    assert text.endswith("}\n")
    printed = json.loads(text)
    records = sum(len(printed[section]) for section in SHAPE)
    assert sum(1 for line in text.splitlines() if line.startswith("    {")) == records


def test_texts_of_the_user_come_out_as_they_went_in(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot('"A"</script>\u2028é'))
    run = route.file(
        "inbox/counts.csv",
        "machine,time,label,counted\n"
        'm-1,2026-09-01 09:00,"""A""</script>\u2028é",1\nm-1,2026-09-08 09:00,"""A""</script>\u2028é",1\n',
    ).run()
    assert run.results.stock[0].label == '"A"</script>\u2028é'


def test_typed_results_take_nothing_else(troubled: RouteBuilder) -> None:
    printed = json.loads(troubled.run().json())
    Results.model_validate(printed)
    printed["stock"][0]["more"] = 1
    with pytest.raises(ValueError, match="more"):
        Results.model_validate(printed)


def test_rejects_hold_the_line_as_it_stands(route: RouteBuilder) -> None:
    rows = [
        "\"=cmd|' /C calc'!A1\",2026-09-01 09:00,A1,1",
        "+m,2026-09-01 09:00,A1,ten",
        '"m-1","2026-09-01 09:00","A1","a ""quoted"" ten"',
        "short",
        "-m,no time,A1,-1",
    ]
    route.file("inbox/counts.csv", "\n".join(["machine,time,label,counted", *rows, ""]))
    run = route.run()
    listed = list(csv.DictReader(io.StringIO(rejects_csv(run.reconciliation))))
    assert [(row["file"], row["row"]) for row in listed] == [("inbox/counts.csv", str(line)) for line in (3, 4, 5, 6)]
    # OWASP, CSV injection: a cell that begins with = + - @ or a control character can run as a formula.
    assert [row["text"] for row in listed] == [f"'{rows[1]}", rows[2], "short", f"'{rows[4]}"]
    assert all(row["reason"] for row in listed)
    assert not any(re.match(r"[=+\-@\t\r\n]", cell) for row in listed for cell in row.values())


def text_of(route: RouteBuilder, *, width: int = 80, every: bool = False) -> str:
    out = io.StringIO()
    print_results(
        route.run().reconciliation,
        Console(file=out, width=width, highlight=False, emoji=False, force_terminal=False),
        every=every,
    )
    return out.getvalue()


def test_text_says_what_it_leaves_out(route: RouteBuilder) -> None:
    labels = [f"A{at}" for at in range(12)]
    route.machine("m-1", *(slot(label) for label in labels))
    route.counts(*(f"09-{day} 09:00, {label}, {count}" for day, count in (("01", 9), ("08", 7)) for label in labels))
    short = text_of(route)
    assert sum(short.count(f"m-1 {label}:") for label in labels) == 5
    assert "7 more" in short
    assert sum(text_of(route, every=True).count(f"m-1 {label}:") for label in labels) == 12


def test_notes_are_counted_and_shown_when_asked_for(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 9", "09-08 09:00, A1, ", "09-15 09:00, A1, 9")
    assert "m-1 A1: left blank" not in text_of(route)
    assert "1 not-counted" in text_of(route)
    assert "m-1 A1: left blank" in text_of(route, every=True)


def test_every_finding_printed_has_its_id(troubled: RouteBuilder) -> None:
    folded = " ".join(text_of(troubled, every=True).split())
    for finding in troubled.run().results.findings:
        assert f"[{finding.id}]" in folded


@pytest.mark.parametrize("width", [40, 80, 200])
def test_text_keeps_to_the_width(troubled: RouteBuilder, width: int) -> None:
    table = re.compile(r"^(machine |m-1 )")
    lines = [line.rstrip() for line in text_of(troubled, width=width, every=True).splitlines()]
    assert max(len(line) for line in lines if width >= 80 or not table.match(line)) <= width


def test_a_label_is_no_markup(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("[red]A"))
    assert "m-1 [red]A: short 2" in text_of(route.counts("09-01 09:00, [red]A, 9", "09-08 09:00, [red]A, 7"))


def test_a_report_is_written_whole_or_not_at_all(troubled: RouteBuilder, monkeypatch: pytest.MonkeyPatch) -> None:
    done = troubled.run().reconciliation
    real = folder_module._put

    def full(path: Path, data: bytes) -> None:
        if path.name == "second.txt":
            raise OSError(28, "No space left on device", str(path))
        real(path, data)

    files = [("first.txt", "1"), ("pages/second.txt", b"2")]
    monkeypatch.setattr(folder_module, "_put", full)
    with pytest.raises(Exception, match="No space left"):
        write_report(troubled.root, done, files)
    assert list((troubled.root / "reports").iterdir()) == []
    monkeypatch.undo()
    # A run that was killed at this very second left this.
    (troubled.root / "reports" / ".part-2026-12-01-080000").mkdir()
    (troubled.root / "reports" / ".part-2026-12-01-080000" / "old.txt").write_text("0")
    folder = write_report(troubled.root, done, files).folder
    assert sorted(path.name for path in folder.rglob("*.txt")) == ["first.txt", "second.txt"]
    # The moment of the run in the route's zone: noon UTC on the first of December is eight in Halifax.
    assert folder.name == "2026-12-01-080000"
