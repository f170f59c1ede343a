"""The journal's database: how it is made, how an older one is brought forward, and why a newer one is refused.

The format's number stands in the database as its user_version, beside recon's own application_id.
"""

import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from recon.ledger.entries import Row, leaf_of_row
from recon.ledger.merkle import Frontier
from recon.model.errors import LedgerDamaged, ReconError

APPLICATION: Final = 0x7265636E
"""The letters "recn": a database with another number was not made by recon."""

FORMAT: Final = 2
"""The format that this version writes."""

_ENTRY: Final = """CREATE TABLE entry (
  number INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  kind TEXT NOT NULL,
  body TEXT NOT NULL,
  previous TEXT NOT NULL,
  hash TEXT NOT NULL
)"""

_TREE: Final = """CREATE TABLE tree (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  entries INTEGER NOT NULL,
  peaks TEXT NOT NULL
)"""

_TRIGGERS: Final = (
    """CREATE TRIGGER entry_in_sequence BEFORE INSERT ON entry
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM entry)
  OR NEW.previous IS NOT coalesce((SELECT hash FROM entry ORDER BY number DESC LIMIT 1), printf('%064d', 0))
BEGIN SELECT raise(ABORT, 'an entry follows the last one and carries its hash'); END""",
    """CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN SELECT raise(ABORT, 'an entry is never changed'); END""",
    """CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN SELECT raise(ABORT, 'an entry is never removed'); END""",
    """CREATE TRIGGER tree_no_delete BEFORE DELETE ON tree
BEGIN SELECT raise(ABORT, 'the tree is never removed'); END""",
    """CREATE TRIGGER tree_grows BEFORE UPDATE ON tree
WHEN NEW.entries IS NOT (SELECT coalesce(max(number), 0) FROM entry) OR NEW.entries < OLD.entries
BEGIN SELECT raise(ABORT, 'the tree grows with the entries'); END""",
)

STATEMENTS: Final = (_ENTRY, _TREE, *_TRIGGERS)
"""What the schema of a journal of this format consists of, word by word."""


def make(connection: sqlite3.Connection) -> None:
    """Make an empty journal of this format, within the transaction that is open."""
    for statement in STATEMENTS:
        connection.execute(statement)
    connection.execute("INSERT INTO tree VALUES (1, 0, '')")
    _stamp(connection, FORMAT)


def _stamp(connection: sqlite3.Connection, number: int) -> None:
    connection.execute(f"PRAGMA application_id = {APPLICATION}")
    connection.execute(f"PRAGMA user_version = {number}")


def format_of(connection: sqlite3.Connection, path: Path) -> int | None:
    """The format of a journal, None for a database with nothing in it yet.

    Raises LedgerDamaged where it is a database of something else, ReconError where a newer recon made it.
    """
    number = int(connection.execute("PRAGMA user_version").fetchone()[0])
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    if application == 0 and number == 0 and not connection.execute("SELECT 1 FROM sqlite_master").fetchone():
        return None
    if application != APPLICATION:
        raise LedgerDamaged(
            f"{path.as_posix()} is no journal of recon: its database has the application number {application}, "
            f"expected {APPLICATION}. Put back a copy of the ledger folder"
        )
    if number > FORMAT:
        raise ReconError(
            f"{path.as_posix()} has format {number} and was written by a newer recon; this one knows formats up to "
            f"{FORMAT}. Use the newer recon for this route"
        )
    return number


def _from_0(connection: sqlite3.Connection) -> None:
    """Format 0 had the entries alone: no tree, and nothing that held them in place."""
    rows = connection.execute("SELECT number, at, kind, body, previous, hash FROM entry ORDER BY number").fetchall()
    frontier = Frontier.over(leaf_of_row(Row(*row)) for row in rows)
    connection.execute(_TREE)
    connection.execute("INSERT INTO tree VALUES (1, ?, ?)", (frontier.size, b"".join(frontier.peaks).hex()))
    for statement in _TRIGGERS:
        connection.execute(statement)


def _from_1(connection: sqlite3.Connection) -> None:
    """Format 1 had an entry for each settings file. Entries of both forms count: there is nothing to change."""


_STEPS: Final[Mapping[int, Callable[[sqlite3.Connection], None]]] = {0: _from_0, 1: _from_1}
"""From each older format to the next. Entries stay as they are: their hashes are what others hold."""


def bring_forward(connection: sqlite3.Connection, number: int) -> None:
    """Bring a journal of an older format to this one, within the transaction that is open."""
    for older in range(number, FORMAT):
        _STEPS[older](connection)
        _stamp(connection, older + 1)
