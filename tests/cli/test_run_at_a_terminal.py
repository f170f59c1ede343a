"""`recon run` where a person looks at it: the drawing, the bar, the hints; and the files that --tables adds."""

import os
import pty
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from test_run_command import TOP, listing, one_sentence, recon

from recon.cli.progress import Progress

REPORT = "reports/2026-09-29-164000"


def short(root: Path) -> RouteBuilder:
    """A route that is short of two units."""
    route = RouteBuilder(root).machine("m-1", slot("A1"))
    return route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8")


def at_terminal(*words: str | Path, **environment: str) -> str:
    """What a person sees on stdout at a terminal of 80 columns."""
    leader, follower = pty.openpty()
    known = {name: text for name, text in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR", "CI")}
    own = {"PYTHONPATH": str(TOP), "TERM": "xterm", "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", **environment}
    command = [sys.executable, "-m", "recon", *map(str, words)]
    started = subprocess.Popen(command, stdout=follower, stderr=subprocess.DEVNULL, env=known | own)
    os.close(follower)
    seen = b""
    while True:
        try:
            part = os.read(leader, 65536)
        except OSError:
            break
        if not part:
            break
        seen += part
    os.close(leader)
    started.wait()
    return re.sub(r"\x1b\[[0-9;]*m", "", seen.decode()).replace("\r\n", "\n")


def test_the_machine_is_drawn_at_a_terminal_and_in_no_pipe(tmp_path: Path) -> None:
    short(tmp_path)
    run = ("run", tmp_path, "--dry-run", "--quiet")
    assert "│ ▼-2 │" in at_terminal(*run)
    assert "│" not in at_terminal(*run, "--no-draw")
    for plain in ({"NO_COLOR": "1"}, {"TERM": "dumb"}, {"PYTHONIOENCODING": "ascii:replace"}):
        assert "| v-2 |" in at_terminal(*run, **plain), plain
    assert "as laid out" not in recon(*run).stdout
    assert "| v-2 |" in recon(*run, "--draw").stdout


def test_the_hints_can_be_typed_as_they_stand(tmp_path: Path) -> None:
    route = tmp_path / "my route"
    short(route)
    done = recon("run", route)
    hints = [line.partition(": recon ")[2] for line in done.stderr.split("\n") if ": recon " in line]
    check, trace, decide = (shlex.split(hint) for hint in hints)
    assert [hint[0] for hint in (check, trace, decide)] == ["check", "trace", "decide"]
    assert recon(*check).returncode == 0
    assert "short 2" in recon(*trace).stdout
    assert recon(*decide).returncode == 0
    assert f"report: {route.as_posix()}/{REPORT}/report.html" in done.stderr
    after = recon("run", route)
    assert "recon decide" not in after.stderr, "nothing is open any more"
    assert recon("run", route, "--quiet").stderr == ""


def test_tables_adds_the_workbook_and_its_tables_and_nothing_else_changes(tmp_path: Path) -> None:
    for name in ("plain", "full", "again"):
        short(tmp_path / name)
    recon("run", tmp_path / "plain")
    done = recon("run", tmp_path / "full", "--tables", PYTHONHASHSEED="1")
    recon("run", tmp_path / "again", "--tables", PYTHONHASHSEED="77", TZ="Asia/Tokyo")
    plain, full, again = (listing(tmp_path / name / REPORT) for name in ("plain", "full", "again"))
    added = set(full) - set(plain)
    names = ("findings", "stock", "cash", "payouts", "machines", "decisions", "inputs", "rejects", "money", "plan")
    assert added == {"report.xlsx", *(f"tables/{name}.{form}" for name in names for form in ("csv", "parquet"))}
    # The sums name every file of the report, so theirs is the one file that grows: by lines, and by no other change.
    sums, longer = (set(files.pop("SHA256SUMS").splitlines()) for files in (plain, full))
    assert {line.decode().split("  ")[1] for line in longer - sums} == added
    assert sums < longer
    assert {name: full[name] for name in plain} == plain
    assert full == {name: body for name, body in again.items() if name != "SHA256SUMS"}
    assert longer == set(again["SHA256SUMS"].splitlines())
    assert f"workbook: {(tmp_path / 'full' / REPORT).as_posix()}/report.xlsx" in done.stderr
    assert recon("verify", tmp_path / "full").returncode == 0


def test_tables_of_a_run_that_writes_nothing_are_refused(tmp_path: Path) -> None:
    short(tmp_path)
    done = recon("run", tmp_path, "--tables", "--dry-run")
    assert done.returncode == 2
    one_sentence(done)
    assert "--dry-run" in done.stderr


def test_the_bar_counts_the_files_of_the_inbox(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for number in range(4):
        (tmp_path / f"{number}.csv").write_text("x")
    monkeypatch.setattr("recon.cli.progress.PATIENCE", 0.0)
    with Progress(quiet=False, inbox=tmp_path) as progress:
        progress.shown = True
        progress.step("reading the route folder")
        for number in (0, 1, 2, 3, 3):
            progress.step(f"reading inbox/{number}\x1b[2J.csv")
    told = re.split(r"\r\x1b\[K", capsys.readouterr().err)
    assert told == [
        "",
        "reading the route folder",
        "[#####...............] 1/4 reading inbox/0?[2J.csv",
        "[##########..........] 2/4 reading inbox/1?[2J.csv",
        "[###############.....] 3/4 reading inbox/2?[2J.csv",
        "[####################] 4/4 reading inbox/3?[2J.csv",
        "[####################] 5/5 reading inbox/3?[2J.csv",
        "",
    ]
