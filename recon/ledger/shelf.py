"""The rows of files taken in before, kept as tables: a file is known by its content, and not read twice.

Each run keeps the rows of the files that it read as one table a kind (a batch). A file is put back from there where
reading it again would give the same: its name and content, the descriptions that speak for it, the route's currency
and zone, and what the layouts say of its machines (zone, currency, labels) are as they were, nothing hung on the moment
of the run, and that is no earlier than when the file was read.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any, Final, NamedTuple

import polars as pl

from recon.intake.describe import speaking_for
from recon.intake.kept import Fresh, KeptPart
from recon.intake.kinds import AFTER_RUN
from recon.intake.known import Known
from recon.intake.vend_rows import vends_as_parquet
from recon.ledger.canonical import canonical
from recon.ledger.entries import Entry
from recon.ledger.originals import whole
from recon.ledger.tables import as_parquet, keep_table, read_tables, table_path
from recon.model.frames import BY_KIND, NOTICES, REJECTS, Frame, FrameSpec
from recon.model.versions import version

SPECS: Final[Mapping[str, FrameSpec]] = {**BY_KIND, "rejects": REJECTS, "notices": NOTICES}
"""The tables of a batch: the canonical frame of each kind of file, what was rejected and what was remarked."""


class Keys:
    """Hashes of what the reading of files hangs on, as far as a route tells it. known: the route."""

    def __init__(self, known: Known) -> None:
        self._known = known
        self._of_several: dict[tuple[str, ...], str] = {}

    @cached_property
    def general(self) -> str:
        """Of what every file hangs on: versions, the route's currency and zone."""
        settings = self._known.route.settings
        versions = [version(name) for name in ("recon", "polars", "tzdata")]
        return _digest([versions, settings.currency, settings.timezone])

    @cached_property
    def _of_source(self) -> dict[str, str]:
        return {each.file: _digest(each.source.model_dump_json()) for each in self._known.route.sources}

    def sources(self, names: Sequence[str]) -> dict[str, str]:
        """The descriptions that speak for a file of these names, each with its hash."""
        return {each.file: self._of_source[each.file] for each in speaking_for(names, self._known.route)}

    @cached_property
    def _of_machine(self) -> dict[str, str]:
        known = self._known
        return {name: _digest([known.zones[name], known.currencies[name], known.labels[name]]) for name in known.zones}

    @cached_property
    def _of_all(self) -> str:
        return _digest(self._of_machine)

    def machines(self, names: Sequence[str] | None) -> str:
        """Of what the layouts say of some machines (None: of all), as far as reading a row may hang on it."""
        if names is None:
            return self._of_all
        # Week after week an export names the same machines.
        key = tuple(names)
        if key not in self._of_several:
            self._of_several[key] = _digest({name: self._of_machine.get(name) for name in names})
        return self._of_several[key]


def _digest(told: object) -> str:
    return hashlib.sha256(canonical(told)).hexdigest()


@dataclass
class Shelf:
    """What is kept of a route's files, for a run at a moment. Answers what recon.intake.kept.Keeper asks."""

    root: Path
    entries: Sequence[Entry]
    now: datetime
    known: Known
    _keys: Keys = field(init=False)
    _last: dict[str, Entry] = field(init=False)
    _tables: dict[str, dict[str, str]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._keys = Keys(self.known)
        self._last = {str(entry.body["file"]): entry for entry in self.entries}

    def knows(self, name: str) -> bool:
        """Whether a file of that name was read before."""
        return name in self._last

    def find(self, name: str, sha256: str) -> list[KeptPart] | None:
        """The tables of a file, if it was read before and reading it again would give the same."""
        entry = self._last.get(name)
        if entry is None or entry.body["sha256"] != sha256 or entry.body.get("batch") is None:
            return None
        # At an earlier moment some rows would lie after the run.
        if entry.at > self.now or not all(self._holds(part["reading"]) for part in entry.body["parts"]):
            return None
        # A table that is gone does not stop a run: the file is read again. recon verify says that it is gone.
        batch = str(entry.body["batch"])
        if batch not in self._tables:
            tables = {table["name"]: table["sha256"] for table in entry.body["table"]}
            if not all(table_path(self.root, kind, sha).is_file() for kind, sha in tables.items()):
                return None
            self._tables[batch] = tables
        return [
            KeptPart(part["path"], part["sheet"], part["kind"], part["source"], part["rows"], batch, part["number"])
            for part in entry.body["parts"]
        ]

    def _holds(self, reading: Mapping[str, Any]) -> bool:
        keys = self._keys
        return bool(
            reading["general"] == keys.general
            and reading["sources"] == keys.sources(reading["names"])
            and reading["machines"] == keys.machines(reading["of"])
        )

    def rows(self, kind: str, batches: Sequence[str]) -> list[tuple[str, Frame]]:
        """The rows of batches that have any of a kind, each with its columns as the frame's spec has them."""
        found = []
        for batch in batches:
            sha256 = self._tables[batch].get(kind)
            if sha256 is not None:
                table = read_tables(self.root, kind, [sha256])
                found.append((batch, table.select(_typed(SPECS[kind]))))
        return found

    def tables(self, kind: str, batches: Sequence[str]) -> list[tuple[str, Path]]:
        """The same as Parquet files, each held against its hash."""
        named = [(batch, self._tables[batch][kind]) for batch in batches if kind in self._tables[batch]]
        for _, sha256 in named:
            whole(self.root, table_path(self.root, kind, sha256), sha256)
        return [(batch, table_path(self.root, kind, sha256)) for batch, sha256 in named]


def _typed(spec: FrameSpec) -> list[pl.Expr]:
    return [pl.col(column.name).cast(column.dtype) for column in spec.columns]


def _plain(frame: Frame) -> Frame:
    """Categories as text: how they are numbered is nobody's business but the process's that made them."""
    return frame.with_columns(pl.col(pl.Categorical, pl.Enum).cast(pl.String))


class Batch(NamedTuple):
    """What was kept of the files that a run read. told: for each of their numbers what its entry says."""

    name: str
    tables: Sequence[Mapping[str, str]]
    told: Mapping[int, Mapping[str, Any]]


def keep_batch(root: Path, fresh: Fresh, known: Known) -> Batch:
    """Keep the rows of files that were read anew, one table a kind. To be called while holding the lock.

    Files whose reading hung on the moment of the run are left out: they are read anew each time.
    """
    ahead = fresh.frames["rejects"].filter(pl.col("reason").str.contains(AFTER_RUN, literal=True))
    later = fresh.frames["notices"].filter(pl.col("kind") == "future-time")
    numbers = sorted(fresh.files - {*fresh.by_moment, *ahead["file"], *later["file"]})
    place = {number: at for at, number in enumerate(numbers)}
    every = len(numbers) == len(fresh.files)
    tables, machines = [], [pl.DataFrame(schema={"file": pl.Int32, "machine": pl.String})]
    for kind, rows in fresh.frames.items():
        frame = rows if every else rows.filter(pl.col("file").is_in(numbers))
        if kind in BY_KIND:
            machines.append(frame.select("file", "machine").unique())
        if frame.height:
            # Where all files were read anew, their numbers stay.
            if any(number != at for number, at in place.items()):
                frame = frame.with_columns(pl.col("file").replace_strict(place, return_dtype=pl.Int32))
            tables.append({"name": kind, "sha256": keep_table(root, kind, _as_kept(kind, frame))})
    for kind, path in fresh.laid_down.items() if numbers else ():
        machines.append(_machines_in(path, sorted(fresh.files)))
        tables.append({"name": kind, "sha256": _keep_laid_down(root, kind, path, fresh, place)})
    tables.sort(key=lambda table: table["name"])
    name = hashlib.sha256(canonical([[table["name"], table["sha256"]] for table in tables])).hexdigest()
    with_rejects = frozenset(fresh.frames["rejects"]["file"])
    readings = _readings(numbers, fresh.names, pl.concat(machines), with_rejects, known)
    return Batch(name, tables, {number: {"number": place[number], "reading": readings[number]} for number in numbers})


def _as_kept(kind: str, rows: Frame) -> bytes:
    return vends_as_parquet(rows) if kind == "vends" else as_parquet(_plain(rows))


def _machines_in(path: Path, files: Sequence[int]) -> Frame:
    pairs = pl.scan_parquet(path).select("file", "machine").unique().collect()
    return pairs.with_columns(pl.col("file").replace_strict(dict(enumerate(files)), return_dtype=pl.Int32))


def _keep_laid_down(root: Path, kind: str, path: Path, fresh: Fresh, place: Mapping[int, int]) -> str:
    """Keep a table that was laid down: as it is, unless some of its files are not to be kept."""
    if len(place) == len(fresh.files):
        return keep_table(root, kind, path.read_bytes())
    there = {at: place[number] for at, number in enumerate(sorted(fresh.files)) if number in place}
    now = pl.col("file").replace_strict(there, default=None, return_dtype=pl.Int32)
    rows = pl.read_parquet(path, memory_map=False).with_columns(now).filter(pl.col("file").is_not_null())
    return keep_table(root, kind, vends_as_parquet(rows))


def _readings(
    numbers: Sequence[int],
    names: Mapping[int, Sequence[str]],
    machines: Frame,
    with_rejects: frozenset[int],
    known: Known,
) -> dict[int, dict[str, Any]]:
    """For each file what its reading hung on. names: those that it goes by. machines: `file` and `machine`.
    with_rejects: the files of which rows were rejected."""
    keys = Keys(known)
    own: dict[int, list[str]] = {}
    for number, machine in machines.drop_nulls().unique().sort("file", "machine").iter_rows():
        own.setdefault(number, []).append(machine)
    readings = {}
    for number in numbers:
        # A row that was rejected names its machine in nothing but its text, and a line of a note is that of a machine
        # where a layout has it: any machine may decide about them.
        any_machine = number in with_rejects or any(name.lower().endswith(".txt") for name in names[number])
        of = None if any_machine else own.get(number, [])
        readings[number] = {
            "general": keys.general,
            "names": list(names[number]),
            "sources": keys.sources(names[number]),
            "of": of,
            "machines": keys.machines(of),
        }
    return readings
