"""Rows mended in a rejects.csv that came back into the inbox: read in the format of the file from which they came.

Each line takes header, delimiter and description from its file, if that is still in the inbox, else from another file
of the same description whose header all such files share. Its times and amounts are read together with that file's
column, so that few lines decide no format of their own. A mended row that is accepted stands for the row in its file:
there it stays rejected, and is told as mended; what else repeats it counts as if it stood in its file.

So for both files rows = accepted + duplicate + rejected. A line that is not mended yet, or whose row can be used as it
stands in its file by now, is rejected and says so: nothing counts twice.
"""

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import polars as pl

from recon.intake.describe import Reading, speaking_for
from recon.intake.settle import padded
from recon.intake.table import ROW, TextTable, Torn, frame_of
from recon.model.frames import Frame
from recon.model.spelling import FORMULA_SIGNS
from recon.route.folder import Route

_TAMED = re.compile(f"'+[{FORMULA_SIGNS}]")
"""A text that would run as a formula, behind the apostrophes that recon.report.tamed puts before it."""

OFFSET = 1 << 40
"""Added to the lines of mended rows while they stand among those of their file: no file has as many."""


class Inbox(NamedTuple):
    """The files that were taken in, by number. rejected: file and line of every row refused so far."""

    paths: Mapping[int, str]
    tables: Mapping[int, TextTable]
    readings: Mapping[int, Reading]
    rejected: frozenset[tuple[int, int]]
    route: Route


class Line(NamedTuple):
    """A line of a rejects file: its own line there, the file and line that it speaks of, and its text as mended."""

    row: int
    path: str
    origin_row: int
    text: str


@dataclass(slots=True)
class Batch:
    """Lines of one rejects file that take their format from one file. model: the number of that file. table: that
    file's rows with the mended ones behind them. stands_for: by line of the rejects file, the row of the inbox for
    which it stands."""

    model: int
    reading: Reading
    table: TextTable
    stands_for: dict[int, tuple[int, int]]

    def own_rows(self, texts: Frame, file: int) -> Frame:
        """Of the cells of `table`, read field by field, those of the mended rows, by their own file and line."""
        own = texts.filter(pl.col("row") >= OFFSET)
        return own.with_columns(pl.lit(file, pl.Int32).alias("file"), pl.col("row") - OFFSET)


def batches(table: TextTable, inbox: Inbox, taken: set[tuple[int, int]]) -> tuple[list[Batch], list[tuple[int, str]]]:
    """Sort the lines of a rejects file by the file whose format they take.

    taken: rows of the inbox for which a mended line stands already; those of this file are added.
    Returns the batches, and (line, reason) of each line that cannot be used; torn ones, which are the table's, aside.
    """
    refused: list[tuple[int, str]] = []
    by_model: dict[int, list[tuple[Line, int | None]]] = {}
    for line in _lines(table, refused):
        model = _model(line, inbox, taken)
        if isinstance(model, str):
            refused.append((line.row, model))
            continue
        number, origin = model
        if origin is not None:
            taken.add((origin, line.origin_row))
        by_model.setdefault(number, []).append((line, origin))
    made = [_batch(number, lines, inbox, refused) for number, lines in by_model.items()]
    return made, refused


def _lines(table: TextTable, refused: list[tuple[int, str]]) -> list[Line]:
    lines = []
    for path, origin_row, _, text, row in table.frame.rows():
        number = (origin_row or "").strip()
        if not path or not text or not (number.isascii() and number.isdigit() and len(number) < 12):
            refused.append((row, "it lacks the file, the line in it, or the text: expected file,row,reason,text"))
        else:
            lines.append(Line(row, _bare(path), int(number), _bare(text)))
    return lines


def _bare(text: str) -> str:
    """Without the apostrophe that keeps a spreadsheet from running it."""
    return text[1:] if _TAMED.match(text) else text


def _model(line: Line, inbox: Inbox, taken: set[tuple[int, int]]) -> tuple[int, int | None] | str:
    """The number of the file whose format a line takes, and that of its own file if it is still there; or why there is
    none."""
    place = f"{line.path}:{line.origin_row}"
    origin = next((number for number, path in inbox.paths.items() if path == line.path), None)
    if origin is None:
        return _sibling(line, inbox)
    table = inbox.tables.get(origin)
    if table is None or origin not in inbox.readings:
        return f"{line.path} is no table that was taken in: mend it there"
    if not table.delimiter:
        return f"{place} is a line of a note: mend it there"
    if (origin, line.origin_row) not in inbox.rejected:
        there = bool((table.frame[ROW] == line.origin_row).any())
        return (
            f"{place} can be used as it stands: take this line out"
            if there
            else f"{place} is no row: its file has changed"
        )
    if (origin, line.origin_row) in taken:
        return f"{place} is mended in another line already"
    if table.original([line.origin_row])[0].strip() == line.text.strip():
        return f"it is not mended: {place} reads the same"
    return origin, origin


def _sibling(line: Line, inbox: Inbox) -> tuple[int, None] | str:
    """Another file of the description that speaks for a file that has left the inbox."""
    gone = f"{line.path} is not in the inbox"
    fitting = speaking_for([line.path.rsplit("/", 1)[-1]], inbox.route)
    if len(fitting) != 1:
        return f"{gone}, and no description speaks for it: put it back, or mend the line there"
    alike = [number for number, reading in inbox.readings.items() if reading.name == fitting[0].name]
    headers = {inbox.tables[number].header for number in alike}
    if len(headers) != 1 or inbox.readings[alike[0]].source.machine_from_name is not None:
        return f"{gone}, and its columns cannot be told from other files of {fitting[0].file}: put it back"
    return alike[0], None


def _batch(number: int, lines: list[tuple[Line, int | None]], inbox: Inbox, refused: list[tuple[int, str]]) -> Batch:
    model, reading = inbox.tables[number], inbox.readings[number]
    width = len(model.header)
    fit: list[tuple[int, list[str]]] = []
    torn: list[Torn] = []
    for line, _ in lines:
        cells = next(csv.reader(line.text.split("\n"), delimiter=model.delimiter), [])
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if len(cells) == width:
            fit.append((line.row, cells))
        else:
            torn.append(Torn(line.row, f"{len(cells)} fields where {inbox.paths[number]} has {width}", tuple(cells)))
    own = frame_of(model.header, [cells for _, cells in fit])
    own = own.with_columns(pl.Series(ROW, [row for row, _ in fit], dtype=pl.Int64))
    whole = padded(replace(model, frame=own, torn=tuple(torn), cut=False), reading)
    refused += [(left.row, left.reason) for left in whole.torn]
    behind = whole.frame.with_columns(pl.col(ROW) + OFFSET)
    stands_for = {line.row: (origin, line.origin_row) for line, origin in lines if origin is not None}
    return Batch(number, reading, replace(model, frame=pl.concat([model.frame, behind])), stands_for)


def as_if(frame: Frame, stands_for: Frame) -> Frame:
    """Rows under file and line of those for which they stand: file, row, origin_file, origin_row of `stands_for`."""
    return _swapped(frame, stands_for, ("file", "row"), ("origin_file", "origin_row"))


def as_they_stand(frame: Frame, stands_for: Frame, *names: tuple[str, str]) -> Frame:
    """The same the other way round, for each pair of columns that names a file and a line."""
    for pair in names:
        frame = _swapped(frame, stands_for, pair, ("file", "row"), known_by=("origin_file", "origin_row"))
    return frame


def _swapped(
    frame: Frame,
    stands_for: Frame,
    pair: tuple[str, str],
    to: tuple[str, str],
    known_by: tuple[str, str] = ("file", "row"),
) -> Frame:
    if stands_for.height == 0 or frame.height == 0:
        return frame
    told = stands_for.select(
        pl.col(known_by[0]).alias(pair[0]), pl.col(known_by[1]).alias(pair[1]),
        pl.col(to[0]).alias("_file"), pl.col(to[1]).alias("_row"),
    )  # fmt: skip
    joined = frame.join(told, on=list(pair), how="left", maintain_order="left")
    return joined.with_columns(
        pl.coalesce("_file", pair[0]).alias(pair[0]), pl.coalesce("_row", pair[1]).alias(pair[1])
    ).drop("_file", "_row")


STANDS_FOR = {"file": pl.Int32, "row": pl.Int64, "origin_file": pl.Int32, "origin_row": pl.Int64}
"""The frame of mended rows: which they are, and for which they stand."""
