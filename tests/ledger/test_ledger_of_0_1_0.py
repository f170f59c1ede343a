"""A ledger, reports and bundles that recon 0.1.0 wrote: they are read, verified, traced, packed and continued.

tests/data/ledger-0.1.0/make.py says how they were made.
"""

import json
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

import recon
from recon.cli.main import app
from recon.deciding import Asked, decide
from recon.ledger.history import History, history_in
from recon.ledger.journal import reading
from recon.ledger.verify import Verified, verify_ledger
from recon.recorded import run_and_record

DATA = Path(__file__).resolve().parents[1] / "data" / "ledger-0.1.0"
LAST = datetime(2026, 10, 5, 19, tzinfo=UTC)
"""The moment of the last run of 0.1.0."""
NEXT = datetime(2026, 10, 12, 19, tzinfo=UTC)
TRACES = {"slot": "lobby-1/102", "collection": "lobby-2@2026-09-21"}
BUNDLES = ("bundle.zip", "bundle-slot.zip")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A copy of the route folder as 0.1.0 left it."""
    return shutil.copytree(DATA / "route", tmp_path / "route")


def command(*words: str, moment: datetime = LAST) -> Result:
    """Run a command in this process."""
    return CliRunner(env={"SOURCE_DATE_EPOCH": str(int(moment.timestamp()))}).invoke(app, list(words))


def whole(root: Path) -> Verified:
    """Verify a ledger that has to be whole."""
    found = verify_ledger(root)
    assert found.failure is None
    return found


def continued(root: Path) -> Path:
    """Add the files of the fifth week to the inbox."""
    for path in (DATA / "next").iterdir():
        shutil.copy(path, root / "inbox")
    return root


def from_nothing(root: Path, fresh: Path, moment: datetime) -> str:
    """The results of the same folder without ledger and reports, with the decisions that were made."""
    shutil.copytree(root, fresh, ignore=shutil.ignore_patterns("ledger", "reports"))
    return recon.run(fresh, now=moment, history=History(history_in(root).decisions)).json()


def newest(root: Path) -> str:
    """The results of the newest report."""
    return max((root / "reports").glob("*/results.json")).read_text(encoding="utf-8")


def carried(root: Path) -> list[Path]:
    return sorted((root / "ledger/carried").iterdir())


def carried_deleted(root: Path) -> None:
    shutil.rmtree(root / "ledger/carried")


def carried_altered(root: Path) -> None:
    for path in carried(root):
        path.write_bytes(b"other" + path.read_bytes())


def nothing(root: Path) -> None:
    pass


def test_it_holds_what_0_1_0_kept(old: Path) -> None:
    """Without carried files, a refused file, a count put right and decisions, the tests below would show little."""
    assert len(carried(old)) == 1
    with reading(old) as ledger:
        kinds = {entry.kind for entry in ledger.entries()}
        runs = ledger.entries("run-made")
    assert {"file-taken", "file-refused", "layout-seen", "settings-seen", "count-restated", "decision-made"} < kinds
    assert len(runs) == 4
    assert {run.body["versions"]["recon"] for run in runs} == {"0.1.0"}
    assert all(run.body["carried"] for run in runs)


@pytest.mark.parametrize("disturb", [nothing, carried_deleted, carried_altered])
def test_it_is_verified(old: Path, disturb: Any) -> None:
    disturb(old)
    found = whole(old)
    assert (found.entries, found.reports) == (34, 4)
    assert found.tables == len(list((old / "ledger/tables").rglob("*.parquet")))
    assert found.originals == len([path for path in (old / "ledger/originals").rglob("*") if path.is_file()])
    assert command("verify", str(old)).exit_code == 0


@pytest.mark.parametrize("folder", ["originals", "tables"])
def test_its_kept_files_are_still_checked(old: Path, folder: str) -> None:
    whole(continued(old))
    run_and_record(old, now=NEXT)
    path = min(path for path in (DATA / "route/ledger" / folder).rglob("*") if path.is_file())
    kept = old / path.relative_to(DATA / "route")
    kept.chmod(0o600)
    kept.write_bytes(kept.read_bytes()[:-1] + b"?")
    failure = verify_ledger(old).failure
    assert failure is not None
    assert kept.name in failure


@pytest.mark.parametrize("bundle", BUNDLES)
def test_its_bundles_are_verified(bundle: str, tmp_path: Path) -> None:
    assert command("verify", str(DATA / bundle)).exit_code == 0
    with zipfile.ZipFile(DATA / bundle) as archive:
        archive.extractall(tmp_path)
    alone = [sys.executable, "-I", "-S", "verify.py"]
    done = subprocess.run(alone, cwd=tmp_path, env={}, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "all of it holds" in done.stdout


@pytest.mark.parametrize("name", TRACES)
def test_it_is_traced_as_before(old: Path, name: str) -> None:
    done = command("trace", str(old), TRACES[name], "--format", "json")
    assert done.exit_code == 0, done.output
    assert done.stdout == (DATA / f"traces/{name}.json").read_text(encoding="utf-8")


def test_it_is_packed_before_any_run(old: Path, tmp_path: Path) -> None:
    made = {"bundle.zip": (), "bundle-slot.zip": ("lobby-1/102", "--rows-only")}
    for bundle, words in made.items():
        path = tmp_path / bundle
        done = command("pack", str(old), *words, "-q", "-o", str(path))
        assert done.exit_code == 0, done.output
        assert command("verify", str(path)).exit_code == 0
        # The cover, the verifier and the sums over them may change with the version; what entries prove may not.
        with zipfile.ZipFile(path) as ours, zipfile.ZipFile(DATA / bundle) as theirs:
            proved = [name for name in theirs.namelist() if name.startswith(("entries/", "inbox/", "settings/", "res"))]
            assert len(proved) > 20
            assert set(ours.namelist()) == set(theirs.namelist())
            assert [name for name in proved if ours.read(name) != theirs.read(name)] == []


@pytest.mark.parametrize("page", [False, True])
@pytest.mark.parametrize("disturb", [nothing, carried_deleted, carried_altered])
def test_a_run_gives_what_a_run_from_nothing_gives(old: Path, tmp_path: Path, disturb: Any, page: bool) -> None:
    root = verify_ledger(old).root
    disturb(old)
    made = run_and_record(continued(old), now=NEXT, page=page)
    assert newest(old) == made.run.json() == from_nothing(old, tmp_path / "fresh", NEXT)
    found = whole(old)
    assert found.reports == 5
    assert verify_ledger(old, printed=root, printed_entries=34).failure is None
    with reading(old) as ledger:
        assert {entry.body["file"] for entry in ledger.entries("file-taken") if entry.number > 34} >= {
            f"inbox/{path.name}" for path in (DATA / "next").iterdir()
        }


@pytest.mark.parametrize("page", [False, True])
def test_a_run_of_nothing_new_gives_the_results_of_before(old: Path, page: bool) -> None:
    assert run_and_record(old, now=LAST, page=page).run.json() == newest(DATA / "route")
    whole(old)


def test_runs_go_on_week_after_week(old: Path, tmp_path: Path) -> None:
    continued(old)
    run_and_record(old, now=NEXT)
    late = "machine,time,label,counted,loaded\nlobby-2,2026-09-14 09:00,103,7,5\n"
    (old / "inbox/counts-late.csv").write_text(late)
    for page in (False, True):
        made = run_and_record(old, now=NEXT, page=page)
        assert made.run.json() == from_nothing(old, tmp_path / f"fresh-{page}", NEXT)
    assert "count-restated" in newest(old)
    whole(old)


@pytest.mark.parametrize("page", [False, True])
def test_a_figure_that_0_1_0_kept_wrongly_is_corrected(tmp_path: Path, page: bool) -> None:
    root = shutil.copytree(DATA / "late", tmp_path / "late")
    assert [window["variance"] for window in json.loads(newest(root))["stock"]] == [-1, 0]
    made = run_and_record(root, now=LAST, page=page)
    assert [window["variance"] for window in json.loads(newest(root))["stock"]] == [0, 0]
    assert newest(root) == made.run.json() == from_nothing(root, tmp_path / "fresh", LAST)
    whole(root)


def test_a_file_of_before_that_changed_or_went_is_reported(old: Path) -> None:
    path = old / "inbox/vends-1.csv"
    path.write_text(path.read_text().replace(",1.50,", ",1.75,", 1))
    (old / "inbox/cash-3.csv").unlink()
    told = json.loads(run_and_record(old, now=NEXT).run.json())["findings"]
    changed = [one for one in told if one["kind"] in ("file-changed", "file-gone")]
    assert {one["kind"] for one in changed} == {"file-changed", "file-gone"}
    assert ["inbox/vends-1.csv" in json.dumps(one) for one in changed].count(True) == 1


def test_its_decisions_stand_and_others_follow(old: Path) -> None:
    findings = {one["id"]: one for one in json.loads(newest(old))["findings"]}
    decided = {decision.body["finding"] for decision in history_in(old).decisions}
    [accepted] = [one for one in decided if one in findings]
    decide(old, accepted, Asked("reopen", "Ben", "one was found again"), now=LAST)
    short = next(one["id"] for one in findings.values() if one["kind"] == "stock-short" and one["id"] not in decided)
    done = command("decide", str(old), short, "write-off", "--by", "Ben", "--why", "burst")
    assert done.exit_code == 0, done.output
    whole(old)
    run_and_record(old, now=NEXT)
    states = {decision.body["finding"]: decision.body["state"] for decision in history_in(old).decisions}
    assert (states[accepted], states[short]) == ("open", "written-off")


def test_it_is_packed_after_a_run(old: Path, tmp_path: Path) -> None:
    run_and_record(continued(old), now=NEXT)
    for words in ((), ("lobby-1/102", "--rows-only"), ("lobby-2",)):
        path = tmp_path / f"{len(words)}{''.join(words[:1]).replace('/', '-')}.zip"
        done = command("pack", str(old), *words, "-q", "-o", str(path), moment=NEXT)
        assert done.exit_code == 0, done.output
        assert command("verify", str(path)).exit_code == 0
