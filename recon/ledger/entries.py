"""An entry of the journal: what it says, and the bytes that are hashed.

hash: SHA-256 of the canonical JSON (RFC 8785) of the entry without its hash: at, body, kind, number, previous. The same
bytes are the entry's leaf in the Merkle tree.
"""

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final, Literal, NamedTuple, get_args

from recon.ledger.canonical import LARGEST_INTEGER, canonical
from recon.ledger.merkle import leaf_hash

EntryKind = Literal[
    "file-taken",
    "file-refused",
    "layout-seen",
    "settings-seen",
    "run-made",
    "count-restated",
    "decision-made",
]
ENTRY_KINDS: Final[tuple[EntryKind, ...]] = get_args(EntryKind)

FIRST: Final = "0" * 64
"""What stands in the first entry for the hash of the one before."""


class Entry(NamedTuple):
    """One entry. number: from 1. at: an aware moment, UTC. previous, hash: 64 hex digits."""

    number: int
    at: datetime
    kind: EntryKind
    body: Mapping[str, Any]
    previous: str
    hash: str

    @property
    def record(self) -> dict[str, Any]:
        """What is hashed, as a JSON object."""
        return _record(self.number, spelled(self.at), self.kind, self.previous, self.body)


class Row(NamedTuple):
    """An entry as the database holds it. body: canonical JSON text."""

    number: int
    at: str
    kind: str
    body: str
    previous: str
    hash: str


def _record(number: int, at: str, kind: str, previous: str, body: Mapping[str, Any]) -> dict[str, Any]:
    return {"number": number, "at": at, "kind": kind, "previous": previous, "body": body}


def spelled(moment: datetime) -> str:
    """A moment as entries spell it: ISO 8601 in UTC, with microseconds only where there are any."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment} says no time zone")
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def new_row(number: int, at: datetime, kind: EntryKind, body: Mapping[str, Any], previous: str) -> Row:
    """The row of a new entry. Raises ValueError or TypeError where the body is no canonical JSON."""
    return new_row_and_bytes(number, at, kind, body, previous)[0]


def new_row_and_bytes(
    number: int, at: datetime, kind: EntryKind, body: Mapping[str, Any], previous: str
) -> tuple[Row, bytes]:
    """The row of a new entry, and the bytes that are hashed for it, as `bytes_of_row` makes them of the row."""
    text = canonical(body)
    # As it will be read again. Floats are refused: they are no amounts, and two programs may spell them differently.
    if not isinstance(json.loads(text, parse_float=_no_float, parse_int=_whole), dict):
        raise ValueError("the body is no JSON object")
    moment = spelled(at)
    data = _bytes(number, moment, kind, previous, text)
    return Row(number, moment, kind, text.decode(), previous, hashlib.sha256(data).hexdigest()), data


def _bytes(number: int, at: str, kind: str, previous: str, body: bytes) -> bytes:
    """The canonical JSON of a record whose body is written already: its names stand in the order of the alphabet."""
    rest = canonical({"kind": kind, "number": number, "previous": previous})
    return b'{"at":' + canonical(at) + b',"body":' + body + b"," + rest[1:]


def _no_float(text: str) -> float:
    raise ValueError(f"{text} in an entry: write a number with a point as text")


def _whole(text: str) -> int:
    if abs(int(text)) > LARGEST_INTEGER:
        raise ValueError(f"{text} in an entry is beyond 2^53 - 1: write it as text")
    return int(text)


def bytes_of_row(row: Row) -> bytes:
    """The bytes that are hashed for a row. Raises ValueError where its body is no JSON object."""
    body = json.loads(row.body)
    if not isinstance(body, dict):
        raise ValueError("the body is no JSON object")
    return _bytes(row.number, row.at, row.kind, row.previous, canonical(body))


def leaf_of_row(row: Row) -> bytes:
    """The leaf of a row in the Merkle tree."""
    return leaf_hash(bytes_of_row(row))


def entry_of(row: Row) -> Entry:
    """A row as an entry. Raises ValueError where it is none."""
    kind = next((kind for kind in ENTRY_KINDS if kind == row.kind), None)
    if kind is None:
        raise ValueError(f"{row.kind!r} is no kind of entry")
    return Entry(row.number, datetime.fromisoformat(row.at), kind, json.loads(row.body), row.previous, row.hash)
