"""A slice of the kills of tests/endurance/kills.py, on a small route: at every kind of call that leaves something on
the disk."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from endurance.kills import Kill, carry_out
from endurance.route_states import State, faults_after, verify_in_process
from endurance.stopped import POINTS
from further_week import further_week

AT = {"fsync": 9, "os-open": 4, "open": 6, "write": 20, "replace": 3, "rename": 1, "mkdir": 2, "unlink": 2, "sql": 20}
"""Which call of each kind is killed."""


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> State:
    return further_week(tmp_path_factory.mktemp("kills"))


@pytest.mark.parametrize("point", POINTS)
def test_a_killed_run_leaves_all_whole(week: State, tmp_path: Path, point: str) -> None:
    folder = week.copy(tmp_path / "route")
    assert carry_out(Kill(week, point, AT[point], "kill"), folder), "the run has fewer calls of this kind"
    assert list(faults_after(week, folder, verify=verify_in_process)) == []


@pytest.mark.parametrize("point", ["sql", "rename", "replace"])
def test_a_kill_right_after_a_call_leaves_all_whole(week: State, tmp_path: Path, point: str) -> None:
    folder = week.copy(tmp_path / "route")
    assert carry_out(Kill(week, point, AT[point], "kill-after"), folder), "the run has fewer calls of this kind"
    assert list(faults_after(week, folder, verify=verify_in_process)) == []


def _spoil_inbox(root: Path) -> None:
    (root / "inbox/counts.csv").write_text("machine,time,label,counted\n")


def _spoil_report(root: Path) -> None:
    next(root.glob("reports/*/results.json")).write_text("{}")


def _spoil_root(root: Path) -> None:
    told = next(root.glob("reports/*/ledger.json"))
    told.write_text(json.dumps({**json.loads(told.read_text()), "root": "0" * 64}))


def _spoil_original(root: Path) -> None:
    kept = next(path for path in root.glob("ledger/originals/*/*"))
    kept.write_bytes(kept.read_bytes() + b" ")


@pytest.mark.parametrize("spoil", [_spoil_inbox, _spoil_report, _spoil_root, _spoil_original])
def test_the_trial_can_fail(week: State, tmp_path: Path, spoil: Callable[[Path], None]) -> None:
    """What it looks for is told where it is there."""
    folder = week.copy(tmp_path / "route")
    spoil(folder)
    assert list(faults_after(week, folder, verify=verify_in_process)) != []
