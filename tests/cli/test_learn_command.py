"""`recon learn` as a person meets it: a real process, its text at 80 columns, its JSON and exit codes."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from builders import RouteBuilder, slot

TOP = Path(__file__).resolve().parents[2]
LABELS = [f"{row}{column}" for row in (11, 12, 13) for column in range(10)]
COLUMNS = "time,bus,tender,price"


def learn(*words: str | Path) -> subprocess.CompletedProcess[str]:
    environment = {"SOURCE_DATE_EPOCH": "1790700000", "PYTHONPATH": str(TOP), "NO_COLOR": "1"}
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("COV_", "COVERAGE"))}
    return subprocess.run(
        [sys.executable, "-m", "recon", "learn", *map(str, words)],
        capture_output=True, text=True, check=False, env=clean | environment,
    )  # fmt: skip


def told(root: Path, machine: str = "quay-9") -> dict[str, Any]:
    done = learn(root, machine, "--format", "json")
    assert "Traceback" not in done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found | {"exit": done.returncode}


def evening(root: Path, *tests: str, log: list[str] | None = None) -> RouteBuilder:
    """A machine of thirty slots by hexadecimal label; 139 and 115 are in the log, with a customer between."""
    vends = ["09-02 17:00:20, 313, cash, 2.00", "09-02 17:03:10, 294, card, 2.00", "09-02 17:06:05, 277, cash, 2.00"]
    route = RouteBuilder(root).machine("quay-9", *(slot(label) for label in LABELS))
    route.vends(*(vends if log is None else log), columns=COLUMNS)
    return route.tests(*tests) if tests else route


BOTH = ("139, 09-02 17:00", "115, 09-02 17:06")


def test_certain_is_exit_0_and_every_number_is_told(tmp_path: Path) -> None:
    evening(tmp_path, *BOTH)
    found = told(tmp_path)
    assert (found["exit"], found["certain"], found["rule"]) == (0, True, "hex-label")
    assert found["numbers"] == [{"label": label, "bus": int(label, 16)} for label in LABELS]
    assert found["pairs"] == [
        {"label": "139", "bus": 313, "file": "inbox/vends.csv", "row": 2},
        {"label": "115", "bus": 277, "file": "inbox/vends.csv", "row": 4},
    ]
    assert found["next_test"] is None
    assert found["undecided"] == []
    assert abs(found["clock_offset_seconds"]) < 60


def test_not_yet_certain_is_exit_1_with_the_next_test(tmp_path: Path) -> None:
    evening(tmp_path, *BOTH[:1])
    found = told(tmp_path)
    assert (found["exit"], found["certain"]) == (1, False)
    assert found["next_test"]["label"] in LABELS
    assert {test["state"] for test in found["tests"]} <= {"found", "ambiguous", "missing"}
    assert len(found["undecided"]) >= 29


def test_before_any_test_the_first_is_named(tmp_path: Path) -> None:
    evening(tmp_path)
    found = told(tmp_path)
    assert (found["exit"], found["next_test"]["reason"], found["tests"]) == (1, "first", [])
    expected = {each["rule"]: each["bus"] for each in found["next_test"]["predictions"]}
    label = found["next_test"]["label"]
    assert expected["same"] == int(label)
    assert expected["hex-label"] == int(label, 16)
    assert expected["zero-based"] == int(label) - 1
    assert (2, 3) <= (found["next_test"]["expected"], found["next_test"]["worst"]) <= (3, 3)


MISSED = (BOTH[0], "125, 09-02 17:03", BOTH[1])


@pytest.mark.parametrize("tests", [(), BOTH[:1], BOTH, ("139", "115"), MISSED])
def test_the_text_keeps_to_80_columns_and_says_what_the_json_says(tmp_path: Path, tests: tuple[str, ...]) -> None:
    evening(tmp_path, *tests)
    done, found = learn(tmp_path, "quay-9"), told(tmp_path)
    assert done.returncode == found["exit"]
    assert max(len(line) for line in done.stdout.splitlines()) < 80
    assert not any(line != line.rstrip() for line in done.stdout.splitlines())
    assert ("is certain" in done.stdout) == found["certain"]
    for test in found["tests"]:
        if test["state"] == "found":
            assert f"{test['vend']['file']}:{test['vend']['row']}" in done.stdout
    if found["next_test"] is not None:
        assert f"vend {found['next_test']['label']}" in " ".join(done.stdout.split())
        assert "No hands in a machine that has power" in " ".join(done.stdout.split())


def test_exceptions_are_told_and_asked_for_again(tmp_path: Path) -> None:
    log = [f"09-02 17:{3 * at:02}:20, {bus}, test, 2.00" for at, bus in enumerate([313, 280, 293, 290, 291])]
    tests = [f"{label}, 09-02 17:{3 * at:02}" for at, label in enumerate(["139", "118", "125", "122", "132"])]
    evening(tmp_path, *tests, log=log)
    found = told(tmp_path)
    assert (found["exit"], found["rule"], found["exceptions"]) == (1, "hex-label", ["132"])
    assert (found["next_test"]["label"], found["next_test"]["reason"]) == ("132", "again")
    assert "not 132" in learn(tmp_path, "quay-9").stdout


def test_a_machine_without_layout_is_learned_from_its_tests_alone(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path)
    route.vends("09-02 17:00:20, 313, cash, 2.00", "09-02 17:06:05, 277, cash, 2.00", columns=COLUMNS, machine="quay-7")
    route.tests(*BOTH, machine="quay-7")
    found = told(tmp_path, "quay-7")
    assert found["numbers"] == [{"label": "115", "bus": 277}, {"label": "139", "bus": 313}]
    assert (found["exit"], found["rule"]) == (0, "hex-label")


def test_an_unknown_machine_is_exit_2_and_the_nearest_named(tmp_path: Path) -> None:
    evening(tmp_path, *BOTH)
    done = learn(tmp_path, "quay-8")
    assert (done.returncode, done.stdout) == (2, "")
    assert '"quay-9"' in done.stderr
    assert "Traceback" not in done.stderr


def test_no_route_and_no_arguments_are_exit_2(tmp_path: Path) -> None:
    assert learn(tmp_path / "none", "quay-9").returncode == 2
    assert learn(tmp_path).returncode == 2


def test_nothing_is_written(tmp_path: Path) -> None:
    evening(tmp_path, *BOTH)
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    learn(tmp_path, "quay-9")
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_help_loads_no_table_library() -> None:
    code = "import sys, recon.cli.learn; sys.exit('polars' in sys.modules or 'pandera' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False, cwd=TOP).returncode == 0
