"""What a killed run leaves of a report is gone after the next."""

from builders import NOW, RouteBuilder

from recon.report.folder import write_report


def test_half_a_report_is_cleared_away_whenever_its_run_was(route: RouteBuilder) -> None:
    done = route.counts("09-01 09:00, A1, 10").run(now=NOW).reconciliation
    half = route.root / "reports/.part-2026-01-01-000000/machines"
    half.mkdir(parents=True)
    (half / "page.html").write_text("half")
    kept = route.root / "reports/2026-01-01-000000"
    kept.mkdir()
    made = write_report(route.root, done, [("results.json", "{}")])
    assert sorted((route.root / "reports").iterdir()) == [kept, made.folder]
