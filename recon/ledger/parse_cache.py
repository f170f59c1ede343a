"""A cache of parsed files: ledger/cache/, an index and the rows of each file as Parquet.

It is no part of the record: no entry names it, and it may be deleted at any time. A file's rows are used only where
parsing the file again would give the same. What decides about that stands in the index beside them: name and content
of the file, the descriptions that speak for it, currency and zone of the route, what layouts say of its machines
(zone, currency, labels), the versions of the libraries, and a hash of the code that parses. Nothing of a file whose
parsing depended on the moment of the run is cached, and a run of an earlier moment parses every file anew.

Rows stand in segments: one Parquet file a kind of row. Each run adds one segment; small ones are put together, so that
a route that is run every day has few. New segments are written first, then the index is replaced as a whole, and only
then are old segments removed: whatever cuts a run short leaves an index whose segments are whole, or none that is used.
"""

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from functools import cache, cached_property
from pathlib import Path
from typing import Any, Final

import polars as pl

from recon.intake.cached_files import CachedPart
from recon.intake.describe import speaking_for
from recon.intake.known import Known
from recon.intake.vend_rows import by_number
from recon.ledger.canonical import canonical
from recon.ledger.files import ledger_folder
from recon.model.frames import BY_KIND, NOTICES, REJECTS, Frame, FrameSpec
from recon.model.versions import installed, version

SPECS: Final[Mapping[str, FrameSpec]] = {**BY_KIND, "rejects": REJECTS, "notices": NOTICES}
"""The kinds of row of a segment."""
UNFINISHED_INDEX: Final = ".index-"
"""How the name of an index begins that is being written."""
_INDEX: Final = "index.json"
_FORMAT: Final = "recon-cache/1"
_PARSERS: Final = ("model", "route", "intake")
"""The packages whose code decides what a file gives."""


class CacheDamaged(Exception):
    """A segment that the index names is gone or was altered."""


def cache_folder(root: Path) -> Path:
    """Return the folder of a route's cache."""
    return ledger_folder(root) / "cache"


def digest(value: object) -> str:
    """Return the SHA-256 of a value as canonical JSON, hex."""
    return hashlib.sha256(canonical(value)).hexdigest()


@cache
def code_digest() -> str:
    """Return the SHA-256 over the code that parses files: a changed default or rule reaches files that were parsed
    before."""
    top = Path(__file__).parent.parent
    whole = hashlib.sha256()
    for package in _PARSERS:
        for path in sorted((top / package).rglob("*.py")):
            whole.update(f"{path.relative_to(top).as_posix()}\0{path.stat().st_size}\0".encode())
            whole.update(path.read_bytes())
    return whole.hexdigest()


class Keys:
    """Hashes of everything in the route on which the parsing of a file depends."""

    def __init__(self, known: Known) -> None:
        self._known = known
        self._of_several: dict[tuple[str, ...], str] = {}

    @cached_property
    def general(self) -> str:
        """Of what every file depends on: code, versions, currency and zone of the route."""
        settings = self._known.route.settings
        versions = [*(version(name) for name in ("recon", "polars", "tzdata")), installed("fastexcel")]
        return digest([_FORMAT, code_digest(), versions, settings.currency, settings.timezone])

    @cached_property
    def _of_source(self) -> dict[str, str]:
        return {each.file: digest(each.source.model_dump_json()) for each in self._known.route.sources}

    def sources(self, names: Sequence[str]) -> dict[str, str]:
        """Return the descriptions that speak for a file of these names, each with its hash."""
        return {each.file: self._of_source[each.file] for each in speaking_for(names, self._known.route)}

    @cached_property
    def _every(self) -> tuple[str, ...]:
        return tuple(sorted(self._known.zones))

    def machines(self, names: Sequence[str] | None) -> str:
        """Of what the layouts say of some machines (None: of all), as far as parsing a row may depend on it."""
        key = self._every if names is None else tuple(names)
        # Week after week an export names the same machines.
        if key not in self._of_several:
            zones, currencies, labels = self._known.zones, self._known.currencies, self._known.labels
            own = [[name, zones[name], currencies[name], labels[name]] if name in zones else name for name in key]
            self._of_several[key] = hashlib.sha256(json.dumps(own).encode()).hexdigest()
        return self._of_several[key]


@dataclass(slots=True)
class Index:
    """What the cache holds."""

    general: str = ""
    """Hash of what every file depends on (Keys.general)."""
    files: dict[str, dict[str, Any]] = field(default_factory=dict)
    """By name what is known of each file: hash and status, when it was parsed, what that depended on, its tables."""
    segments: dict[str, dict[str, Any]] = field(default_factory=dict)
    """By name the keys of the tables in each segment, its size in rows, and by kind of row the hash of its file."""
    machines: list[list[str]] = field(default_factory=list)
    """Sets of machines; a table names its own by the place in this list."""
    last: int = 0
    """The last number given to a table or a segment."""

    @classmethod
    def read(cls, folder: Path) -> "Index":
        """Read the index; an empty one where there is none, or where it is not whole."""
        try:
            head, _, body = (folder / _INDEX).read_bytes().partition(b"\n")
            if head.decode() != f"{_FORMAT} {hashlib.sha256(body).hexdigest()}":
                return cls()
            return cls(**json.loads(body))
        except (OSError, ValueError, TypeError):
            return cls()

    def write(self, folder: Path) -> None:
        """Replace the index. Raises OSError where it cannot be written."""
        body = json.dumps(asdict(self), separators=(",", ":")).encode()
        head = f"{_FORMAT} {hashlib.sha256(body).hexdigest()}\n".encode()
        handle, name = tempfile.mkstemp(dir=folder, prefix=UNFINISHED_INDEX)  # mode 0600
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(head + body)
            Path(name).replace(folder / _INDEX)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise


@dataclass
class CachedFiles:
    """The cache of a route as a run at a moment sees it. Answers what recon.intake.cached_files.ParseCache asks."""

    root: Path
    now: datetime
    known: Known
    keys: Keys = field(init=False)
    index: Index = field(init=False)

    def __post_init__(self) -> None:
        self.keys = Keys(self.known)
        self.index = Index.read(cache_folder(self.root))
        if self.index.general != self.keys.general:
            self.index = Index()

    def knows(self, name: str) -> bool:
        return name in self.index.files

    def unchanged(self, name: str, status: os.stat_result) -> str | None:
        entry = self.index.files.get(name)
        if entry is None or entry["status"] is None or entry["status"] != stamp(status):
            return None
        return str(entry["sha256"])

    def find(self, name: str, sha256: str) -> list[CachedPart] | None:
        entry = self.index.files.get(name)
        # At an earlier moment some rows would lie after the run.
        if entry is None or entry["sha256"] != sha256 or datetime.fromisoformat(entry["parsed_at"]) > self.now:
            return None
        if entry["sources"] != self.keys.sources(entry["names"]):
            return None
        parts = entry["parts"]
        if any(part["machines"] != self.keys.machines(self.machines_of(part)) for part in parts):
            return None
        return [
            CachedPart(part["path"], part["sheet"], part["kind"], part["source"], part["rows"], part["key"])
            for part in parts
        ]

    def machines_of(self, part: Mapping[str, Any]) -> list[str] | None:
        """Return the machines whose layouts decide about a table; None: all."""
        return None if part["of"] is None else self.index.machines[part["of"]]

    def rows(self, kind: str, numbers: Mapping[int, int]) -> list[Frame]:
        """Return the rows of some files, narrow ones of vends.

        Raises CacheDamaged where a segment is gone or was altered: the files are then to be parsed anew.
        """
        found = []
        for name, segment in self.index.segments.items():
            if kind in segment["hashes"]:
                rows = by_number(read_segment(self.root, name, kind, segment["hashes"][kind]), numbers)
                if rows.height:
                    found.append(rows)
        return found


def stamp(status: os.stat_result) -> list[int] | None:
    """Return what shows that a file is as it was: size, inode, time of change and of writing; None without an inode."""
    if status.st_ino == 0:
        return None
    return [status.st_size, status.st_ino, status.st_ctime_ns, status.st_mtime_ns]


def segment_path(root: Path, segment: str, kind: str) -> Path:
    """Return the path of the rows of a kind in a segment."""
    return cache_folder(root) / f"{segment}-{kind}.parquet"


def read_segment(root: Path, segment: str, kind: str, sha256: str) -> Frame:
    """Read the rows of a segment as they are used in memory. Raises CacheDamaged where they are not what they were."""
    path = segment_path(root, segment, kind)
    try:
        data = path.read_bytes()
        if hashlib.sha256(data).hexdigest() != sha256:
            raise CacheDamaged(path.name)
        rows = pl.read_parquet(data)
    except (OSError, pl.exceptions.PolarsError) as error:
        raise CacheDamaged(path.name) from error
    if kind == "vends":
        return rows
    return rows.select(pl.col(column.name).cast(column.dtype) for column in SPECS[kind].columns)


def parse_cache(root: Path, now: datetime, known: Known) -> CachedFiles | None:
    """Open the cache of a route for a run at a moment; None where it holds nothing."""
    if not (cache_folder(root) / _INDEX).is_file():
        return None
    opened = CachedFiles(root, now.astimezone(UTC), known)
    return opened if opened.index.files else None

