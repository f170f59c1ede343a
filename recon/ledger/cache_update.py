"""Bring the cache of parsed files up to date with a run: what it parsed is added, what is gone from the inbox goes.

To be called while holding the lock of the ledger. A cache that cannot be written fails no run; the next one parses
more.
"""

import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import Any, Final

import polars as pl

from recon.intake.cached_files import Fresh
from recon.intake.kinds import AFTER_RUN
from recon.intake.take_in import Intake
from recon.intake.vend_rows import by_number
from recon.ledger.files import private_folder
from recon.ledger.parse_cache import (
    UNFINISHED_INDEX,
    CacheDamaged,
    CachedFiles,
    Index,
    cache_folder,
    read_segment,
    segment_path,
    stamp,
)
from recon.model.errors import ReconError
from recon.model.frames import BY_KIND, Frame

SMALL: Final = 50_000
"""Rows below which segments are always put together: to write them again takes a few hundredths of a second."""
_FACTOR: Final = 4
"""Segments of about the same size are put together from so many on: a row is then written about log4 of all times."""
_ROWS_A_GROUP: Final = 131_072
_DOUBT: Final = 2_000_000_000
"""Nanoseconds. A file changed less than this before the run may have changed again since, within one tick of the file
system's clock; it is hashed by the next run."""


@dataclass
class _Segment:
    """Rows of some tables by kind: in memory, or in files of the cache. size: how many rows it has."""

    keys: list[int]
    size: int
    frames: Mapping[str, Frame] = field(default_factory=dict)
    name: str | None = None
    hashes: Mapping[str, str] = field(default_factory=dict)


def update_cache(root: Path, intake: Intake, before: CachedFiles, started: int) -> None:
    """Make the cache hold what the files of this run gave.

    before: the cache as it stands. started: when the run began, nanoseconds by the clock of the file system.
    """
    try:
        _Update(root, intake, before, started).carry_out()
    except (OSError, ReconError, CacheDamaged):
        # What was left half done is named by no index; the next run removes it.
        return


class _Update:
    def __init__(self, root: Path, intake: Intake, before: CachedFiles, started: int) -> None:
        self.root, self.intake, self.before, self.started = root, intake, before, started
        self.index = Index(general=before.keys.general, last=before.index.last)
        self.sets: dict[tuple[str, ...], int] = {}

    def carry_out(self) -> None:
        old = self.before.index
        fresh = [self._fresh_segment(each) for each in self.intake.fresh]
        self._keep_known()
        alive = {part["key"] for entry in self.index.files.values() for part in entry["parts"]}
        kept = [
            _Segment(segment["keys"], segment["size"], name=name, hashes=segment["hashes"])
            for name, segment in old.segments.items()
            if not alive.isdisjoint(segment["keys"])
        ]
        self.index.machines = [list(names) for names in self.sets]
        folder = private_folder(cache_folder(self.root))
        for group in grouped([*kept, *(segment for segment in fresh if segment.keys)]):
            self._put(group, alive)
        if self.index != old:
            self.index.write(folder)
        self._clear(folder)

    def _next(self) -> int:
        self.index.last += 1
        return self.index.last

    def _place(self, names: Sequence[str] | None) -> int | None:
        """Return the place of a set of machines among those of the index."""
        return None if names is None else self.sets.setdefault(tuple(names), len(self.sets))

    def _status(self, name: str) -> list[int] | None:
        status = self.intake.statuses.get(name)
        if status is None or max(status.st_ctime_ns, status.st_mtime_ns) > self.started - _DOUBT:
            return None
        return stamp(status)

    def _keep_known(self) -> None:
        """Take over the entries of files whose rows came from the cache."""
        names = dict(self.intake.inputs.select("file", "name").iter_rows())
        for name in sorted({names[number] for _, number in self.intake.cached}):
            entry = self.before.index.files[name]
            parts = [{**part, "of": self._place(self.before.machines_of(part))} for part in entry["parts"]]
            status = entry["status"] if self._same_status(name, entry) else self._status(name)
            self.index.files[name] = {**entry, "status": status, "parts": parts}

    def _same_status(self, name: str, entry: Mapping[str, Any]) -> bool:
        status = self.intake.statuses.get(name)
        return status is not None and entry["status"] is not None and entry["status"] == stamp(status)

    def _fresh_segment(self, fresh: Fresh) -> _Segment:
        """Return the rows of files that were parsed now, with an entry for each of these files."""
        numbers = _lasting(fresh)
        inputs = {row["file"]: row for row in self.intake.inputs.iter_rows(named=True) if row["file"] in fresh.files}
        by_name: dict[str, list[int]] = {}
        for number in sorted(fresh.files):
            by_name.setdefault(inputs[number]["name"], []).append(number)
        counts = dict(self.intake.inputs["name"].value_counts().iter_rows())
        machines = _machines_of(fresh)
        keys: dict[int, int] = {}
        for name, own in by_name.items():
            # A file of which a part could not be read, or depended on the moment, is parsed anew each time.
            if counts[name] == len(own) and numbers.issuperset(own):
                keys |= {number: self._next() for number in own}
                self.index.files[name] = self._entry(name, [inputs[number] for number in own], fresh, machines, keys)
        numbered = {kind: by_number(rows, keys) for kind, rows in fresh.frames.items() if rows.height}
        frames = {kind: rows for kind, rows in numbered.items() if rows.height}
        return _Segment(sorted(keys.values()), sum(rows.height for rows in frames.values()), frames)

    def _entry(
        self, name: str, parts: Sequence[Mapping[str, Any]], fresh: Fresh, machines: Mapping[int, list[str] | None],
        keys: Mapping[int, int],
    ) -> dict[str, Any]:  # fmt: skip
        names = list(fresh.names[parts[0]["file"]])
        told = [
            {
                **{what: part[what] for what in ("path", "sheet", "kind", "source", "rows")},
                "key": keys[part["file"]],
                "of": self._place(machines[part["file"]]),
                "machines": self.before.keys.machines(machines[part["file"]]),
            }
            for part in parts
        ]
        return {
            "sha256": parts[0]["sha256"], "status": self._status(name), "parsed_at": self.before.now.isoformat(),
            "names": names, "sources": self.before.keys.sources(names), "parts": told,
        }  # fmt: skip

    def _put(self, group: Sequence[_Segment], alive: set[int]) -> None:
        """Write segments as one; a single one that is written already is left as it is."""
        if len(group) == 1 and group[0].name is not None:
            name = group[0].name
            self.index.segments[name] = self.before.index.segments[name]
            return
        keys = sorted(key for segment in group for key in segment.keys if key in alive)
        parts: dict[str, list[Frame]] = {}
        for segment in group:
            for kind, rows in self._frames(segment):
                own = rows if segment.name is None else by_number(rows, {key: key for key in keys})
                parts.setdefault(kind, []).append(own)
        name, hashes, size = str(self._next()), {}, 0
        for kind, frames in sorted(parts.items()):
            rows = frames[0] if len(frames) == 1 else pl.concat(frames, how="diagonal_relaxed")
            hashes[kind], size = write_segment(self.root, name, kind, rows), size + rows.height
        self.index.segments[name] = {"keys": keys, "size": size, "hashes": hashes}

    def _frames(self, segment: _Segment) -> Iterator[tuple[str, Frame]]:
        if segment.name is None:
            yield from segment.frames.items()
        else:
            for kind, sha256 in segment.hashes.items():
                yield kind, read_segment(self.root, segment.name, kind, sha256)

    def _clear(self, folder: Path) -> None:
        """Remove what the index does not name, and what is left of an index that was half written."""
        named = {
            segment_path(self.root, name, kind)
            for name, segment in self.index.segments.items()
            for kind in segment["hashes"]
        }
        for path in chain(folder.glob("*.parquet"), folder.glob(f"{UNFINISHED_INDEX}*")):
            if path not in named:
                with suppress(OSError):
                    path.unlink()


def grouped(segments: Sequence[_Segment]) -> list[list[_Segment]]:
    """Sort segments into groups that are to be put together, so that few are left and rows are seldom written again."""
    groups = [[segment] for segment in segments]
    while True:
        tiers: dict[int, list[list[_Segment]]] = {}
        for group in groups:
            tiers.setdefault(_tier(sum(segment.size for segment in group)), []).append(group)
        full = [tier for tier, found in tiers.items() if len(found) >= (_FACTOR if tier else 2)]
        if not full:
            return groups
        tier = min(full)
        together = [segment for group in tiers.pop(tier) for segment in group]
        groups = [together, *(group for found in tiers.values() for group in found)]


def _tier(size: int) -> int:
    """0 for small segments, then one more each time that the size is multiplied."""
    tier = 0
    while size >= SMALL * _FACTOR**tier:
        tier += 1
    return tier


def write_segment(root: Path, name: str, kind: str, rows: Frame) -> str:
    """Write the rows of a kind. Returns the SHA-256 of the file, hex. Raises OSError where it cannot be written."""
    path = segment_path(root, name, kind)
    path.unlink(missing_ok=True)
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    try:
        rows.write_parquet(
            path, compression="zstd", compression_level=1, statistics=False, row_group_size=_ROWS_A_GROUP
        )
    except pl.exceptions.PolarsError as error:
        # So polars reports a disk that is full.
        raise OSError(f"{path.name} cannot be written: {error}") from error
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _lasting(fresh: Fresh) -> set[int]:
    """Return the files whose parsing did not depend on the moment of the run."""
    ahead = fresh.frames["rejects"].filter(pl.col("reason").str.contains(AFTER_RUN, literal=True))
    later = fresh.frames["notices"].filter(pl.col("kind") == "future-time")
    return set(fresh.files) - {*fresh.by_moment, *ahead["file"], *later["file"]}


def _machines_of(fresh: Fresh) -> dict[int, list[str] | None]:
    """Return for each file the machines whose layouts decide about its rows; None: any may.

    A row that was rejected names its machine in nothing but its text, and a line of a note is that of a machine where a
    layout has it.
    """
    pairs = [
        rows.select("file", pl.col("machine").cast(pl.Categorical)).unique()
        for kind, rows in fresh.frames.items()
        if kind in BY_KIND
    ]
    none = pl.DataFrame(schema={"file": pl.Int32, "machine": pl.Categorical})
    own: dict[int, list[str]] = {}
    every = pl.concat([none, *pairs]).drop_nulls().cast({"machine": pl.String}).unique().sort("file", "machine")
    for number, machine in every.iter_rows():
        own.setdefault(number, []).append(machine)
    rejected = set(fresh.frames["rejects"]["file"])
    notes = {number for number, names in fresh.names.items() if any(name.lower().endswith(".txt") for name in names)}
    return {number: None if number in rejected | notes else own.get(number, []) for number in fresh.files}
