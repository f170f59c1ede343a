"""The journal: entries are added and never changed, all of a block or none of it, and only in a format it knows."""

import hashlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
import rfc8785
from small_ledger import AT, small_ledger, tampering

from recon.ledger import formats
from recon.ledger.entries import FIRST, Row
from recon.ledger.journal import has_ledger, journal_path, opened, reading, writing
from recon.ledger.merkle import Frontier, leaf_hash
from recon.ledger.verify import verify_ledger
from recon.model.errors import LedgerDamaged, ReconError


def rows_of(root: Path) -> list[Row]:
    with reading(root) as ledger:
        return ledger.rows()


def test_an_entry_carries_the_hash_of_the_one_before_and_of_itself(tmp_path: Path) -> None:
    """The hash by another implementation of RFC 8785 (the PyPI package rfc8785)."""
    small_ledger(tmp_path)
    previous, leaves = FIRST, []
    for number, row in enumerate(rows_of(tmp_path), start=1):
        record = {"at": row.at, "body": json.loads(row.body), "kind": row.kind, "number": number, "previous": previous}
        assert row.hash == hashlib.sha256(rfc8785.dumps(record)).hexdigest()
        previous = row.hash
        leaves.append(leaf_hash(rfc8785.dumps(record)))
    assert len(leaves) == 5
    with reading(tmp_path) as ledger:
        assert (ledger.anchor.entries, ledger.anchor.root) == (5, Frontier.over(leaves).root.hex())
        assert ledger.anchor_at(3).root == Frontier.over(leaves[:3]).root.hex()


def test_entries_are_read_as_they_were_written(tmp_path: Path) -> None:
    local = datetime(2026, 9, 28, 9, 0, 0, 250, tzinfo=timezone(timedelta(hours=-3)))
    body = {"file": "inbox/été 1.csv", "reason": 'a "quote"\n', "rows": 12, "none": None, "list": [1, "a", {"b": True}]}
    with writing(tmp_path, who="a test") as ledger:
        written = ledger.append("file-refused", body, local)
    with reading(tmp_path) as ledger:
        (entry,) = ledger.entries()
        assert entry == written
        assert (entry.kind, entry.body, entry.at) == ("file-refused", body, local)
        assert ledger.entries("run-made") == []
        assert ledger.rows()[0].at == "2026-09-28T12:00:00.000250Z"


def test_a_moment_without_a_zone_is_refused(tmp_path: Path) -> None:
    with writing(tmp_path, who="a test") as ledger, pytest.raises(ValueError, match="time zone"):
        ledger.append("run-made", {}, datetime(2026, 9, 28))


@pytest.mark.parametrize("body", [{"n": 1e20}, {"n": 1.5}, {"n": 2**53}, {"n": float("nan")}, {"t": "\ud800"}])
def test_what_could_not_be_read_again_is_not_written(tmp_path: Path, body: dict[str, object]) -> None:
    with writing(tmp_path, who="a test") as ledger:
        with pytest.raises(ValueError, match=r"beyond|no number|surrogate|as text"):
            ledger.append("run-made", body, AT)
        ledger.append("run-made", {"n": 1}, AT)
    assert verify_ledger(tmp_path).entries == 1


@pytest.mark.parametrize(
    ("sql", "message"),
    [
        ("UPDATE entry SET kind = 'x' WHERE number = 2", "never changed"),
        ("DELETE FROM entry WHERE number = 5", "never removed"),
        ("DELETE FROM entry", "never removed"),
        ("INSERT INTO entry SELECT 9, at, kind, body, hash, hash FROM entry WHERE number = 5", "follows the last"),
        ("INSERT INTO entry SELECT 6, at, kind, body, previous, hash FROM entry WHERE number = 5", "follows the last"),
        ("REPLACE INTO entry SELECT 2, at, kind, body, previous, hash FROM entry WHERE number = 5", "follows the last"),
        ("DELETE FROM tree", "never removed"),
        ("UPDATE tree SET entries = 4", "grows with the entries"),
    ],
)
def test_the_database_itself_refuses_changes(tmp_path: Path, sql: str, message: str) -> None:
    small_ledger(tmp_path)
    before = rows_of(tmp_path)
    connection = sqlite3.connect(journal_path(tmp_path), isolation_level=None)
    with pytest.raises(sqlite3.IntegrityError, match=message):
        connection.execute(sql)
    connection.close()
    assert rows_of(tmp_path) == before


def stopped(root: Path, *, committed: tuple[str, ...] = (), lost: tuple[str, ...] = ()) -> None:
    """A block that appends, commits, appends more, and is stopped."""
    with writing(root, who="a test") as ledger:
        for report in committed:
            ledger.append("run-made", {"report": report}, AT)
            ledger.commit()
        for report in lost:
            ledger.append("run-made", {"report": report}, AT)
        raise KeyError


def test_a_block_that_raises_leaves_nothing(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    with pytest.raises(KeyError):
        stopped(tmp_path, lost=("x",))
    with reading(tmp_path) as ledger:
        assert ledger.anchor == anchor


def test_what_was_committed_stays_when_the_block_raises_later(tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        stopped(tmp_path, committed=("x",), lost=("y",))
    with reading(tmp_path) as ledger:
        assert [entry.body["report"] for entry in ledger.entries()] == ["x"]
        assert ledger.anchor.entries == 1
    assert verify_ledger(tmp_path).failure is None


def test_a_first_block_that_raises_leaves_an_empty_ledger(tmp_path: Path) -> None:
    with pytest.raises(KeyError), writing(tmp_path, who="a test"):
        raise KeyError
    with reading(tmp_path) as ledger:
        assert ledger.anchor.entries == 0
    assert verify_ledger(tmp_path).failure is None


def test_no_ledger(tmp_path: Path) -> None:
    assert not has_ledger(tmp_path)
    with pytest.raises(ReconError, match="no ledger yet"), reading(tmp_path):
        pass
    assert list(tmp_path.iterdir()) == []


def test_reading_goes_on_while_another_writes_and_sees_what_was(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    with writing(tmp_path, who="a test") as ledger:
        ledger.append("run-made", {"report": "x"}, AT)
        with reading(tmp_path) as other:
            assert other.anchor == anchor


@pytest.mark.skipif(os.name == "nt", reason="modes are those of POSIX")
def test_everything_is_readable_by_its_owner_alone(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        with writing(tmp_path, who="a test") as ledger:
            # The rollback journal is there while entries wait to be made lasting.
            ledger.append("run-made", {"pad": "x" * 5_000_000}, AT)
            small = sorted(path for path in (tmp_path / "ledger").rglob("*"))
            assert any(path.name == "journal.sqlite-journal" for path in small)
            assert {oct(path.stat().st_mode & 0o777) for path in small if path.is_file()} == {"0o600"}
        other = tmp_path / "other"
        small_ledger(other)
        everything = [other / "ledger", *(other / "ledger").rglob("*")]
        assert {oct(path.stat().st_mode & 0o777) for path in everything if path.is_dir()} == {"0o700"}
        assert {oct(path.stat().st_mode & 0o777) for path in everything if path.is_file()} == {"0o600"}
    finally:
        os.umask(before)


WRITER = """
import itertools, sys
from datetime import UTC, datetime
from pathlib import Path
from recon.ledger.journal import writing
from recon.ledger.originals import keep
root = Path(sys.argv[1])
print("begun", flush=True)
for turn in itertools.count():
    with writing(root, who="a test") as ledger:
        for at in range(5):
            body = {"file": f"{turn}-{at}", "original": keep(root, f"{turn}-{at}".encode()), "pad": "x" * 900}
            ledger.append("file-taken", body, datetime(2026, 9, 28, tzinfo=UTC))
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL")
def test_a_kill_leaves_whole_blocks_alone(tmp_path: Path) -> None:
    """Twenty-five kills, spread over what a writer does; each leaves the ledger whole, and the next writer goes on."""
    entries = 0
    for kill in range(25):
        writer = subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)], stdout=subprocess.PIPE)
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(0.005 + 0.002 * kill)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        if not has_ledger(tmp_path):
            continue
        found = verify_ledger(tmp_path)
        assert found.failure is None
        assert found.entries % 5 == 0
        assert found.entries >= entries
        entries = found.entries
    assert entries > 0
    with writing(tmp_path, who="a test", wait_seconds=0) as ledger:
        ledger.append("run-made", {"report": "x"}, AT)
    assert not any((tmp_path / "ledger" / "unfinished").iterdir())
    assert verify_ledger(tmp_path).entries == entries + 1


FORMAT_0 = """
CREATE TABLE entry (
  number INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  kind TEXT NOT NULL,
  body TEXT NOT NULL,
  previous TEXT NOT NULL,
  hash TEXT NOT NULL
);
PRAGMA application_id = 1919247214;
PRAGMA user_version = 0;
"""


def format_0(root: Path) -> list[Row]:
    """The same entries in a database of format 0."""
    small_ledger(root)
    rows = rows_of(root)
    journal_path(root).unlink()
    connection = sqlite3.connect(journal_path(root), isolation_level=None)
    connection.executescript(FORMAT_0)
    connection.executemany("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?)", rows)
    connection.close()
    return rows


def test_an_older_ledger_is_read_as_it_is_and_brought_forward_by_the_next_writer(tmp_path: Path) -> None:
    rows = format_0(tmp_path)
    before = journal_path(tmp_path).read_bytes()
    with reading(tmp_path) as ledger:
        assert ledger.rows() == rows
        assert ledger.anchor.entries == 5
    found = verify_ledger(tmp_path)
    assert found.failure is None
    assert "older format 0" in found.remarks[0]
    assert journal_path(tmp_path).read_bytes() == before
    with writing(tmp_path, who="a test") as ledger:
        ledger.append("run-made", {"report": "x"}, AT)
    assert rows_of(tmp_path)[:5] == rows
    found = verify_ledger(tmp_path)
    assert (found.failure, found.entries, found.remarks[:-1]) == (None, 6, ())
    with opened(tmp_path) as (_, number):
        assert number == formats.FORMAT


def test_an_older_ledger_whose_writer_is_stopped_stays_as_it_was(tmp_path: Path) -> None:
    format_0(tmp_path)
    before = journal_path(tmp_path).read_bytes()
    with pytest.raises(KeyError), writing(tmp_path, who="a test"):
        raise KeyError
    assert journal_path(tmp_path).read_bytes() == before


def test_a_newer_ledger_is_refused_and_left_alone(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    connection = sqlite3.connect(journal_path(tmp_path), isolation_level=None)
    connection.execute(f"PRAGMA user_version = {formats.FORMAT + 1}")
    connection.close()
    before = journal_path(tmp_path).read_bytes()
    for use in (lambda: reading(tmp_path), lambda: writing(tmp_path, who="a test")):
        with pytest.raises(ReconError, match=f"has format {formats.FORMAT + 1} and was written by a newer"), use():
            pass
    with pytest.raises(ReconError, match="newer recon"):
        verify_ledger(tmp_path)
    assert journal_path(tmp_path).read_bytes() == before


@pytest.mark.parametrize(
    "content", [b"not a database, but long enough to be looked at " * 30, b"SQLite format 3\x00" + bytes(3000)]
)
def test_a_file_that_is_no_database(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "ledger").mkdir()
    journal_path(tmp_path).write_bytes(content)
    with pytest.raises(LedgerDamaged), reading(tmp_path):
        pass
    with pytest.raises(LedgerDamaged), writing(tmp_path, who="a test"):
        pass


def test_a_database_of_something_else(tmp_path: Path) -> None:
    (tmp_path / "ledger").mkdir()
    connection = sqlite3.connect(journal_path(tmp_path))
    connection.execute("CREATE TABLE notes (text)")
    connection.close()
    with pytest.raises(LedgerDamaged, match="no journal of recon"), writing(tmp_path, who="a test"):
        pass


def test_a_changed_end_is_noticed_before_anything_is_added(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with tampering(tmp_path) as database:
        database.execute("DELETE FROM entry WHERE number = 5")
    with pytest.raises(LedgerDamaged, match="number 4, expected 5"), writing(tmp_path, who="a test"):
        pass


def test_a_copy_of_the_folder_is_a_backup(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path / "route")
    shutil.copytree(tmp_path / "route", tmp_path / "copy")
    found = verify_ledger(tmp_path / "copy", printed=anchor.root, printed_entries=anchor.entries)
    assert found.failure is None
    with writing(tmp_path / "copy", who="a test") as ledger:
        assert ledger.anchor == anchor
        assert ledger.append("run-made", {"report": "x"}, datetime(2026, 9, 29, tzinfo=UTC)).number == 6
