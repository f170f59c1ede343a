"""A bundle about a shortage shows what speaks for somebody, and its verifier says what it does not prove."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from builders import NOW, RouteBuilder, slot

from recon.packed import pack
from recon.recorded import run_and_record


@pytest.fixture
def unmapped(tmp_path: Path) -> RouteBuilder:
    """A1 is short by just as many units as were vended under a number that no slot has."""
    route = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1", bus=1), slot("A2", bus=2))
    route.counts("09-01 09:00, A1, 10", "09-01 09:00, A2, 10", "09-08 09:00, A1, 7", "09-08 09:00, A2, 10")
    rows = "".join(f"m-1,2026-09-0{day} 12:00,77,cash,2.00\n" for day in (2, 3, 4))
    route.file("inbox/log.csv", f"machine,time,bus,tender,price\n{rows}")
    run_and_record(route.root, now=NOW)
    return route


@pytest.mark.parametrize("rows_only", [False, True])
def test_vends_of_no_slot_are_in_the_bundle_of_a_short_slot(unmapped: RouteBuilder, rows_only: bool) -> None:
    found = run_and_record(unmapped.root, now=NOW).run.results.findings
    short = next(finding.id for finding in found if finding.kind == "stock-short")
    for target in ("m-1/A1", short):
        packed = pack(unmapped.root, target=target, rows_only=rows_only)
        assert b"number 77 vended 3 times" in packed.files["cover.html"]
        assert b"2026-09-03 12:00,77" in packed.files["inbox/log.csv"]


def test_the_verifier_says_what_no_entry_proves(unmapped: RouteBuilder, tmp_path: Path) -> None:
    packed = pack(unmapped.root, target="m-1/A1")
    for name, data in packed.files.items():
        path = tmp_path / "bundle" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    command = [sys.executable, "-I", "-S", "verify.py"]
    told = subprocess.run(command, cwd=tmp_path / "bundle", capture_output=True, text=True, check=True).stdout
    proved = re.search(r"(\d+) proved files", told)
    assert proved is not None
    beside = [name for name in packed.files if name.startswith(("inbox/", "settings/", "attachments/", "results"))]
    assert int(proved[1]) == len(beside)
    assert "cover.html, trace.* and rows/ are worked out" in told
    assert "no entry proves them" in packed.files["cover.html"].decode().replace("\n", " ")
