"""Full disks, folders that cannot be written to, and other faults of the system: a sentence, and a ledger that is
whole."""

import errno
import os
import sqlite3
from pathlib import Path

import pytest
from small_ledger import AT, small_ledger

from recon.ledger import files
from recon.ledger.faults import told
from recon.ledger.journal import reading, writing
from recon.ledger.originals import keep
from recon.ledger.verify import verify_ledger
from recon.model.errors import LedgerDamaged, ReconError


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "the disk is full"),
        (errno.EROFS, "cannot be written to"),
        (errno.EACCES, "cannot be written to"),
        (errno.EIO, "reading or writing failed"),
        (errno.ENAMETOOLONG, "File name too long"),
    ],
)
def test_what_the_system_says_of_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, sentence: str
) -> None:
    anchor = small_ledger(tmp_path)

    def fsync(handle: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(files.os, "fsync", fsync)
    with pytest.raises(ReconError, match=sentence), writing(tmp_path, who="a test") as ledger:
        ledger.append("file-taken", {"original": keep(tmp_path, b"new")}, AT)
    monkeypatch.undo()
    assert not any((tmp_path / "ledger" / "unfinished").iterdir())
    found = verify_ledger(tmp_path, printed=anchor.root, printed_entries=5)
    assert (found.failure, found.entries, found.remarks) == (None, 5, ())


def test_a_database_that_is_full(tmp_path: Path) -> None:
    """SQLite says so itself where its file may not grow."""

    def fill() -> None:
        with writing(tmp_path, who="a test") as ledger:
            pages = ledger._connection.execute("PRAGMA page_count").fetchone()[0]
            ledger._connection.execute(f"PRAGMA max_page_count = {pages}")
            for _ in range(100):
                ledger.append("run-made", {"pad": "x" * 3000}, AT)

    small_ledger(tmp_path)
    with pytest.raises(ReconError, match=r"journal\.sqlite: the disk is full"):
        fill()
    found = verify_ledger(tmp_path)
    assert (found.failure, found.entries) == (None, 5)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="rights do not bind the administrator")
def test_a_folder_that_cannot_be_written_to(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    everything = [tmp_path / "ledger", *(tmp_path / "ledger").rglob("*")]
    for path in everything:
        path.chmod(0o500 if path.is_dir() else 0o400)
    try:
        with pytest.raises(ReconError, match="cannot be written to"), writing(tmp_path, who="a test"):
            pass
        with reading(tmp_path) as ledger:
            assert ledger.anchor == anchor
        assert verify_ledger(tmp_path).failure is None
    finally:
        for path in everything:
            path.chmod(0o700 if path.is_dir() else 0o600)


@pytest.mark.parametrize(
    ("name", "kind", "sentence"),
    [
        ("SQLITE_FULL", ReconError, "the disk is full"),
        ("SQLITE_READONLY_DIRECTORY", ReconError, "cannot be written to"),
        ("SQLITE_CANTOPEN", ReconError, "cannot be opened"),
        ("SQLITE_IOERR_WRITE", ReconError, "reading or writing failed"),
        ("SQLITE_IOERR_LOCK", ReconError, "does not support locks"),
        ("SQLITE_BUSY", ReconError, "another program keeps the journal open"),
        ("SQLITE_CORRUPT", LedgerDamaged, "is damaged"),
        ("SQLITE_NOTADB", LedgerDamaged, "is damaged"),
    ],
)
def test_what_the_database_says(name: str, kind: type[ReconError], sentence: str) -> None:
    error = sqlite3.OperationalError("told by SQLite")
    error.sqlite_errorcode = getattr(sqlite3, name)
    with pytest.raises(ReconError, match=sentence) as caught, told(Path("ledger/journal.sqlite")):
        raise error
    assert type(caught.value) is kind
    assert "ledger/journal.sqlite" in str(caught.value)


def test_a_fault_of_recons_own_is_not_told_as_the_users(tmp_path: Path) -> None:
    with writing(tmp_path, who="a test") as ledger, pytest.raises(sqlite3.OperationalError, match="no such column"):
        ledger._all("SELECT nosuch FROM entry")


def test_the_ledger_folder_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "ledger").write_text("not a folder")
    with pytest.raises(ReconError, match="ledger"), writing(tmp_path, who="a test"):
        pass
