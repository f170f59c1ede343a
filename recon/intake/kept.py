"""Files that were read before: what they gave is put back, and they are not read again.

Whoever keeps it (the ledger) answers `find` for a file of that name and content, if what it gave then is what it would
give now, and hands the rows back kind by kind.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import polars as pl

from recon.model.frames import Frame
from recon.model.words import FileKind


@dataclass(frozen=True, slots=True)
class KeptPart:
    """One table of a file: its account, and the number under which its rows are kept in the batch."""

    path: str
    sheet: str | None
    kind: FileKind | None
    source: str | None
    rows: int
    batch: str
    number: int


class Keeper(Protocol):
    """What the intake asks of whoever keeps what files gave."""

    def knows(self, name: str) -> bool:
        """Whether a file of that name was read before, whatever it said."""

    def find(self, name: str, sha256: str) -> Sequence[KeptPart] | None:
        """The tables of a file, if it was read before and reading it again would give the same."""

    def rows(self, kind: str, batches: Sequence[str]) -> Sequence[tuple[str, Frame]]:
        """The rows of batches, those that have any: of a kind of file before duplicates are parted, or `rejects`, or
        `notices`. Their `file` is the number within the batch."""

    def tables(self, kind: str, batches: Sequence[str]) -> Sequence[tuple[str, Path]]:
        """The same as Parquet files, to be read in parts."""


@dataclass(frozen=True, slots=True)
class Fresh:
    """What files gave that were read anew, before duplicates are parted.

    files: their numbers. frames: by kind of file, and `rejects` and `notices`, without what concerns two files.
    by_moment: the files whose dates could be read only because some would lie after the run. names: for each file the
    names that it goes by, its own and those within an archive. laid_down: kinds whose rows stand in a Parquet file
    instead, in which each file goes by its place among the sorted `files`.
    """

    files: frozenset[int]
    frames: dict[str, Frame]
    by_moment: frozenset[int]
    names: Mapping[int, Sequence[str]]
    laid_down: dict[str, Path] = field(default_factory=dict)


def by_batch(places: Sequence[tuple[KeptPart, int]]) -> list[tuple[str, dict[int, int]]]:
    """The batches of parts, each with the numbers that their files have now, by those that they had then.

    Two files of the same content, read in different runs, give the same batch: it then stands there twice.
    """
    layers: list[dict[str, dict[int, int]]] = []
    for part, number in places:
        layer = next((one for one in layers if part.number not in one.get(part.batch, {})), None)
        if layer is None:
            layer = {}
            layers.append(layer)
        layer.setdefault(part.batch, {})[part.number] = number
    return [(batch, layer[batch]) for layer in layers for batch in sorted(layer)]


def put_back(keeper: Keeper, kind: str, places: Sequence[tuple[KeptPart, int]]) -> list[Frame]:
    """The kept rows of a kind, with the file numbers that their files have now. places: each part with its number."""
    frames = []
    for name, numbers in by_batch(places):
        for _, rows in keeper.rows(kind, [name]):
            file = rows["file"].replace_strict(numbers, default=None, return_dtype=pl.Int32)
            renumbered = rows.with_columns(file.alias("file"))
            frames.append(renumbered.drop_nulls("file") if file.null_count() else renumbered)
    return frames
