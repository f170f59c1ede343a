"""A file's bytes as a table of text: one row a record, each with the line on which it starts.

Nothing is inferred here: every cell stays the text that it was. The checks stand before polars because polars passes
over in silence what matters to us: short rows are padded, UTF-16 is read as garbage, a stray quote swallows the rest.
Lines that are no rows (titles above the header, the header again further down) are kept apart, to be told.
"""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import polars as pl

from recon.intake.dialect import DELIMITERS, LONGEST_HEADER, Header, Sought, find_header, fold, nothing_sought
from recon.intake.encoding import Decoded, UnreadableFile, decode
from recon.model.source import TableShape

__all__ = ["DELIMITERS", "ROW", "Passed", "TextTable", "Torn", "UnreadableFile", "decode", "read_table"]

ROW = "\0row"
"""Name of the column that holds the line; no header can clash with it, for a decoded file holds no NUL."""

SHOWN = 200
"""Characters of a passed line that are kept to be shown."""

FEW_ROWS = 1000
"""Rows up to which a look at each cell takes less than asking polars about the column."""
_SHORT = 64 * 1024
"""Characters of a text up to which the same holds of splitting it."""

_LARGEST_CELL = 16 * 1024 * 1024
_END = "\0"
"""A line behind the last: where it ends up inside a cell, a quote mark was left open."""


@dataclass(frozen=True, slots=True)
class Torn:
    """A record that does not have the header's number of fields. cells: what it has."""

    row: int
    reason: str
    cells: tuple[str, ...] = ()


class Passed(NamedTuple):
    """A line that is no row: a title, the header once more, a total, a note. text: the line, cut where it is very
    long."""

    row: int
    text: str


class Lines(Protocol):
    """The lines of a file as they stand in it."""

    def of(self, rows: Sequence[int]) -> list[str]:
        """The text of the records that start on these lines."""
        ...


@dataclass(frozen=True, slots=True)
class FileLines:
    """The lines of a decoded text file. data: its text as UTF-8, line ends LF."""

    data: bytes
    delimiter: str

    def of(self, rows: Sequence[int]) -> list[str]:
        lines = self.data.decode().split("\n")
        return [self._record(lines, row) for row in rows]

    def _record(self, lines: list[str], row: int) -> str:
        """A record goes on over the lines that a quoted cell takes."""
        if '"' not in lines[row - 1]:
            return lines[row - 1]
        reader = csv.reader((lines[at] + "\n" for at in range(row - 1, len(lines))), delimiter=self.delimiter)
        next(reader)
        return "\n".join(lines[row - 1 : row - 1 + reader.line_num])


@dataclass(frozen=True, slots=True)
class TextTable:
    """header: the column names, trimmed. frame: the columns as text by those names, plus ROW (Int64, the line).

    torn: records with too many or too few fields, which are not in the frame. passed: lines that are no rows, which are
    in neither. doubled: names (folded) that the file gives to several columns; the second of them is numbered " (2)".
    delimiter: what parts the cells of `original`; empty where it is a note. line: that of the header. cut: whether the
    last line had no end.
    remark: what was assumed of its encoding. certain: whether the header holds what was sought. settled: whether
    titles, totals and short rows were told apart already.
    """

    header: tuple[str, ...]
    frame: pl.DataFrame
    lines: Lines
    torn: tuple[Torn, ...] = field(default=())
    passed: tuple[Passed, ...] = field(default=())
    doubled: frozenset[str] = frozenset()
    delimiter: str = ","
    line: int = 1
    cut: bool = False
    remark: str | None = None
    certain: bool = False
    settled: bool = False

    @property
    def rows(self) -> int:
        """Records read, torn ones included."""
        return self.frame.height + len(self.torn)

    def column(self, name: str) -> pl.Series:
        """The cells of a column, by its place and without its name: polars takes one such as "^a.*$" for a pattern."""
        return self.frame.to_series(self.header.index(name)).alias("cells")

    def original(self, rows: Sequence[int]) -> list[str]:
        """The text of the records that start on these lines."""
        return self.lines.of(rows)


def read_table(data: bytes, sought: Sought = nothing_sought, shape: TableShape | None = None) -> TextTable:
    """Decode and split a delimited file, whose header and delimiter are found by looking (see recon.intake.dialect).

    sought: which columns are looked for. shape: what a description says of the table, which overrides what is found.
    Raises UnreadableFile where there is no text, no header, an unclosed quote, or a cell too long to be one.
    """
    shape = shape or TableShape()
    return table_of(decode(data, shape.encoding), sought, shape)


def table_of(decoded: Decoded, sought: Sought, shape: TableShape) -> TextTable:
    """The same, of a text that is already decoded."""
    try:
        return _split(decoded, find_header(decoded.text, sought, shape))
    except csv.Error as error:
        raise UnreadableFile(f"a cell is too long ({error}): this is no table, whatever its name says") from error


def _split(decoded: Decoded, header: Header) -> TextTable:
    text, start = decoded.text, 0
    for _ in range(header.line - 1):
        start = text.index("\n", start) + 1
    body, skipped = text[start:], header.line - 1
    head = _lines_of_header(body[: LONGEST_HEADER + 1], header.delimiter)
    data = decoded.data
    quoted, quick = '"' in body, None
    if not quoted or body.count('"') % 2 == 0:
        quick = _quick(body, data if start == 0 else body.encode(), header, head, skipped)
    frame, torn = quick if quick is not None else _careful(body, header, skipped)
    if quoted:
        frame, torn = _without_swallowed(frame, torn, header)
    frame, again = _without_repeats(frame, header)
    lines = FileLines(data, header.delimiter)
    passed = [Passed(at, line[:SHOWN]) for at, line in enumerate(text[:start].split("\n"), start=1) if line.strip()]
    passed += [Passed(row, line[:SHOWN]) for row, line in zip(again, lines.of(again) if again else [], strict=True)]
    return TextTable(
        header.names, frame, lines, tuple(torn), tuple(passed), header.doubled, header.delimiter, header.line,
        decoded.cut, decoded.remark, header.certain,
    )  # fmt: skip


_LEAST_WIDTH = 4
"""Columns from which on a cell with as many delimiters to a line as a row has is no note."""


def _without_swallowed(
    frame: pl.DataFrame, torn: list[Torn], header: Header
) -> tuple[pl.DataFrame, list[Torn]]:
    """Part the frame from records in which a quote mark was left open and closed by another one rows later: one of
    their cells has as many delimiters to each of its line ends as a row has.
    """
    width = len(header.names)
    if width < _LEAST_WIDTH or frame.height == 0:
        return frame, torn
    places = [frame.to_series(at).alias(f"_{at}") for at in range(width)]
    cells = pl.DataFrame([*places, frame[ROW].alias("row")])
    ends = [pl.col(f"_{at}").str.count_matches("\n", literal=True) for at in range(width)]
    marks = [pl.col(f"_{at}").str.count_matches(header.delimiter, literal=True) for at in range(width)]
    several = [(end > 0) & (mark == end * (width - 1)) for end, mark in zip(ends, marks, strict=True)]
    found = cells.select(pl.any_horizontal(several).fill_null(False).alias("found")).to_series()
    if not found.any():
        return frame, torn
    told = [
        Torn(
            int(record[-1]),
            "a quote mark is opened in it and closed in a row further down, so that all between is one cell:"
            " close it or remove it in the file itself",
            tuple(cell or "" for cell in record[:-1]),
        )
        for record in cells.filter(found).rows()
    ]
    return frame.filter(~found), [*torn, *told]


def _lines_of_header(begin: str, delimiter: str) -> int:
    """How many lines the first record of a table takes."""
    if '"' not in begin[: begin.find("\n")]:
        return 1
    reader = csv.reader(io.StringIO(begin, newline=""), delimiter=delimiter)
    next(reader)
    return reader.line_num


def _quick(
    body: str, data: bytes, header: Header, head: int, skipped: int
) -> tuple[pl.DataFrame, list[Torn]] | None:
    """Read quickly, and prove by counting that no record was padded, cut or merged; None where that fails.

    data: the body as UTF-8. head: lines that the header takes. skipped: lines above it.
    """
    quoted = '"' in body
    if (quoted or len(header.names) == 1) and "\n\n" in body:
        # Elsewhere a blank line is found out by the delimiters that it lacks.
        return None
    if not quoted and len(body) <= _SHORT:
        return _short(body, header, head, skipped)
    return _long(data, header, head, skipped, quoted=quoted)


def _short(body: str, header: Header, head: int, skipped: int) -> tuple[pl.DataFrame, list[Torn]] | None:
    """A short text without quote marks: splitting it takes less than asking polars."""
    width = len(header.names)
    records = [line.split(header.delimiter) for line in body.split("\n")[head:-1]]
    if any(len(record) != width for record in records):
        return None
    first = skipped + head + 1
    numbered = list(enumerate(records, start=first))
    if any(not record[0].strip() for record in records):
        numbered = [(line, record) for line, record in numbered if any(cell.strip() for cell in record)]
    frame = frame_of(header.names, [record for _, record in numbered])
    return frame.insert_column(width, pl.Series(ROW, [line for line, _ in numbered], dtype=pl.Int64)), []


def _long(
    data: bytes, header: Header, head: int, skipped: int, *, quoted: bool
) -> tuple[pl.DataFrame, list[Torn]] | None:
    """Any other text (as UTF-8), by polars."""
    delimiter = header.delimiter.encode()
    names = [f"_{at}" for at in range(len(header.names))]
    try:
        frame = pl.read_csv(
            data, separator=header.delimiter, has_header=False, skip_lines=head, infer_schema=False,
            new_columns=names, schema=dict.fromkeys(names, pl.String), raise_if_empty=False,
        )  # fmt: skip
    except pl.exceptions.PolarsError:
        return None
    start = 0
    for _ in range(head):
        start = data.index(b"\n", start) + 1
    newlines = _inside(frame, names, "\n") if quoted else 0
    records = data.count(b"\n", start) - newlines
    if frame.height != records:
        return None
    if quoted or frame.to_series(len(names) - 1).null_count():
        # A record that is too long stops polars, and a padded one ends in an empty cell: without quote marks there is
        # nothing to count where no last cell is empty.
        delimiters = data.count(delimiter, start) - (_inside(frame, names, header.delimiter) if quoted else 0)
        if delimiters != records * (len(names) - 1):
            return None
    first = skipped + head + 1
    line = pl.int_range(first, first + frame.height, dtype=pl.Int64, eager=True)
    if newlines:
        before = pl.sum_horizontal(_counted(names, "\n")).cum_sum().shift(1, fill_value=0)
        line = line + frame.select(before).to_series()
    numbered = without_blank(frame.insert_column(len(names), line.alias(ROW)), names)
    numbered.columns = [*header.names, ROW]
    return numbered, []


def _counted(names: Sequence[str], mark: str) -> list[pl.Expr]:
    return [pl.col(name).str.count_matches(mark, literal=True).fill_null(0).cast(pl.Int64) for name in names]


def _inside(frame: pl.DataFrame, names: Sequence[str], mark: str) -> int:
    """How often a mark stands inside cells."""
    return int(frame.select(pl.sum_horizontal(_counted(names, mark)).sum()).item()) if frame.height else 0


def without_blank(frame: pl.DataFrame, names: Sequence[str]) -> pl.DataFrame:
    """Drop records of which every cell is blank, as spreadsheets leave them at the end."""
    first = frame.get_column(names[0]) if names else None
    if first is None or begin_between(first, "!", "\x7f"):
        return frame
    if not (first.null_count() or (first.str.strip_chars() == "").any()):
        return frame
    blank = [pl.col(name).str.strip_chars().fill_null("") == "" for name in names]
    return frame.filter(~pl.all_horizontal(blank))


def begin_between(texts: pl.Series, first: str, behind: str) -> bool:
    """Tell whether there are texts throughout, and each begins with a character from `first` to the one before
    `behind`."""
    # Texts are put in order by their bytes. Both ends are found without a query.
    if texts.null_count():
        return False
    least, most = texts.min(), texts.max()
    return isinstance(least, str) and isinstance(most, str) and first <= least and most < behind


def _begin_with(texts: pl.Series, begin: str) -> bool:
    """Tell whether any text begins so."""
    return bool(((texts >= begin) & (texts <= f"{begin}\U0010ffff")).any())


def _without_repeats(frame: pl.DataFrame, header: Header) -> tuple[pl.DataFrame, list[int]]:
    """Part the frame from lines that say the header once more, as pages pasted together have; their lines."""
    # By its place, not by name: polars takes a column called "*" for all of them.
    first = frame.to_series(0).alias("cells")
    if first.len() <= FEW_ROWS:
        name = header.names[0]
        rows = [frame.row(at) for at, cell in enumerate(first.to_list()) if cell is not None and cell.strip() == name]
    elif begin_between(first, "!", "\x7f") and not _begin_with(first, header.names[0]):
        rows = []
    else:
        rows = frame.filter(first.str.strip_chars() == header.names[0]).rows()
    if not rows:
        return frame, []
    wanted = [fold(name) for name in header.names]
    numbered = {name for name in header.names if fold(name) not in header.doubled}
    again = [
        int(cells[-1]) for cells in rows
        if all(fold(cell or "") == want or name not in numbered for cell, want, name in zip(cells, wanted, header.names,
        strict=False))
    ]  # fmt: skip
    return frame.filter(~pl.col(ROW).is_in(again)) if again else frame, again


def _records(body: str, delimiter: str) -> Iterator[tuple[int, list[str], int]]:
    """The records of a text: the line on which each starts (from 1), its cells, and how many lines it takes.

    Raises UnreadableFile where a quote mark stays open.
    """
    csv.field_size_limit(_LARGEST_CELL)
    source = io.StringIO(body, newline="")
    reader = csv.reader((line for part in (source, [_END]) for line in part), delimiter=delimiter)
    start = 1
    for record in reader:
        line, start = start, reader.line_num + 1
        if record and record[-1].endswith(_END):
            if record != [_END]:
                raise UnreadableFile(
                    f'a quote mark (") is opened on line {line} of the table and never closed: close it or remove it'
                )
            return
        yield line, record, reader.line_num - line + 1


def _careful(body: str, header: Header, skipped: int) -> tuple[pl.DataFrame, list[Torn]]:
    """Read record by record, for files that are damaged: blank lines go, torn records are told with their line."""
    width = len(header.names)
    odd = body.count('"') % 2 == 1
    kept: list[list[str]] = []
    lines: list[int] = []
    torn: list[Torn] = []
    for line, record, taken in _records(body, header.delimiter):
        if odd and taken > 1:
            # One quote mark too many, and a cell that goes on over lines: which of them belong together cannot be told.
            raise UnreadableFile(
                f'a quote mark (") is opened on line {line + skipped} and its own closing one is missing:'
                " close it or remove it"
            )
        if line == 1 or not any(cell.strip() for cell in record):
            continue
        while len(record) > width and not record[-1].strip():
            record.pop()
        if len(record) == width:
            kept.append(record)
            lines.append(line + skipped)
        else:
            torn.append(Torn(line + skipped, f"{len(record)} fields where the header has {width}", tuple(record)))
    frame = frame_of(header.names, kept)
    return frame.with_columns(pl.Series(ROW, lines, dtype=pl.Int64)), torn


def frame_of(header: Sequence[str], records: Sequence[Sequence[str | None]]) -> pl.DataFrame:
    """Records of as many cells as the header, as columns of text; an empty cell is null."""
    columns = list(zip(*records, strict=True)) if records else [()] * len(header)
    return pl.DataFrame(
        [
            pl.Series(name, [cell or None for cell in cells], dtype=pl.String)
            for name, cells in zip(header, columns, strict=True)
        ]
    )
