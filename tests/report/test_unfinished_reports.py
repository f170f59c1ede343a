"""What a killed run leaves of a report is gone after the next."""

import os
from pathlib import Path

import pytest
from builders import NOW, RouteBuilder

from recon.report.folder import Hashed, write_report


def test_half_a_report_is_cleared_away_whenever_its_run_was(route: RouteBuilder) -> None:
    done = route.counts("09-01 09:00, A1, 10").run(now=NOW).reconciliation
    half = route.root / "reports/.part-2026-01-01-000000/machines"
    half.mkdir(parents=True)
    (half / "page.html").write_text("half")
    kept = route.root / "reports/2026-01-01-000000"
    kept.mkdir()
    made = write_report(route.root, done, [("results.json", "{}")])
    assert sorted((route.root / "reports").iterdir()) == [kept, made.folder]


def test_a_report_is_on_the_disk_before_it_is_shown(route: RouteBuilder, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every file and folder of it is made lasting under its unfinished name, and then the name itself."""
    done = route.counts("09-01 09:00, A1, 10").run(now=NOW).reconciliation
    lasting: list[int] = []
    shown: list[list[int]] = []
    sync, rename = os.fsync, Path.rename
    monkeypatch.setattr(os, "fsync", lambda file: (lasting.append(os.fstat(file).st_ino), sync(file))[1])
    monkeypatch.setattr(Path, "rename", lambda path, to: (shown.append(list(lasting)), rename(path, to))[1])
    pieces = Hashed(iter([b"one\n", b"two\n"]))
    made = write_report(route.root, done, [("results.json", pieces), ("machines/m-1.html", "page"), ("a.csv", b"x")])
    every = {path.stat().st_ino for path in [made.folder, *made.folder.rglob("*")]}
    assert len(every) == 6
    assert every <= set(shown[0])
    assert lasting[-1] == (route.root / "reports").stat().st_ino
