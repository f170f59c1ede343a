"""Files on their way in: found, opened, and their cells read, before anything is known of what repeats what."""

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from io import FileIO
from pathlib import Path

import polars as pl

from recon.intake.cached_files import ParseCache
from recon.intake.cards import card_number_in, find_card_number, without_digits
from recon.intake.clock import AmbiguousFormat
from recon.intake.describe import UnknownFormat, reading_for
from recon.intake.encoding import UnreadableFile
from recon.intake.gathered import File, Gathered
from recon.intake.known import Known
from recon.intake.opened import Part, open_file
from recon.intake.settle import settle
from recon.intake.table import FEW_ROWS, ROW, TextTable
from recon.intake.texts import Settled, by_field, by_field_alike
from recon.model.frames import Frame

LARGEST_FILE = 4 * 1024**3
"""Bytes. A file beyond this is no export of a small route."""


def _is_shown(name: str) -> bool:
    return not name.startswith((".", "~"))


def inbox_files(root: Path) -> list[Path]:
    """The files of inbox/ and of the folders in it, by path; hidden files and editors' backups are passed over."""
    found: list[Path] = []
    for folder, folders, names in os.walk(root / "inbox"):
        folders[:] = filter(_is_shown, folders)
        there = Path(folder)
        found += (path for name in names if _is_shown(name) and name[-1] != "~" and (path := there / name).is_file())
    return sorted(found, key=lambda path: path.relative_to(root).as_posix())


def take_file(path: Path, name: str, gathered: Gathered, known: Known, cache: ParseCache | None) -> None:
    """Take in one file: each of its tables is an input of its own, for each has its own account of rows.

    cache: knows what files gave that were parsed before; None where this file is to be parsed whatever it knows.
    """
    sha256 = None
    last = card_number_in(name)
    if last is not None:
        number = gathered.add(File(without_digits(name), without_digits(name)))
        gathered.remark(number, "card-number-present", f"its name holds a full card number ending in {last}")
        return
    try:
        if cache is not None and cache.knows(name):
            # Most files of a weekly run are these: they are not held, and most not even read.
            sha256 = _hash(path, name, gathered, cache)
            cached = cache.find(name, sha256)
            if cached is not None:
                for table in cached:
                    file = File(table.path, name, table.sheet, sha256, table.kind, table.source, table.rows)
                    gathered.cached.append((table, gathered.add(file)))
                return
        data = _bytes(path, name, gathered)
        gathered.held += len(data)
        sha256 = hashlib.sha256(data).hexdigest()
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


def read_cells(gathered: Gathered, known: Known, now: datetime) -> None:
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
    gathered.unread |= set(read)
    gathered.settled.clear()
    _tell_copies(gathered)


def _tell_copies(gathered: Gathered) -> None:
    """Remark each table that is another one byte for byte."""
    told = {*gathered.readings, *(number for _, number in gathered.cached)}
    for number in sorted(number for number in told if number >= gathered.compared):
        file = gathered.files[number]
        first = gathered.seen.setdefault((file.sha256, file.sheet), number)
        if first != number:
            gathered.remark(number, "duplicate-row", "", other=first)
    gathered.compared = len(gathered.files)


def _bytes(path: Path, name: str, gathered: Gathered) -> bytes:
    with _opened(path) as file:
        gathered.statuses[name] = os.fstat(file.fileno())
        return file.read()


def _hash(path: Path, name: str, gathered: Gathered, cache: ParseCache) -> str:
    """Give the SHA-256 of a file's bytes, hex; those of a file that has not changed are not read."""
    with _opened(path) as file:
        gathered.statuses[name] = status = os.fstat(file.fileno())
        return cache.unchanged(name, status) or hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def _opened(path: Path) -> Iterator[FileIO]:
    try:
        with FileIO(path) as file:
            if os.fstat(file.fileno()).st_size > LARGEST_FILE:
                raise UnreadableFile("the file is larger than 4 GiB: split it")
            yield file
    except OSError as error:
        raise UnreadableFile(f"the file cannot be opened: {error.strerror}") from error


def _every_row(table: TextTable, number: int, reason: str) -> Frame:
    rows = table.frame.select(
        pl.lit(number, pl.Int32).alias("file"), pl.col(ROW).alias("row"), pl.lit(reason).alias("reason")
    )
    return with_text(pl.concat([rows, torn_rows(table, number)]), table)


def _withheld(table: TextTable, number: int) -> Frame:
    """Every row refused, and its text kept back: nothing of a file with a card number is kept anywhere."""
    rows = _every_row(table, number, "the file was not taken in: it holds a full card number")
    return rows.with_columns(pl.lit("(withheld)").alias("text"))


def torn_rows(table: TextTable, number: int) -> Frame:
    rows = [(number, torn.row, torn.reason) for torn in table.torn]
    return pl.DataFrame(rows, schema={"file": pl.Int32, "row": pl.Int64, "reason": pl.String}, orient="row")


def with_text(rows: Frame, table: TextTable) -> Frame:
    ordered = rows.sort("row")
    return ordered.with_columns(pl.Series("text", table.original(ordered["row"].to_list()), dtype=pl.String))
