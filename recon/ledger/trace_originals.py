"""The original text of rows: from the file in inbox/ while it has the bytes that the run read, else from what the
ledger kept. A file is opened once, and only if a row of it is asked for; nothing of a withheld file is ever shown.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from recon.intake.cards import without_digits
from recon.intake.container import unpack
from recon.intake.describe import UnknownFormat, speaking_for
from recon.intake.encoding import OLE, UnreadableFile, decode
from recon.intake.opened import Part, open_file
from recon.intake.table import FileLines, Lines
from recon.ledger.originals import original
from recon.model.errors import ReconError
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.source import TableShape
from recon.route.folder import Route

WITHHELD = "(withheld: the file holds a full card number)"
GONE = "(the file in inbox/ is not the one that was read, and the ledger does not hold it)"

TEXTS = {"file": pl.Int32, "row": pl.Int64, "text": pl.String}


@dataclass(slots=True)
class Inbox:
    """The files of a run, to be looked into again. route: as it is now. known: what was opened so far."""

    route: Route
    done: Reconciliation
    known: dict[str, tuple[Part, ...]] = field(default_factory=dict)

    def withheld(self) -> set[int]:
        """Numbers of the files of which nothing may be shown."""
        notices = self.done.frames["notices"]
        return set(notices.filter(pl.col("kind") == "card-number-present")["file"].to_list())

    def name(self, file: int) -> str:
        """The path of the file itself, without the sheet that may stand behind it."""
        return str(self.done.frames["inputs"]["name"][file])

    def data(self, file: int) -> bytes | None:
        """The bytes that the run read; None where neither inbox/ nor ledger has them."""
        sha256 = self.done.frames["inputs"]["sha256"][file]
        if sha256 is None:
            return None
        found = _bytes(self.route.root / self.name(file))
        if found is not None and hashlib.sha256(found).hexdigest() == sha256:
            return found
        try:
            return original(self.route.root, sha256)
        except ReconError:
            return None

    def part(self, file: int) -> Part | None:
        """The table of an input, opened as the run opened it; None where it cannot be any more."""
        name = self.name(file)
        if name not in self.known:
            data = self.data(file)
            try:
                self.known[name] = () if data is None else open_file(data, name, self.route).parts
            except (UnreadableFile, UnknownFormat):
                self.known[name] = ()
        sheet = self.done.frames["inputs"]["sheet"][file]
        parts = self.known[name]
        own = [part for part in parts if sheet is None or without_digits(part.sheet or "") == sheet]
        return own[0] if len(own) == 1 else None

    def lines(self, file: int) -> Lines | None:
        """The lines of an input. Of a text file, only its text is looked at: it is not split into cells again."""
        data = self.data(file)
        if data is None:
            return None
        name = self.name(file)
        short = name.rsplit("/", 1)[-1]
        try:
            unpacked = unpack(data, short)
            if unpacked.book or unpacked.data.startswith(OLE):
                part = self.part(file)
                return None if part is None else part.table.lines
            described = speaking_for((short, *unpacked.names), self.route)
            shape = described[0].source.table if len(described) == 1 else TableShape()
            text = decode(unpacked.data, shape.encoding).text
        except UnreadableFile:
            return None
        return _TextLines(text, self, file)


def _bytes(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


@dataclass(frozen=True, slots=True)
class _TextLines:
    """Lines of a text file. A line with a quote mark may go on over others: then the table itself is asked."""

    text: str
    inbox: Inbox
    file: int

    def of(self, rows: Sequence[int]) -> list[str]:
        lines = self.text.split("\n")
        plain = [lines[row - 1] if 0 < row <= len(lines) else "" for row in rows]
        if not any(line.count('"') % 2 for line in plain):
            return plain
        part = self.inbox.part(self.file)
        delimiter = "," if part is None else part.table.delimiter or ","
        return FileLines(self.text.encode(), delimiter).of(rows)


def original_texts(places: Frame, inbox: Inbox) -> Frame:
    """The text of rows as it stands in their files.

    places: `file` and `row`; doubles and nulls are passed over. Returns TEXTS, one row a place; of a withheld file,
    or one whose bytes are nowhere any more, the text says so. Sorted by file and row.
    """
    wanted = places.select(pl.col("file").cast(pl.Int32), pl.col("row").cast(pl.Int64)).drop_nulls()
    wanted = wanted.filter(pl.col("row") > 0).unique().sort("file", "row")
    withheld = inbox.withheld()
    parts = [pl.DataFrame(schema=TEXTS)]
    for (file,), rows in wanted.partition_by("file", as_dict=True, maintain_order=True).items():
        asked = rows["row"].to_list()
        lines = None if file in withheld else inbox.lines(int(str(file)))
        told = WITHHELD if file in withheld else GONE
        texts = [told] * len(asked) if lines is None else lines.of(asked)
        parts.append(rows.with_columns(pl.Series("text", texts, dtype=pl.String)))
    return pl.concat(parts)


def by_place(texts: Frame) -> Mapping[tuple[int, int], str]:
    """Texts by file and row."""
    return {(file, row): text for file, row, text in texts.iter_rows()}
