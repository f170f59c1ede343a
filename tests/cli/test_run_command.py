"""`recon run` as a person or a script meets it: a real process, its streams, files and exit codes."""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from builders import RouteBuilder, slot

TOP = Path(__file__).resolve().parents[2]
MOMENT = "1790700000"
"""2026-09-29 16:40 UTC: fixes the moment of the run, and with it every byte of the output."""


def recon(
    *words: str | Path, cwd: Path | None = None, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own, as in a pipe and without colour."""
    own = {"SOURCE_DATE_EPOCH": MOMENT, "PYTHONPATH": str(TOP)}
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("COV_", "COVERAGE"))}
    return subprocess.run(
        [sys.executable, "-m", "recon", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        env=clean | own | environment,
    )


def in_order(root: Path) -> RouteBuilder:
    """A route in which everything agrees."""
    route = RouteBuilder(root).machine("m-1", slot("A1"))
    return route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 9").vends("09-03 12:00, A1, card, 2.00")


def listing(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file()
    }


def one_sentence(done: subprocess.CompletedProcess[str]) -> None:
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert done.stderr.strip()


def test_exit_0_where_all_agrees_and_the_report_is_written(tmp_path: Path) -> None:
    in_order(tmp_path)
    before = listing(tmp_path)
    done = recon("run", tmp_path)
    assert (done.returncode, "Traceback" in done.stderr) == (0, False)
    after = listing(tmp_path)
    assert {name: after[name] for name in before} == before
    written = sorted(set(after) - set(before))
    kept = [name for name in written if name.startswith("ledger/originals/")]
    inbox = {hashlib.sha256(text).hexdigest() for name, text in before.items() if name.startswith("inbox/")}
    [settings] = {Path(name).name for name in kept} - inbox
    assert {Path(name).name for name in kept} == inbox | {settings}
    packed = (tmp_path / f"ledger/originals/{settings[:2]}/{settings}").read_bytes()
    assert all(text in packed for name, text in before.items() if not name.startswith("inbox/"))
    cached = [name for name in written if name.startswith("ledger/cache/")]
    kinds = {name.rpartition("-")[2] for name in cached}
    assert kinds == {"vends.parquet", "counts.parquet", "ledger/cache/index.json"}
    assert [name for name in written if name not in (*kept, *cached)] == [
        "ledger/journal.sqlite",
        "ledger/lock",
        "reports/2026-09-29-164000/SHA256SUMS",
        "reports/2026-09-29-164000/ledger.json",
        "reports/2026-09-29-164000/rejects.csv",
        "reports/2026-09-29-164000/report.html",
        "reports/2026-09-29-164000/results.json",
    ]
    assert "results.json" in done.stderr
    assert "results.json" not in done.stdout


def test_the_folder_may_be_this_one_and_json_is_all_that_stands_on_stdout(tmp_path: Path) -> None:
    in_order(tmp_path).file("inbox/notes.csv", "a,b\n1,2\n")
    done = recon("run", "--format", "json", cwd=tmp_path)
    printed = json.loads(done.stdout)
    assert printed["format"] == "recon-results/1"
    assert done.stdout == (tmp_path / "reports/2026-09-29-164000/results.json").read_text(encoding="utf-8")
    assert done.stderr.strip()
    assert recon("run", "--format", "json", "--quiet", cwd=tmp_path).stderr == ""


def test_exit_1_by_the_severity_that_fails(tmp_path: Path) -> None:
    """A note alone (a price that was filled) fails under --fail-on note only."""
    in_order(tmp_path).vends("09-03 13:00, A1, card").counts("09-15 09:00, A1, 8")
    (tmp_path / "inbox/counts.csv").write_text(
        (tmp_path / "inbox/counts.csv").read_text().replace("09:00,A1,9", "09:00,A1,8")
    )
    assert recon("run", tmp_path, "--fail-on", "warning").returncode == 0
    assert recon("run", tmp_path, "--fail-on", "note").returncode == 1


def test_exit_1_for_an_error_and_only_one_for_each_run(tmp_path: Path) -> None:
    in_order(tmp_path).counts("09-15 09:00, A1, 2")
    assert recon("run", tmp_path).returncode == 1
    first = listing(tmp_path / "reports")
    assert recon("run", tmp_path).returncode == 1
    again = listing(tmp_path / "reports")
    assert {name: again[name] for name in first} == first
    assert {name.partition("/")[0] for name in again} == {"2026-09-29-164000", "2026-09-29-164000-2"}
    assert again["2026-09-29-164000/results.json"] == again["2026-09-29-164000-2/results.json"]


def test_dry_run_writes_nothing(tmp_path: Path) -> None:
    in_order(tmp_path)
    before = listing(tmp_path)
    done = recon("run", tmp_path, "--dry-run")
    assert done.returncode == 0
    assert done.stdout
    assert listing(tmp_path) == before
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize("words", [("run", "nowhere"), ("run", "route", "--fail")])
def test_exit_2_for_a_command_that_cannot_be_carried_out(tmp_path: Path, words: tuple[str, ...]) -> None:
    in_order(tmp_path / "route")
    done = recon(*words, cwd=tmp_path)
    assert done.returncode == 2
    one_sentence(done)
    assert not (tmp_path / "route/reports").exists()


def test_exit_2_where_a_file_could_not_be_used_though_the_rest_was(tmp_path: Path) -> None:
    in_order(tmp_path).file("inbox/photo.csv", b"\x89PNG\0")
    done = recon("run", tmp_path, "--format", "json")
    assert done.returncode == 2
    assert [finding["kind"] for finding in json.loads(done.stdout)["findings"]] == ["unreadable-file"]
    assert len(json.loads(done.stdout)["stock"]) == 1


def test_a_moment_that_is_none_is_refused(tmp_path: Path) -> None:
    in_order(tmp_path)
    done = recon("run", tmp_path, SOURCE_DATE_EPOCH="soon")
    assert done.returncode == 2
    one_sentence(done)


def stopped_by(tmp_path: Path, what: str) -> subprocess.CompletedProcess[str]:
    """The command with its engine replaced by one statement."""
    code = (
        f"import os, signal, sys, recon.reconcile\ndef stop(*a, **k):\n    {what}\n"
        "recon.reconcile.run = stop\n"
        "sys.argv = ['recon', 'run', sys.argv[1]]\nfrom recon.cli.main import main\nmain()\n"
    )
    own = {**os.environ, "PYTHONPATH": str(TOP), "TMPDIR": str(tmp_path / "tmp")}
    (tmp_path / "tmp").mkdir()
    return subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "route")],
        capture_output=True,
        text=True,
        check=False,
        env=own,
    )


def test_exit_4_for_a_fault_of_its_own_with_a_report_to_send(tmp_path: Path) -> None:
    in_order(tmp_path / "route")
    done = stopped_by(tmp_path, "raise ZeroDivisionError('made up')")
    assert done.returncode == 4
    one_sentence(done)
    report = next((tmp_path / "tmp").glob("recon-fault-*.txt"))
    assert report.name in done.stderr
    assert "ZeroDivisionError: made up" in report.read_text()


def test_exit_130_on_interrupt(tmp_path: Path) -> None:
    in_order(tmp_path / "route")
    done = stopped_by(tmp_path, "os.kill(os.getpid(), signal.SIGINT)")
    assert done.returncode == 130
    one_sentence(done)
    assert not (tmp_path / "route/reports").exists()


def test_a_reader_that_leaves_the_pipe_is_no_fault(tmp_path: Path) -> None:
    in_order(tmp_path)
    command = f'"{sys.executable}" -m recon run "{tmp_path}" --format json --quiet | true'
    done = subprocess.run(
        ["bash", "-c", f"{command}; echo ${{PIPESTATUS[0]}}"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )
    assert (done.stdout.strip(), done.stderr) == ("0", "")


def test_help_is_quick_for_it_loads_no_tables() -> None:
    code = (
        "import sys\nfrom recon.cli.main import app\n"
        "try:\n    app(['--help'])\nexcept SystemExit as stop:\n    assert not stop.code\n"
        "loaded = {name.partition('.')[0] for name in sys.modules}\n"
        "print(sorted(loaded & {'polars', 'pandera', 'pydantic', 'pandas', 'numpy'}), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )
    assert (done.returncode, done.stderr.strip()) == (0, "[]")
    for command in ("run", "check", "draft", "demo"):
        assert command in done.stdout


def test_version_names_what_the_figures_hang_on() -> None:
    done = recon("--version")
    assert done.returncode == 0
    assert {"recon", "polars", "tzdata"} <= set(done.stdout.replace("(", " ").split())


def test_text_holds_to_no_colour_and_to_the_pipe(tmp_path: Path) -> None:
    in_order(tmp_path).counts("09-15 09:00, A1, 2")
    asked = {"plain": {}, "coloured": {"FORCE_COLOR": "1"}, "grey": {"FORCE_COLOR": "1", "NO_COLOR": "1"}}
    printed = {name: recon("run", tmp_path, "--dry-run", **wish).stdout for name, wish in asked.items()}
    colours = re.compile(r"\x1b\[(\d+;)*(3[0-8]|9[0-7])[;m]")
    assert {name for name, text in printed.items() if colours.search(text)} == {"coloured"}
    assert "\x1b" not in printed["plain"]
    assert all("stock-short" in text for text in printed.values())


@pytest.mark.parametrize("folder", ["reports", "reports/2026-09-29-164000"])
def test_a_report_that_cannot_be_written_leaves_nothing_half_done(tmp_path: Path, folder: str) -> None:
    """A file stands where the folder should be."""
    in_order(tmp_path).file(folder, "mine")
    done = recon("run", tmp_path)
    if folder == "reports":
        assert done.returncode == 2
        one_sentence(done)
        assert (tmp_path / "reports").read_text() == "mine"
    else:
        assert done.returncode == 0
        assert (tmp_path / "reports/2026-09-29-164000-2/results.json").is_file()
        assert (tmp_path / folder).read_text() == "mine"


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="permissions do not bind the superuser"
)
def test_a_read_only_folder(tmp_path: Path) -> None:
    in_order(tmp_path)
    tmp_path.chmod(0o500)
    try:
        done = recon("run", tmp_path)
        assert done.returncode == 2
        one_sentence(done)
        assert recon("run", tmp_path, "--dry-run").returncode == 0
    finally:
        tmp_path.chmod(0o700)


def test_bytes_are_the_same_wherever_and_however_it_runs(tmp_path: Path) -> None:
    """Another zone of the computer, hash order, folder, engine of polars, locale and order of files on
    disk."""
    sample = TOP / "samples" / "bayside"
    plain = recon("run", sample, "--dry-run", "--format", "json", "--quiet")
    assert len(plain.stdout) > 50_000
    copy = tmp_path / "elsewhere"
    for path in sorted((path for path in sample.rglob("*") if path.is_file()), reverse=True):
        target = copy / path.relative_to(sample)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    other = {
        "TZ": "Pacific/Auckland",
        "PYTHONHASHSEED": "4321",
        "POLARS_ENGINE_AFFINITY": "in-memory",
        "LC_ALL": "C",
        "POLARS_MAX_THREADS": "1",
    }
    again = recon("run", "--dry-run", "--format", "json", "--quiet", cwd=copy, **other)
    assert again.stdout == plain.stdout
    assert again.returncode == plain.returncode
