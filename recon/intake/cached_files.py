"""Files that an earlier run parsed: the intake takes their rows from a cache and does not parse them again.

The ledger layer keeps the cache (recon.ledger.parse_cache). The intake asks it for a file of a certain name and
content, and is given rows only where parsing the file again would give the same.
"""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from recon.model.frames import Frame
from recon.model.words import FileKind


@dataclass(frozen=True, slots=True)
class CachedPart:
    """One table of a parsed file."""

    path: str
    """Path within the route folder; of a workbook with several sheets also the sheet."""
    sheet: str | None
    kind: FileKind | None
    source: str | None
    """Name of the description that speaks for it."""
    rows: int
    key: int
    """Number under which the cache holds its rows."""


class ParseCache(Protocol):
    """What the intake asks of the cache."""

    def knows(self, name: str) -> bool:
        """Tell whether a file of that name was parsed before, whatever it held."""

    def unchanged(self, name: str, status: os.stat_result) -> str | None:
        """Return the SHA-256 of a file that has not changed since it was hashed, None where that is in doubt."""

    def find(self, name: str, sha256: str) -> Sequence[CachedPart] | None:
        """Return the tables of a file, where parsing it again would give the same."""

    def rows(self, kind: str, numbers: Mapping[int, int]) -> Sequence[Frame]:
        """Return the rows of some tables before duplicates are parted: of a kind of file, or `rejects`, or `notices`.

        numbers: the file number that each table has now, by its key in the cache.
        """


@dataclass(frozen=True, slots=True)
class Fresh:
    """What files gave that were parsed in this run, before duplicates are parted."""

    files: frozenset[int]
    """Their file numbers."""
    frames: dict[str, Frame]
    """Rows by kind of file, and `rejects` and `notices`, without what concerns two files. Those of vends are narrow
    (recon.intake.vend_rows)."""
    by_moment: frozenset[int]
    """Files whose dates could be read only because some would lie after the run."""
    names: Mapping[int, Sequence[str]]
    """The names that each file goes by, its own and those within an archive."""
