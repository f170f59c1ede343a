"""What a dispute looks at first: the page that was mailed, and a journal that is no longer there."""

import subprocess
from pathlib import Path

import pytest
from builders import NOW, RouteBuilder, slot

from recon.ledger.verify import verify_ledger
from recon.model.errors import ReconError
from recon.recorded import run_and_record


@pytest.fixture
def kept(tmp_path: Path) -> RouteBuilder:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7").vends("09-03 12:00, A1, cash, 2.00")
    return route


@pytest.mark.parametrize("name", ["report.html", "rejects.csv", "ledger.json", "SHA256SUMS"])
def test_every_file_of_a_report_is_held_against_its_entry(kept: RouteBuilder, name: str) -> None:
    report = run_and_record(kept.root, now=NOW).report
    assert verify_ledger(kept.root).failure is None
    data = bytearray((report / name).read_bytes())
    data[len(data) // 2] ^= 1
    (report / name).write_bytes(bytes(data))
    assert name in (verify_ledger(kept.root).failure or "")


def test_the_sums_are_as_sha256sum_has_them_and_all_is_for_the_owner_alone(kept: RouteBuilder) -> None:
    report = run_and_record(kept.root, now=NOW).report
    try:
        done = subprocess.run(["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=report, check=False)
    except FileNotFoundError:
        pytest.skip("the program sha256sum is not here")
    assert done.returncode == 0
    assert {oct(path.stat().st_mode & 0o777) for path in report.rglob("*") if path.is_file()} == {"0o600"}
    assert oct(report.stat().st_mode & 0o777) == "0o700"


@pytest.mark.parametrize("emptied", [True, False])
def test_a_lost_journal_is_not_begun_anew_without_a_word(kept: RouteBuilder, emptied: bool) -> None:
    run_and_record(kept.root, now=NOW)
    journal = kept.root / "ledger/journal.sqlite"
    if emptied:
        journal.write_bytes(b"")
    else:
        journal.unlink()
    with pytest.raises(ReconError, match="carries its root: put back"):
        run_and_record(kept.root, now=NOW)
