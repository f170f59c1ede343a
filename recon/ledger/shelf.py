"""The rows of files taken in before, kept as tables: a file is known by its content, and not read twice.

Each run keeps the rows of the files that it read as one table a kind (a batch). A file is put back from there where
reading it again would give the same: its name and content, the descriptions, the route's currency and zone, and what
the layouts say of its machines (zone, currency, labels) are as they were, and nothing hung on the moment of the run.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import polars as pl

from recon.intake.kept import KeptPart
from recon.intake.known import Known
from recon.intake.take_in import Intake
from recon.ledger.canonical import canonical
from recon.ledger.entries import Entry
from recon.ledger.tables import keep_table, read_tables
from recon.model.frames import BY_KIND, NOTICES, REJECTS, Frame, FrameSpec
from recon.route.folder import Route

SPECS: Final[Mapping[str, FrameSpec]] = {**BY_KIND, "rejects": REJECTS, "notices": NOTICES}
"""The tables of a batch: the canonical frame of each kind of file, what was rejected and what was remarked."""


def general_key(route: Route) -> str:
    """Hash of what the reading of any file may hang on: versions, descriptions, the route's currency and zone."""
    told = {
        "versions": [version(name) for name in ("recon", "polars", "tzdata")],
        "currency": route.settings.currency,
        "timezone": route.settings.timezone,
        "sources": sorted([source.file, source.source.model_dump_json()] for source in route.sources),
    }
    return hashlib.sha256(canonical(told)).hexdigest()


def machines_key(known: Known, machines: Sequence[str] | None) -> str:
    """Hash of what the layouts say of some machines (None: of all), as far as reading a row may hang on it."""
    machines = sorted(known.zones) if machines is None else machines
    told = [
        [machine, known.zones.get(machine), known.currencies.get(machine), known.labels.get(machine)]
        for machine in machines
    ]
    return hashlib.sha256(canonical(told)).hexdigest()


@dataclass
class Shelf:
    """What is kept of a route's files, for a run at a moment. Answers what recon.intake.kept.Keeper asks."""

    root: Path
    entries: Sequence[Entry]
    now: datetime
    known: Known
    _general: str = field(init=False)
    _last: dict[str, Entry] = field(init=False)
    _tables: dict[str, dict[str, str]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._general = general_key(self.known.route)
        self._last = {str(entry.body["file"]): entry for entry in self.entries}

    def find(self, name: str, sha256: str) -> list[KeptPart] | None:
        """The tables of a file, if it was read before and reading it again would give the same."""
        entry = self._last.get(name)
        if entry is None or entry.body["sha256"] != sha256 or entry.body.get("batch") is None:
            return None
        if not all(self._holds(part["reading"]) for part in entry.body["parts"]):
            return None
        batch = str(entry.body["batch"])
        self._tables[batch] = {table["name"]: table["sha256"] for table in entry.body["table"]}
        return [
            KeptPart(part["path"], part["sheet"], part["kind"], part["source"], part["rows"], batch, part["number"])
            for part in entry.body["parts"]
        ]

    def _holds(self, reading: Mapping[str, Any]) -> bool:
        latest = reading["latest"]
        return (
            reading["general"] == self._general
            and reading["machines"] == machines_key(self.known, reading["of"])
            and (latest is None or datetime.fromisoformat(latest) <= self.now)
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


def _typed(spec: FrameSpec) -> list[pl.Expr]:
    return [pl.col(column.name).cast(column.dtype) for column in spec.columns]


def _plain(frame: Frame) -> Frame:
    """Categories as text: how they are numbered is nobody's business but the process's that made them."""
    return frame.with_columns(pl.col(pl.Categorical, pl.Enum).cast(pl.String))


@dataclass(frozen=True, slots=True)
class Batch:
    """What was kept of the files that a run read. told: for each of their numbers what its entry says."""

    name: str
    tables: Sequence[Mapping[str, str]]
    told: Mapping[int, Mapping[str, Any]]


def keep_batch(root: Path, intake: Intake, known: Known) -> Batch:
    """Keep the rows of the files that were read anew, one table a kind. To be called while holding the lock.

    Files whose reading hung on the moment of the run are left out: they are read anew each time.
    """
    fresh = intake.fresh
    hung = {*fresh.by_moment, *fresh.frames["notices"].filter(pl.col("kind") == "future-time")["file"]}
    numbers = sorted(fresh.files - hung)
    place = {number: at for at, number in enumerate(numbers)}
    frames = {kind: frame.filter(pl.col("file").is_in(numbers)) for kind, frame in fresh.frames.items()}
    tables = []
    for kind, frame in frames.items():
        if frame.height:
            moved = frame.with_columns(pl.col("file").replace_strict(place, return_dtype=pl.Int32))
            tables.append({"name": kind, "sha256": keep_table(root, kind, _plain(moved))})
    name = hashlib.sha256(canonical([[table["name"], table["sha256"]] for table in tables])).hexdigest()
    readings = _readings(numbers, frames, known)
    return Batch(name, tables, {number: {"number": place[number], "reading": readings[number]} for number in numbers})


def _readings(numbers: Sequence[int], frames: Mapping[str, Frame], known: Known) -> dict[int, dict[str, Any]]:
    """For each file what its reading hung on."""
    general = general_key(known.route)
    named = [frame.select("file", "machine") for kind, frame in frames.items() if kind in BY_KIND]
    every = pl.concat([pl.DataFrame(schema={"file": pl.Int32, "machine": pl.String}), *named]).drop_nulls().unique()
    machines = {key[0]: sorted(part["machine"]) for key, part in every.partition_by("file", as_dict=True).items()}
    placed = [frame.select("file", "time") for kind, frame in frames.items() if _placed(kind)]
    latest = dict(pl.concat(placed).group_by("file").agg(pl.col("time").max()).iter_rows()) if placed else {}
    # A row that was rejected names its machine in nothing but its text: any machine may decide about it.
    with_rejects = set(frames["rejects"]["file"])
    readings = {}
    for number in numbers:
        of, last = None if number in with_rejects else machines.get(number, []), latest.get(number)
        readings[number] = {
            "general": general,
            "of": of,
            "machines": machines_key(known, of),
            "latest": None if last is None else last.isoformat(),
        }
    return readings


def _placed(kind: str) -> bool:
    return kind in BY_KIND and "time" in BY_KIND[kind].names
