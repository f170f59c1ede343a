"""Where the header of a table stands and what parts its cells, found in the first 64 kB of the file.

The header is the first line that holds every column of the description that speaks for the file, or our own field names
of some kind. Where no line does, it is the line that holds the most of them, then the one with the most filled cells
that read as names (a number is no name) and the most lines of as many cells. A description's `header_line` and
`delimiter` override what is found.
"""

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

from recon.intake.encoding import SNIFFED, UnreadableFile
from recon.model.source import TableShape

DELIMITERS = (",", ";", "\t", "|")
_BY_TRUST = ("\t", "|", ";", ",")
"""Where all else is equal: the comma stands inside amounts and sentences, the others hardly ever."""

LONGEST_HEADER = SNIFFED
"""Characters. No header line is so long; a file of one endless line is not asked for its columns."""

Sought = Callable[[Sequence[str]], tuple[bool, int]]
"""Told the cells of a line: whether it holds all columns that are looked for, and how many of them it holds."""

_FILLED = re.compile(r"\S")
_LETTER = re.compile(r"[^\W\d_]")
_DATED = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}|\d:\d\d")
_SEP = re.compile(r'"?sep=([,;\t|])"?\s*$', re.IGNORECASE)


CERTAIN = (0, 0, 0, 0)
"""The rank of a line that holds all that is sought."""


class Header(NamedTuple):
    """Where the header was found. line: from 1, as an editor numbers it. names: its columns, trimmed, doubled ones
    numbered.
    doubled: names, lower case, that the file gives to several columns. certain: whether it holds all that was
    sought."""

    line: int
    delimiter: str
    names: tuple[str, ...]
    doubled: frozenset[str]
    certain: bool


def nothing_sought(cells: Sequence[str]) -> tuple[bool, int]:
    """No columns are looked for: the line with the most names is the header."""
    return False, 0


def fold(name: str) -> str:
    """A column's name for comparison: trimmed, any case, runs of blanks as one."""
    return " ".join(name.split()).casefold()


def find_header(text: str, sought: Sought, shape: TableShape) -> Header:
    """Find header and delimiter of a decoded file. Raises UnreadableFile where there is none."""
    filled = _FILLED.search(text)
    if filled is None:
        raise UnreadableFile("the file is empty: expected a header line and rows below it")
    start = text.rfind("\n", 0, filled.start()) + 1
    first = text[start : text.index("\n", start)]
    if len(first) > LONGEST_HEADER:
        raise UnreadableFile(f"its first line has {len(first)} characters: this is no table, whatever its name says")
    marks = (shape.delimiter,) if shape.delimiter else _told(first) or _BY_TRUST
    if shape.header_line is not None:
        return _given(text, sought, shape.header_line, marks)
    for mark in marks if first.count('"') % 2 == 0 else ():
        # The good path: nothing stands above the header, and one look at it is enough.
        cells = next(csv.reader([first], delimiter=mark), [""])
        if sought(cells)[0]:
            return header_of(Candidate(text.count("\n", 0, start) + 1, cells, CERTAIN), mark)
    head = text[: text.rfind("\n", 0, start + SNIFFED + 1) + 1]
    found = [(mark, best) for mark in marks for best in [best_line(_records(head, mark), sought)] if best is not None]
    if not found:
        raise UnreadableFile("the file is empty: expected a header line and rows below it")
    mark, best = min(found, key=lambda entry: (*entry[1].rank, entry[1].line))
    return header_of(best, mark)


class Candidate(NamedTuple):
    """A line that may be the header. rank: the smaller, the likelier."""

    line: int
    cells: Sequence[str]
    rank: tuple[int, ...]


def best_line(records: Iterable[tuple[int, Sequence[str]]], sought: Sought) -> Candidate | None:
    """The likeliest header among (line, cells): the first that holds all that is sought, else the one with the most
    names."""
    best: Candidate | None = None
    every = list(records)
    widths = Counter(len(cells) for _, cells in every)
    for line, cells in every:
        fits, held = sought(cells)
        if fits:
            return Candidate(line, cells, CERTAIN)
        filled = [cell for cell in cells if cell.strip()]
        if not filled:
            continue
        # A title may be split into more cells than the header, yet hardly as many lines agree with it.
        names = sum(_is_name(cell) for cell in filled)
        rank = (1, -held, -(names - 1) * widths[len(cells)], -len(filled))
        if best is None or rank < best.rank:
            best = Candidate(line, cells, rank)
    return best


def _is_name(cell: str) -> bool:
    """Whether a cell may name a column: letters, and no date or clock."""
    return len(cell) <= 80 and bool(_LETTER.search(cell)) and not _DATED.search(cell)


def header_of(found: Candidate, delimiter: str) -> Header:
    """The columns of a header line: trimmed, empty ones named by their place, doubled ones numbered (" (2)")."""
    cells = list(found.cells)
    names: list[str] = []
    taken: set[str] = set()
    doubled: set[str] = set()
    own = {fold(cell) for cell in cells}
    for at, cell in enumerate(cells, start=1):
        name = cell.strip() or f"column {at}"
        if fold(name) in taken:
            doubled.add(fold(name))
            nth = 2
            while fold(f"{name} ({nth})") in taken | own:
                nth += 1
            name = f"{name} ({nth})"
        taken.add(fold(name))
        names.append(name)
    return Header(found.line, delimiter, tuple(names), frozenset(doubled), found.rank == CERTAIN)


def _told(first: str) -> tuple[str, ...] | None:
    """The delimiter that a first line such as `sep=;` names, as some spreadsheet programs write it."""
    told = _SEP.match(first)
    return (told[1],) if told else None


def _given(text: str, sought: Sought, line: int, marks: Sequence[str]) -> Header:
    start = 0
    for _ in range(line - 1):
        start = text.find("\n", start) + 1
        if start == 0 or start >= len(text):
            raise UnreadableFile(f"the description says that its header stands on line {line}, and it has fewer lines")
    # A header may go on over several lines, within quote marks.
    tail = text[start : start + LONGEST_HEADER]
    found = []
    for mark in marks:
        record = next(_records(tail, mark), None)
        if record is None or record[0] != 1:
            raise UnreadableFile(f"the description says that its header stands on line {line}, and that line is blank")
        best = best_line([(line, record[1])], sought)
        if best is not None:
            found.append((mark, best))
    if not found:
        raise UnreadableFile(f"the description says that its header stands on line {line}, and that line is blank")
    mark, best = min(found, key=lambda entry: entry[1].rank)
    return header_of(best, mark)


def _records(head: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """The records of the first part of a file with their lines, blank ones left out."""
    reader = csv.reader(io.StringIO(head, newline=""), delimiter=delimiter)
    start = 1
    for record in reader:
        line, start = start, reader.line_num + 1
        if any(cell.strip() for cell in record):
            yield line, record
