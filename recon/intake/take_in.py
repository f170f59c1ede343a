"""Take in the inbox: every file read, every row accounted for."""

import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from recon.intake.cached_files import CachedPart, Fresh, ParseCache
from recon.intake.clock import AmbiguousFormat
from recon.intake.duplicates import part_duplicates
from recon.intake.gather import inbox_files, read_cells, take_file, torn_rows, with_text
from recon.intake.gathered import File, Gathered
from recon.intake.kinds import read_rows
from recon.intake.known import Known
from recon.intake.mended import OFFSET, STANDS_FOR, Batch, Inbox, as_if, as_they_stand, batches
from recon.intake.table import ROW
from recon.intake.texts import by_field
from recon.intake.vend_rows import VendRows, narrow
from recon.model.border import guard
from recon.model.frames import BY_KIND, INPUTS, NOTICES, REJECTS, VENDS, Frame
from recon.model.words import FILE_KINDS, FileKind
from recon.route.folder import Route

BYTES_A_VEND = 64
"""About what a vend takes in an export: so many bytes of files are read at once for each vend read at once."""


@dataclass(frozen=True, slots=True)
class Intake:
    """Everything the inbox gave. Each frame keeps the spec of its name in recon.model.frames.

    rows: the vends. fresh: what files gave that were parsed in this run. cached: the tables of files that were parsed
    before, with their numbers. statuses: what the system said of each file when it was opened, by name.
    """

    inputs: Frame
    rejects: Frame
    notices: Frame
    rows: VendRows
    counts: Frame
    loads: Frame
    cash: Frame
    payouts: Frame
    tests: Frame
    fresh: tuple[Fresh, ...]
    cached: Sequence[tuple[CachedPart, int]]
    statuses: Mapping[str, os.stat_result]

    @property
    def vends(self) -> Frame:
        """Return the frame `vends`, of all machines."""
        return guard(self.rows.all(), VENDS)

    @property
    def paths(self) -> list[str]:
        """Path of each input by its file number."""
        return self.inputs["path"].to_list()


def take_in(
    route: Route,
    *,
    now: datetime,
    on_file: Callable[[str], None] = lambda path: None,
    cache: ParseCache | None = None,
    at_once: int | None = None,
) -> Intake:
    """Read every file in the route's inbox into canonical frames.

    now: the moment of the run (aware); later times are refused. on_file: called with each path before it is read.
    cache: knows what files gave that were parsed before; the result is the same with and without.
    at_once: how many vends may be read at once; None: all of them. Where there are more, files are read some at a time.
    Nothing about a file's content raises: what cannot be used becomes a remark or a reject with its reason.
    """
    known = Known(route)
    gathered = _gather(known, now, on_file, cache, at_once, frozenset())
    if gathered.mended and (gathered.cached or gathered.released):
        # Mended lines are read as those that they stand for, whose files have to be at hand.
        gathered = _gather(known, now, on_file, cache, at_once, _spoken_of(gathered))
    if cache is not None and gathered.cached:
        _take_cached(gathered, cache)
    stands_for = _take_mended(gathered, known, now)
    return _assemble(gathered, stands_for)


def _gather(
    known: Known,
    now: datetime,
    on_file: Callable[[str], None],
    cache: ParseCache | None,
    at_once: int | None,
    anew: frozenset[str],
) -> Gathered:
    """Open and read every file that is not cached; those named in `anew` are opened all the same, and stay at hand."""
    gathered = Gathered()
    root = known.route.root
    for path in inbox_files(root):
        name = path.relative_to(root).as_posix()
        on_file(name)
        take_file(path, name, gathered, known, None if name in anew else cache)
        if at_once is not None and gathered.held > at_once * BYTES_A_VEND:
            _read(gathered, known, now)
            gathered.release(anew)
    _read(gathered, known, now)
    return gathered


def _take_cached(gathered: Gathered, cache: ParseCache) -> None:
    """Add the rows of files that were parsed before."""
    numbers = {part.key: number for part, number in gathered.cached}
    for rows in cache.rows("vends", numbers):
        gathered.vends.add(rows)
    for kind in FILE_KINDS:
        if kind != "vends":
            # What is cached stands first: with files named for their weeks, all rows then stand in order.
            gathered.accepted[kind] = [*cache.rows(kind, numbers), *gathered.accepted[kind]]
    gathered.rejects += cache.rows("rejects", numbers)
    gathered.notices += cache.rows("notices", numbers)


def _read(gathered: Gathered, known: Known, now: datetime) -> None:
    """Read the cells and rows of the files opened since the last time."""
    read_cells(gathered, known, now)
    accepted: dict[FileKind, list[Frame]] = {kind: [] for kind in FILE_KINDS}
    refused: list[Frame] = []
    for reading, texts in gathered.groups.values():
        rows = read_rows(pl.concat(texts), reading, known, now)
        accepted[reading.kind].append(rows.accepted)
        gathered.notices.append(rows.notices)
        refused.append(rows.rejected)
    gathered.groups.clear()
    rejects = list(_rejects(gathered, refused, gathered.unread))
    gathered.fresh.append(_fresh(gathered, accepted, rejects))
    gathered.rejects += rejects
    gathered.refused += refused
    if "vends" in gathered.fresh[-1].frames:
        gathered.vends.add(gathered.fresh[-1].frames["vends"])
    for kind, frames in accepted.items():
        gathered.accepted[kind] += frames if kind != "vends" else []
    gathered.unread.clear()


def _spoken_of(gathered: Gathered) -> frozenset[str]:
    """The files whose rows are mended elsewhere; all files where one of these is gone, for any may lend its header."""
    named: set[str] = set()
    for table in gathered.mended.values():
        for path in table.column("file").drop_nulls().unique():
            named |= {str(path), str(path).rpartition(" [")[0] or str(path)}
    every = {name for file in gathered.files for name in (file.name, file.path)}
    there = all(str(path) in every for table in gathered.mended.values() for path in table.column("file").drop_nulls())
    return frozenset(named) if there else frozenset(every)


def _fresh(gathered: Gathered, accepted: dict[FileKind, list[Frame]], rejects: list[Frame]) -> Fresh:
    """What the files gave that were read just now, apart from mended lines, which hang on other files."""
    files = frozenset(gathered.unread - set(gathered.mended))
    own = pl.col("file").is_in(sorted(files))
    frames: dict[str, Frame] = {
        kind: pl.concat([part.select(BY_KIND[kind].names) for part in parts])
        for kind, parts in accepted.items()
        if parts
    }
    if "vends" in frames:
        frames["vends"] = narrow(frames["vends"])
    frames["rejects"] = pl.concat([REJECTS.empty(), *rejects]).filter(own)
    notices = pl.concat([NOTICES.empty(), *gathered.notices])
    frames["notices"] = notices.filter(own, pl.col("other_file").is_null())
    return Fresh(files, frames, frozenset(gathered.by_moment), gathered.names)


def _take_mended(gathered: Gathered, known: Known, now: datetime) -> Frame:
    """Take in the mended lines of each rejects.csv that came back, once all else is read. Returns what they stand
    for."""
    stands_for = pl.DataFrame(schema=STANDS_FOR)
    taken: set[tuple[int, int]] = set()
    refused: list[Frame] = []
    for number, table in gathered.mended.items():
        inbox = _inbox(gathered, [*gathered.refused, *refused], known.route)
        made, unusable = batches(table, inbox, taken)
        kinds = {batch.reading.kind for batch in made}
        gathered.files[number].kind = kinds.pop() if len(kinds) == 1 else None
        for batch in made:
            try:
                texts = by_field(batch.table, batch.reading, file=batch.model, now=now, known=known)
            except AmbiguousFormat as error:
                unusable += [(int(row) - OFFSET, str(error)) for row in batch.table.frame[ROW] if row >= OFFSET]
                continue
            rows = read_rows(batch.own_rows(texts, number), batch.reading, known, now)
            gathered.accepted[batch.reading.kind].append(rows.accepted)
            gathered.notices.append(rows.notices)
            refused.append(rows.rejected)
            stands_for = pl.concat([stands_for, _standing(batch, number, rows.accepted)])
        told = [(number, row, reason) for row, reason in unusable]
        refused.append(pl.DataFrame(told, schema=REJECTS.empty().drop("text").schema, orient="row"))
    for file, row, origin_file, origin_row in stands_for.iter_rows():
        gathered.remark(origin_file, "row-mended", "", other=file, row=origin_row, other_row=row)
    gathered.rejects.extend(_rejects(gathered, refused, gathered.mended))
    return stands_for


def _inbox(gathered: Gathered, refused: list[Frame], route: Route) -> Inbox:
    tables = {number: table for number, table in gathered.tables.items() if number not in gathered.mended}
    rows = {row for frame in refused for row in frame.select("file", "row").iter_rows()}
    rows |= {(number, torn.row) for number, table in tables.items() for torn in table.torn}
    paths = {number: file.path for number, file in enumerate(gathered.files)}
    return Inbox(paths, tables, gathered.readings, frozenset(rows), route)


def _standing(batch: Batch, file: int, accepted: Frame) -> Frame:
    rows = [(file, row, *batch.stands_for[row]) for row in accepted["row"].to_list() if row in batch.stands_for]
    return pl.DataFrame(rows, schema=STANDS_FOR, orient="row")


def _rejects(gathered: Gathered, refused: list[Frame], files: Collection[int]) -> Iterator[Frame]:
    """The refused rows of files that were taken in, their torn records among them, with their original text."""
    none = REJECTS.empty().drop("text")
    by_file = pl.concat([none, *refused]).partition_by("file", as_dict=True)
    for number in sorted(files):
        table, rows = gathered.tables[number], by_file.get((number,), none)
        if rows.height or table.torn:
            yield with_text(pl.concat([rows, torn_rows(table, number)]), table)


def _parted(frame: Frame, kind: FileKind, stands_for: Frame) -> tuple[Frame, Frame]:
    """The rows of a kind that count, in no certain order, and remarks on those that repeat them.

    A mended row is told from its repeats as if it stood where it came from: there it would not be one.
    """
    kept, repeats = part_duplicates(as_if(frame, stands_for), kind)
    there = as_they_stand(repeats, stands_for, ("file", "row"), ("other_file", "other_row"))
    return as_they_stand(kept, stands_for, ("file", "row")), there


def _assemble(gathered: Gathered, stands_for: Frame) -> Intake:
    frames: dict[str, Frame] = {}
    notices = gathered.notices
    # Mended rows take the place of those for which they stand, until they are handed out.
    vends = gathered.vends
    vends.stands_for = stands_for
    for mended in gathered.accepted.pop("vends"):
        vends.add(narrow(as_if(mended, stands_for)))
    notices.append(vends.part_repeats())
    for kind, parts in gathered.accepted.items():
        spec = BY_KIND[kind]
        whole = pl.concat([part.select(spec.names) for part in parts]) if parts else spec.empty()
        counting, repeats = _parted(whole, kind, stands_for)
        frames[kind] = guard(counting, spec)
        notices.append(repeats)
    remarks = pl.concat([NOTICES.empty(), *notices])
    rejects = guard(_told_mended(pl.concat([REJECTS.empty(), *gathered.rejects]), gathered, stands_for), REJECTS)
    return Intake(
        inputs=guard(_account(_files(gathered.files), remarks, rejects), INPUTS),
        rejects=rejects,
        notices=guard(remarks, NOTICES),
        rows=vends,
        fresh=tuple(gathered.fresh),
        cached=tuple(gathered.cached),
        statuses=gathered.statuses,
        **frames,
    )


def _told_mended(rejects: Frame, gathered: Gathered, stands_for: Frame) -> Frame:
    """A row that is mended elsewhere stays rejected, and says where."""
    if stands_for.height == 0:
        return rejects
    paths = dict(enumerate(file.path for file in gathered.files))
    path = pl.col("file").replace_strict(paths, return_dtype=pl.String)
    where = stands_for.select(
        pl.col("origin_file").alias("file"),
        pl.col("origin_row").alias("row"),
        pl.format("; mended in {}:{}", path, "row").alias("where"),
    )
    joined = rejects.join(where, on=["file", "row"], how="left", maintain_order="left")
    return joined.with_columns(pl.col("reason") + pl.col("where").fill_null("")).drop("where")


def _files(files: list[File]) -> Frame:
    """Each file that was met, without the account of its rows."""
    told = [
        (at, each.path, each.name, each.sheet, each.sha256, each.kind, each.source, each.rows)
        for at, each in enumerate(files)
    ]
    named = ("file", "path", "name", "sheet", "sha256", "kind", "source", "rows")
    return pl.DataFrame(told, schema={name: INPUTS.schema[name] for name in named}, orient="row")


def _account(files: Frame, notices: Frame, rejects: Frame) -> Frame:
    """The account of every file: rows = accepted + duplicate + rejected."""
    repeats = notices.filter(pl.col("kind").is_in(["duplicate-row", "vend-changed"]) & pl.col("row").is_not_null())
    told = files.drop("accepted", "duplicate", "rejected", strict=False)
    each = pl.lit(1, pl.Int64).alias("count")
    for name, rows in (("duplicate", repeats.select("file", each)), ("rejected", rejects.select("file", each))):
        many = rows.group_by("file").agg(pl.col("count").sum().alias(name))
        told = told.join(many, on="file", how="left", maintain_order="left").with_columns(pl.col(name).fill_null(0))
    used = pl.col("rows") - pl.col("duplicate") - pl.col("rejected")
    return told.with_columns(used.alias("accepted")).select(INPUTS.names)
