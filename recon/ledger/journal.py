"""The journal: one entry after another in ledger/journal.sqlite, none of which is ever changed or removed.

Each entry carries the hash of the one before, and the root of a Merkle tree over all of them says in 64 digits what
the journal holds. The database keeps its rollback journal beside it (journal_mode DELETE, synchronous EXTRA): a writer
that is killed leaves all of its entries or none, no further file is needed to read it, and a copy of the folder is a
backup. What one `writing` block appends is one transaction.
"""

import os
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from recon.ledger import formats
from recon.ledger.entries import FIRST, Entry, EntryKind, Row, entry_of, leaf_of_row, new_row, new_row_and_bytes
from recon.ledger.faults import told
from recon.ledger.files import ledger_folder
from recon.ledger.lock import locked
from recon.ledger.merkle import Frontier, leaf_hash
from recon.model.errors import LedgerDamaged, ReconError
from recon.model.reconciliation import Anchor

COLUMNS: Final = "number, at, kind, body, previous, hash"
_PATIENCE: Final = 30.0
"""Seconds that SQLite waits for another program to finish with the file."""


def journal_path(root: Path) -> Path:
    """Where the journal of a route folder lies."""
    return ledger_folder(root) / "journal.sqlite"


class Ledger:
    """The journal, open for reading."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self.path = path
        self._frontier = self._check_tail()

    def _all(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        with told(self.path):
            return self._connection.execute(sql, values).fetchall()

    def rows(self) -> list[Row]:
        """Every entry as the database holds it, in order."""
        return [Row(*row) for row in self._all(f"SELECT {COLUMNS} FROM entry ORDER BY number")]

    def entries(self, kind: EntryKind | None = None) -> list[Entry]:
        """Every entry, or those of one kind, in order. Raises LedgerDamaged where one cannot be read."""
        where, values = ("", ()) if kind is None else ("WHERE kind = ?", (kind,))
        rows = self._all(f"SELECT {COLUMNS} FROM entry {where} ORDER BY number", *values)
        return [self._entry(Row(*row)) for row in rows]

    def last(self, kind: EntryKind) -> Entry | None:
        """The last entry of a kind. Raises LedgerDamaged where it cannot be read."""
        rows = self._all(f"SELECT {COLUMNS} FROM entry WHERE kind = ? ORDER BY number DESC LIMIT 1", kind)
        return self._entry(Row(*rows[0])) if rows else None

    def _entry(self, row: Row) -> Entry:
        try:
            return entry_of(row)
        except (TypeError, ValueError) as error:
            raise self._damaged(f"entry {row.number} cannot be read ({error})") from error

    def _damaged(self, what: str) -> LedgerDamaged:
        return LedgerDamaged(
            f"{self.path.as_posix()}: {what}. recon verify says more; put back the newest whole copy of the folder"
        )

    @property
    def anchor(self) -> Anchor:
        """How many entries there are, and the root over them."""
        return Anchor(self._frontier.size, self._frontier.root.hex())

    def anchor_at(self, entries: int) -> Anchor:
        """The anchor as it was after the first `entries` of them, reckoned anew. Raises IndexError beyond the end."""
        if not 0 <= entries <= self._frontier.size:
            raise IndexError(f"{entries} of {self._frontier.size} entries")
        return Anchor(entries, Frontier.over(leaf_of_row(row) for row in self.rows()[:entries]).root.hex())

    def _check_tail(self) -> Frontier:
        """The frontier as kept, which has to end with the last entry. The rest is for `recon verify`."""
        kept = self._all("SELECT entries, peaks FROM tree")
        last = [Row(*row) for row in self._all(f"SELECT {COLUMNS} FROM entry ORDER BY number DESC LIMIT 1")]
        try:
            entries, peaks = kept[0]
            hashes = bytes.fromhex(peaks)
            frontier = Frontier(entries, [hashes[at : at + 32] for at in range(0, len(hashes), 32)])
            if len(hashes) != 32 * entries.bit_count():
                raise ValueError("the kept tree is not of its size")
        except (IndexError, ValueError, TypeError, AttributeError) as error:
            raise self._damaged(f"the kept tree cannot be read ({error})") from error
        if (last[0].number if last else 0) != frontier.size:
            raise self._damaged(
                f"the last entry has the number {last[0].number if last else 0}, expected {frontier.size}"
            )
        for row in last:
            self._check_last(row, frontier)
        return frontier

    def _check_last(self, row: Row, frontier: Frontier) -> None:
        try:
            entry = self._entry(row)
            hashed = new_row(entry.number, entry.at, entry.kind, entry.body, entry.previous)
        except (TypeError, ValueError) as error:
            raise self._damaged(f"the last entry cannot be read ({error})") from error
        odd = frontier.size % 2
        if hashed != row or (odd and frontier.peaks[-1] != leaf_of_row(row)):
            raise self._damaged(f"the last entry ({row.number}) does not have the hash that was kept of it")


class Writer(Ledger):
    """The journal, open for writing, under the lock."""

    def append(self, kind: EntryKind, body: Mapping[str, Any], at: datetime) -> Entry:
        """Add an entry. It lasts once the block ends, or `commit` is called.

        body: a JSON object; money as text, no floats. at: the moment of the command (aware). Raises ValueError
        or TypeError for what JSON cannot carry, ReconError where the disk does not take it.
        """
        previous = self._all("SELECT hash FROM entry ORDER BY number DESC LIMIT 1")
        last = previous[0][0] if previous else FIRST
        row, hashed = new_row_and_bytes(self._frontier.size + 1, at, kind, body, last)
        self._all(f"INSERT INTO entry ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)", *row)
        self._frontier.append(leaf_hash(hashed))
        return entry_of(row)

    def commit(self) -> None:
        """Make all that was appended so far lasting, at once."""
        peaks = b"".join(self._frontier.peaks).hex()
        self._all("UPDATE tree SET entries = ?, peaks = ? WHERE one = 1", self._frontier.size, peaks)
        self._all("COMMIT")
        self._all("BEGIN IMMEDIATE")


def _connect(path: Path, *, reading: bool) -> sqlite3.Connection:
    # Also for reading the file is opened for writing where that is allowed: what a killed writer left half done is
    # rolled back by whoever comes next.
    with told(path):
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=_PATIENCE
        )
        try:
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute("PRAGMA synchronous = EXTRA")
            if reading:
                connection.execute("PRAGMA query_only = ON")
        except BaseException:
            connection.close()
            raise
    return connection


def has_ledger(root: Path) -> bool:
    """Whether the route folder has a journal."""
    return journal_path(root).is_file()


@contextmanager
def reading(root: Path) -> Iterator[Ledger]:
    """The ledger of a route folder, as it stands at this moment; nothing is written, nobody is kept waiting.

    Raises ReconError where there is none, where it cannot be opened or a newer recon wrote it; LedgerDamaged where its
    end does not fit together.
    """
    with opened(root) as (connection, _):
        yield Ledger(connection, journal_path(root))


@contextmanager
def opened(root: Path) -> Iterator[tuple[sqlite3.Connection, int]]:
    """The database of a route folder's journal, as this format has it, for reading; nothing in it is looked at yet.

    Gives the connection and the format of the file. Raises as `reading` does, but for the end of the journal.
    """
    path = journal_path(root)
    if not path.is_file():
        raise ReconError(f"{path.as_posix()} is not there: this route has no ledger yet. recon run makes it")
    with closing(_connect(path, reading=True)) as connection:
        with told(path):
            connection.execute("BEGIN")
            number = formats.format_of(connection, path)
        if number == formats.FORMAT:
            yield connection, number
        else:
            with closing(_brought_forward(connection, number, path)) as copy:
                yield copy, formats.FORMAT if number is None else number


def _brought_forward(connection: sqlite3.Connection, number: int | None, path: Path) -> sqlite3.Connection:
    """An older journal as this format has it, in memory: reading changes no file."""
    copy = sqlite3.connect(":memory:", isolation_level=None)
    with told(path):
        if number is None:
            formats.make(copy)
        else:
            connection.backup(copy)
            _step_forward(copy, number, path)
    return copy


def _step_forward(connection: sqlite3.Connection, number: int, path: Path) -> None:
    try:
        formats.bring_forward(connection, number)
    except (TypeError, ValueError) as error:
        raise LedgerDamaged(
            f"{path.as_posix()} has format {number} and cannot be brought to format {formats.FORMAT} ({error}). "
            "Put back a copy of the ledger folder"
        ) from error


@contextmanager
def writing(
    root: Path, *, who: str, wait_seconds: float = 30.0, on_wait: Callable[[str], None] = lambda holder: None
) -> Iterator[Writer]:
    """The ledger of a route folder for writing, made where it is missing; one writer at a time.

    who: the command, for others who wait. on_wait: told once who holds the ledger, if somebody does. What the block
    appends is kept when it ends, all of it; where it raises, nothing of it since the last `commit`. An older journal is
    brought forward. Raises ReconError where the lock is still held after `wait_seconds`, or the folder cannot be used.
    """
    path = journal_path(root)
    with locked(root, who=who, wait_seconds=wait_seconds, on_wait=on_wait):
        _refuse_lost(root, path)
        with told(path):
            # SQLite gives its rollback journal the mode of the database.
            os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        with closing(_connect(path, reading=False)) as connection:
            try:
                ledger = _begin(connection, path)
                yield ledger
                ledger.commit()
            finally:
                with suppress(sqlite3.Error):
                    connection.execute("ROLLBACK")


def _refuse_lost(root: Path, path: Path) -> None:
    """A report carries a root only of entries that were lasting: where one is there and the journal is not, it is lost.

    To begin a new one then would drop every decision without a word. Raises ReconError.
    """
    if path.is_file() and path.stat().st_size:
        return
    carrying = sorted((root / "reports").glob("[!.]*/ledger.json"))
    if carrying:
        raise ReconError(
            f"{path.as_posix()} is missing or empty, though {carrying[-1].as_posix()} carries its root: put back the "
            "newest copy of the ledger folder. To begin a new ledger all the same, move reports/ and ledger/ elsewhere"
        )


def _begin(connection: sqlite3.Connection, path: Path) -> Writer:
    with told(path):
        connection.execute("BEGIN IMMEDIATE")
        number = formats.format_of(connection, path)
        if number is None:
            formats.make(connection)
        else:
            _step_forward(connection, number, path)
    return Writer(connection, path)
