"""What the files of an inbox gave so far, while they are being read."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from recon.intake.cached_files import CachedPart, Fresh
from recon.intake.describe import Reading
from recon.intake.opened import Part
from recon.intake.recurring import as_texts
from recon.intake.table import TextTable
from recon.intake.texts import Settled
from recon.intake.vend_rows import VendRows
from recon.model.frames import NOTICES, Frame
from recon.model.words import FILE_KINDS, FileKind


@dataclass(slots=True)
class File:
    """One file on its way in."""

    path: str
    name: str
    sheet: str | None = None
    sha256: str | None = None
    kind: FileKind | None = None
    source: str | None = None
    rows: int = 0


@dataclass(slots=True)
class Gathered:
    """What the files gave so far.

    held: bytes of the files opened since the last were read. accepted: rows by kind; vends are in `vends`. fresh: what
    files gave that were parsed now. tables, readings: of each file that was taken in and is at hand. released: whether
    files were taken out of memory. mended: each rejects.csv that came back. cached: the tables of files parsed before,
    with the numbers of these files. statuses: what the system said of each file when it was opened to be hashed, by
    name. by_moment: files whose dates the moment of the run settled. names: what each file goes by. seen: the first
    file of each content; compared: how many files have been held against it. settled: the files whose columns are
    known, by their format. groups: their cells, by format and columns. unread: of the files of these groups, whose rows
    are still to be read.
    """

    files: list[File] = field(default_factory=list)
    held: int = 0
    accepted: dict[FileKind, list[Frame]] = field(default_factory=lambda: {kind: [] for kind in FILE_KINDS})
    refused: list[Frame] = field(default_factory=list)
    vends: VendRows = field(default_factory=VendRows)
    released: bool = False
    statuses: dict[str, os.stat_result] = field(default_factory=dict)
    fresh: list[Fresh] = field(default_factory=list)
    tables: dict[int, TextTable] = field(default_factory=dict)
    settled: dict[tuple[object, ...], list[Settled]] = field(default_factory=dict)
    groups: dict[tuple[object, ...], tuple[Reading, list[Frame]]] = field(default_factory=dict)
    readings: dict[int, Reading] = field(default_factory=dict)
    mended: dict[int, TextTable] = field(default_factory=dict)
    seen: dict[tuple[str | None, str | None], int] = field(default_factory=dict)
    compared: int = 0
    unread: set[int] = field(default_factory=set)
    rejects: list[Frame] = field(default_factory=list)
    notices: list[Frame] = field(default_factory=list)
    cached: list[tuple[CachedPart, int]] = field(default_factory=list)
    by_moment: set[int] = field(default_factory=set)
    names: dict[int, Sequence[str]] = field(default_factory=dict)

    def add(self, file: File) -> int:
        """The number of a further input."""
        self.files.append(file)
        return len(self.files) - 1

    def release(self, at_hand: frozenset[str]) -> None:
        """Take the files read so far out of memory, but for those named in `at_hand`."""
        self.released = True
        for number in [number for number in self.readings if self.files[number].name not in at_hand]:
            del self.tables[number], self.readings[number]
        self.held = 0

    def remark(
        self, file: int, kind: str, detail: str, *, other: int | None = None, row: int | None = None,
        other_row: int | None = None,
    ) -> None:  # fmt: skip
        """Note something about a file, or one row of it, and the file and row that it concerns besides."""
        told = {"kind": kind, "file": file, "row": row, "detail": detail, "other_file": other, "other_row": other_row}
        self.notices.append(pl.DataFrame([told], schema=NOTICES.schema))

    def told_passed(self, file: int, table: TextTable) -> None:
        """Remark each line that is no row."""
        if not table.passed:
            return
        told = [
            {"kind": "lines-passed-over", "file": file, "row": passed.row, "detail": passed.text}
            for passed in sorted(table.passed, key=lambda passed: passed.row)
        ]
        self.notices.append(pl.DataFrame(told, schema=NOTICES.schema))

    def told_aside(self, file: int, aside: Sequence[Part]) -> None:
        """Remark each sheet that is no table of the kind, beside one that is."""
        for part in aside:
            self.remark(file, "lines-passed-over", f'sheet "{part.sheet}" ({part.table.rows} rows)')

    def group(self, reading: Reading, texts: Frame) -> None:
        """Files of one kind, one description and one set of columns are read together."""
        key = (reading.kind, reading.name, *texts.columns)
        if texts.height == 0:
            return
        _, frames = self.groups.setdefault(key, (reading, []))
        if frames:
            # Two frames have no codes in common.
            frames[:], texts = map(as_texts, frames), as_texts(texts)
        frames.append(texts)
