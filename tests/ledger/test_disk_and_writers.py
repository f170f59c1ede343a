"""Slices of the trials in tests/endurance with disks that refuse, and with several commands at once."""

import random
import subprocess
import sys
from pathlib import Path

import pytest
from endurance import disk, writers
from endurance.route_states import STOPPED, State, environment, mounts_allowed
from further_week import further_week


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> State:
    return further_week(tmp_path_factory.mktemp("disk"))


@pytest.mark.parametrize(
    ("point", "at", "then", "sentence"),
    [
        ("fsync", 2, "ENOSPC", "the disk is full"),
        ("os-open", 1, "EROFS", "the folder cannot be written to"),
        ("rename", 1, "ENOSPC", "the report cannot be written to"),
        ("sql", 20, "ENOSPC", "the disk is full"),
        ("replace", 1, "EIO", "reading or writing failed"),
    ],
)
def test_a_disk_that_refuses_is_told_in_a_sentence(
    week: State, tmp_path: Path, point: str, at: int, then: str, sentence: str
) -> None:
    folder = week.copy(tmp_path / "route")
    how = ["--point", point, "--at", str(at), "--then", then]
    found = subprocess.run(
        [sys.executable, str(STOPPED), *how, "--", *week.spoken(folder)],
        capture_output=True, text=True, env=environment(), check=False,
    )  # fmt: skip
    assert sentence in found.stderr
    assert list(disk.faults(week, folder, found, must=True)) == []


@pytest.mark.skipif(sys.platform == "win32", reason="sizes of files are capped by POSIX limits")
def test_a_file_that_may_not_grow(week: State, tmp_path: Path) -> None:
    class FirstOf(random.Random):
        def choice(self, seq):  # type: ignore[no-untyped-def]
            return seq[1]

    how, found = disk.capped(week, tmp_path / "route", FirstOf())
    assert how == "files of at most 512 bytes"
    # The journal is the first file that grows beyond it: SQLite gives no closer reason.
    assert "journal.sqlite: reading or writing failed" in found.stderr
    assert list(disk.faults(week, tmp_path / "route", found, must=True)) == []


@pytest.mark.skipif(not mounts_allowed(), reason="mounting is for the administrator")
@pytest.mark.parametrize("seed", [1, 2])
def test_a_small_or_read_only_file_system(week: State, tmp_path: Path, seed: int) -> None:
    """Seed 1 fills it, seed 2 mounts it read-only."""
    assert (random.Random(seed).random() < 0.7) == (seed == 1)
    assert list(disk.in_small_system(week, tmp_path, random.Random(seed))) == []


def test_two_runs_at_once(week: State, tmp_path: Path) -> None:
    folder = week.copy(tmp_path / "route")
    run = week.spoken(folder)
    ended = writers.at_once([run, run], [0.0, 0.0])
    assert list(writers.faults(week, folder, ended)) == []
