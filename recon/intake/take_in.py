"""Take in the inbox: every file read, every row accounted for."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

import polars as pl

from recon.intake.cards import card_number_in, find_card_number, without_digits
from recon.intake.clock import AmbiguousFormat
from recon.intake.describe import UnknownFormat, reading_for
from recon.intake.duplicates import part_duplicates
from recon.intake.encoding import UnreadableFile
from recon.intake.gathered import File, Gathered
from recon.intake.kept import Fresh, Keeper, put_back
from recon.intake.kinds import read_rows
from recon.intake.known import Known
from recon.intake.mended import OFFSET, STANDS_FOR, Batch, Inbox, as_if, as_they_stand, batches
from recon.intake.opened import Part, open_file
from recon.intake.settle import settle
from recon.intake.table import FEW_ROWS, ROW, TextTable
from recon.intake.texts import Settled, by_field, by_field_alike
from recon.model.border import guard
from recon.model.frames import BY_KIND, INPUTS, NOTICES, REJECTS, Frame
from recon.model.words import FILE_KINDS, FileKind
from recon.route.folder import Route

LARGEST_FILE = 4 * 1024**3
"""Bytes. A file beyond this is no export of a small route."""


@dataclass(frozen=True, slots=True)
class Intake:
    """Everything the inbox gave. Each frame keeps the spec of its name in recon.model.frames. fresh: what the files
    gave that were read anew."""

    inputs: Frame
    rejects: Frame
    notices: Frame
    vends: Frame
    counts: Frame
    loads: Frame
    cash: Frame
    payouts: Frame
    tests: Frame
    fresh: Fresh

    @property
    def paths(self) -> list[str]:
        """Path of each input by its file number."""
        return self.inputs["path"].to_list()


def _is_shown(parts: Sequence[str]) -> bool:
    return not any(part.startswith((".", "~")) for part in parts) and not parts[-1].endswith("~")


def inbox_files(root: Path) -> list[Path]:
    """The files of inbox/ and of the folders in it, by path; hidden files and editors' backups are passed over."""
    inbox = root / "inbox"
    found = (path for path in inbox.rglob("*") if path.is_file())
    shown = (path for path in found if _is_shown(path.relative_to(inbox).parts))
    return sorted(shown, key=lambda path: path.relative_to(root).as_posix())


def take_in(
    route: Route,
    *,
    now: datetime,
    on_file: Callable[[str], None] = lambda path: None,
    keeper: Keeper | None = None,
) -> Intake:
    """Read every file in the route's inbox into canonical frames.

    now: the moment of the run (aware); later times are refused. on_file: called with each path before it is read.
    keeper: hands back what files gave that were read before; the result is the same with and without.
    Nothing about a file's content raises: what cannot be used becomes a remark or a reject with its reason.
    """
    known = Known(route)
    gathered = _gather(known, on_file, keeper, frozenset())
    if gathered.mended and gathered.kept:
        # Mended lines are read as those that they stand for, whose files have to be at hand.
        gathered = _gather(known, on_file, keeper, _spoken_of(gathered))
    _read_cells(gathered, known, now)
    accepted: dict[FileKind, list[Frame]] = {kind: [] for kind in FILE_KINDS}
    refused: list[Frame] = []
    for reading, texts in gathered.groups.values():
        rows = read_rows(pl.concat(texts), reading, known, now)
        accepted[reading.kind].append(rows.accepted)
        gathered.notices.append(rows.notices)
        refused.append(rows.rejected)
    fresh = _fresh(gathered, accepted, refused)
    stands_for = _take_mended(gathered, accepted, refused, known, now)
    gathered.rejects.extend(_rejects(gathered, refused))
    if keeper is not None and gathered.kept:
        for kind in FILE_KINDS:
            accepted[kind] += put_back(keeper, kind, gathered.kept)
        gathered.rejects += put_back(keeper, "rejects", gathered.kept)
        gathered.notices += put_back(keeper, "notices", gathered.kept)
    return _assemble(gathered, accepted, stands_for, fresh)


def _gather(
    known: Known, on_file: Callable[[str], None], keeper: Keeper | None, anew: frozenset[str]
) -> Gathered:
    """Open every file, or find what it gave before; those named in `anew` are opened whatever is kept of them."""
    gathered = Gathered()
    root = known.route.root
    for path in inbox_files(root):
        name = path.relative_to(root).as_posix()
        on_file(name)
        _take_file(path, name, gathered, known, None if name in anew else keeper)
    return gathered


def _spoken_of(gathered: Gathered) -> frozenset[str]:
    """The files whose rows are mended elsewhere."""
    named: set[str] = set()
    for table in gathered.mended.values():
        paths = {str(path).rpartition(" [")[0] or str(path) for path in table.column("file").drop_nulls()}
        named |= paths | set(table.column("file").drop_nulls())
    return frozenset(named)


def _fresh(gathered: Gathered, accepted: dict[FileKind, list[Frame]], refused: list[Frame]) -> Fresh:
    """What the files gave that were read anew, apart from mended lines, which hang on other files."""
    files = frozenset(set(gathered.readings) - set(gathered.mended))
    own = pl.col("file").is_in(sorted(files))
    frames: dict[str, Frame] = {
        kind: pl.concat([part.select(BY_KIND[kind].names) for part in parts])
        for kind, parts in accepted.items()
        if parts
    }
    frames["rejects"] = pl.concat([REJECTS.empty(), *_rejects(gathered, refused)]).filter(own)
    notices = pl.concat([NOTICES.empty(), *gathered.notices])
    frames["notices"] = notices.filter(own, pl.col("other_file").is_null())
    return Fresh(files, frames, frozenset(gathered.by_moment), gathered.names)


def _take_mended(
    gathered: Gathered, accepted: dict[FileKind, list[Frame]], refused: list[Frame], known: Known, now: datetime
) -> Frame:
    """Take in the mended lines of each rejects.csv that came back, once all else is read. Returns what they stand
    for."""
    stands_for = pl.DataFrame(schema=STANDS_FOR)
    taken: set[tuple[int, int]] = set()
    for number, table in gathered.mended.items():
        inbox = _inbox(gathered, refused, known.route)
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
            accepted[batch.reading.kind].append(rows.accepted)
            gathered.notices.append(rows.notices)
            refused.append(rows.rejected)
            stands_for = pl.concat([stands_for, _standing(batch, number, rows.accepted)])
        told = [(number, row, reason) for row, reason in unusable]
        refused.append(pl.DataFrame(told, schema=REJECTS.empty().drop("text").schema, orient="row"))
    for file, row, origin_file, origin_row in stands_for.iter_rows():
        gathered.remark(origin_file, "row-mended", "", other=file, row=origin_row, other_row=row)
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


def _take_file(path: Path, name: str, gathered: Gathered, known: Known, keeper: Keeper | None) -> None:
    """Take in one file: each of its tables is an input of its own, for each has its own account of rows."""
    sha256 = None
    last = card_number_in(name)
    if last is not None:
        number = gathered.add(File(without_digits(name), without_digits(name)))
        gathered.remark(number, "card-number-present", f"its name holds a full card number ending in {last}")
        return
    try:
        data = _bytes(path)
        sha256 = hashlib.sha256(data).hexdigest()
        kept = None if keeper is None else keeper.find(name, sha256)
        if kept is not None:
            for table in kept:
                back = File(table.path, name, table.sheet, sha256, table.kind, table.source, table.rows)
                gathered.kept.append((table, gathered.add(back)))
            return
        opened = open_file(data, name, known.route)
    except UnreadableFile as error:
        gathered.remark(gathered.add(File(name, name, sha256=sha256)), "unreadable-file", str(error))
        return
    except UnknownFormat as error:
        gathered.remark(gathered.add(File(name, name, sha256=sha256)), "unknown-format", str(error))
        return
    # Whatever stands in any corner of the file is looked at before anything of it is kept.
    found = [find_card_number(part.table) for part in (*opened.parts, *opened.aside)]
    card = next((card for card in found if card is not None), None)
    inside = [text for part in (*opened.parts, *opened.aside) for text in (part.sheet or "", *part.names)]
    inside.append(opened.named or "")
    named = next((last for last in map(card_number_in, inside) if last is not None), None)
    several = len(opened.parts) + len(opened.aside) > 1
    for part in opened.parts:
        sheet = without_digits(part.sheet or "") if several else None
        shown = name if sheet is None else f"{name} [{sheet}]"
        number = gathered.add(File(shown, name, sheet, sha256, rows=part.table.rows))
        if named is not None:
            detail = f"the name of a sheet, or of a file inside, holds a full card number ending in {named}"
            gathered.remark(number, "card-number-present", detail)
            gathered.rejects.append(_withheld(part.table, number))
        elif card is not None:
            gathered.remark(
                number,
                "card-number-present",
                f'column "{card.column}" holds a full card number ending in {card.last}',
                row=card.row,
            )
            gathered.rejects.append(_withheld(part.table, number))
        else:
            _take_part(part, name, number, gathered, known)
    if card is None and named is None and opened.parts:
        gathered.told_aside(number, opened.aside)


def _take_part(part: Part, name: str, number: int, gathered: Gathered, known: Known) -> None:
    file, table = gathered.files[number], part.table
    gathered.names[number] = (name.rsplit("/", 1)[-1], *part.names)
    if table.remark is not None:
        gathered.remark(number, "encoding-assumed", table.remark)
    if part.mended:
        gathered.mended[number] = table
        gathered.tables[number] = table
        return
    try:
        reading = reading_for(name, table.header, known.route, names=part.names, doubled=table.doubled)
        file.kind, file.source = reading.kind, reading.name
        table = settle(table, reading)
        file.rows = table.rows
    except UnknownFormat as error:
        _refuse(gathered, number, table, error)
    else:
        key = (reading.kind, reading.name, reading.machine is None, *reading.columns)
        gathered.settled.setdefault(key, []).append(Settled(number, table, reading))
    gathered.told_passed(number, table)


def _refuse(gathered: Gathered, number: int, table: TextTable, error: UnknownFormat | AmbiguousFormat) -> None:
    """Its rows were read, yet none could be used: all are rejected, so that nothing is lost from the account."""
    gathered.remark(number, "unknown-format", str(error))
    gathered.rejects.append(_every_row(table, number, "the file was not taken in: no description fits it"))


def _read_cells(gathered: Gathered, known: Known, now: datetime) -> None:
    """Read the cells of every file whose columns are known: those of one format together, where none of them needs to
    be settled by itself."""
    read: dict[int, Settled] = {}
    for files in gathered.settled.values():
        try:
            alone = frozenset(settled.number for settled in files)
            if len(files) > 1 or files[0].table.frame.height <= FEW_ROWS:
                texts, alone = by_field_alike(files)
                gathered.group(files[0].reading, texts)
        except AmbiguousFormat:
            pass  # each file by itself says why
        for settled in files:
            if settled.number in alone:
                number = settled.number
                try:
                    texts = by_field(
                        settled.table, settled.reading, file=number, now=now, known=known,
                        on_moment=partial(gathered.by_moment.add, number),
                    )  # fmt: skip
                except AmbiguousFormat as error:
                    _refuse(gathered, number, settled.table, error)
                    continue
                gathered.group(settled.reading, texts)
            read[settled.number] = settled
    for number, settled in sorted(read.items()):
        gathered.tables[number] = settled.table
        gathered.readings[number] = settled.reading
        if gathered.files[number].rows == 0:
            gathered.remark(number, "no-rows", "")
    _tell_copies(gathered)


def _tell_copies(gathered: Gathered) -> None:
    """Remark each table that is another one byte for byte."""
    for number in sorted({*gathered.readings, *(number for _, number in gathered.kept)}):
        file = gathered.files[number]
        first = gathered.seen.setdefault((file.sha256, file.sheet), number)
        if first != number:
            gathered.remark(number, "duplicate-row", "", other=first)


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise UnreadableFile("the file is larger than 4 GiB: split it")
        return path.read_bytes()
    except OSError as error:
        raise UnreadableFile(f"the file cannot be opened: {error.strerror}") from error


def _every_row(table: TextTable, number: int, reason: str) -> Frame:
    rows = table.frame.select(
        pl.lit(number, pl.Int32).alias("file"), pl.col(ROW).alias("row"), pl.lit(reason).alias("reason")
    )
    return _with_text(pl.concat([rows, _torn(table, number)]), table)


def _withheld(table: TextTable, number: int) -> Frame:
    """Every row refused, and its text kept back: nothing of a file with a card number is kept anywhere."""
    rows = _every_row(table, number, "the file was not taken in: it holds a full card number")
    return rows.with_columns(pl.lit("(withheld)").alias("text"))


def _torn(table: TextTable, number: int) -> Frame:
    rows = [(number, torn.row, torn.reason) for torn in table.torn]
    return pl.DataFrame(rows, schema={"file": pl.Int32, "row": pl.Int64, "reason": pl.String}, orient="row")


def _with_text(rows: Frame, table: TextTable) -> Frame:
    ordered = rows.sort("row")
    return ordered.with_columns(pl.Series("text", table.original(ordered["row"].to_list()), dtype=pl.String))


def _rejects(gathered: Gathered, refused: list[Frame]) -> Iterator[Frame]:
    """The refused rows of every file that was taken in, its torn records among them, with their original text."""
    none = REJECTS.empty().drop("text")
    by_file = pl.concat([none, *refused]).partition_by("file", as_dict=True)
    for number, table in gathered.tables.items():
        rows = by_file.get((number,), none)
        if rows.height or table.torn:
            yield _with_text(pl.concat([rows, _torn(table, number)]), table)


def _assemble(
    gathered: Gathered, accepted: dict[FileKind, list[Frame]], stands_for: Frame, fresh: Fresh
) -> Intake:
    frames: dict[str, Frame] = {}
    notices = gathered.notices
    for kind, parts in accepted.items():
        spec = BY_KIND[kind]
        whole = pl.concat([part.select(spec.names) for part in parts]) if parts else spec.empty()
        # A mended row is told from its repeats as if it stood where it came from: there it would not be one.
        kept, repeats = part_duplicates(as_if(whole, stands_for).sort("file", "row"), kind)
        frames[kind] = guard(as_they_stand(kept, stands_for, ("file", "row")), spec)
        notices.append(as_they_stand(repeats, stands_for, ("file", "row"), ("other_file", "other_row")))
    remarks = pl.concat([NOTICES.empty(), *notices])
    rejects = guard(_told_mended(pl.concat([REJECTS.empty(), *gathered.rejects]), gathered, stands_for), REJECTS)
    return Intake(
        inputs=guard(_account(gathered.files, remarks, rejects), INPUTS),
        rejects=rejects,
        notices=guard(remarks, NOTICES),
        fresh=fresh,
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


def _account(files: list[File], notices: Frame, rejects: Frame) -> Frame:
    """The account of every file: rows = accepted + duplicate + rejected."""
    repeats = notices.filter(pl.col("kind").is_in(["duplicate-row", "vend-changed"]) & pl.col("row").is_not_null())
    duplicate = dict(repeats.group_by("file").len().iter_rows())
    rejected = dict(rejects.group_by("file").len().iter_rows())
    return pl.DataFrame(list(_lines(files, duplicate, rejected)), schema=INPUTS.schema, orient="row")


def _lines(files: list[File], duplicates: dict[int, int], rejects: dict[int, int]) -> Iterator[tuple[object, ...]]:
    for number, file in enumerate(files):
        duplicate, rejected = duplicates.get(number, 0), rejects.get(number, 0)
        accepted = file.rows - duplicate - rejected
        account = (file.rows, accepted, duplicate, rejected)
        yield number, file.path, file.name, file.sheet, file.sha256, file.kind, file.source, *account
