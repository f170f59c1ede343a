"""A file's bytes as a table of text: one row a record, each with the line on which it starts.

Nothing is inferred here: every cell stays the text that it was. The checks stand before polars because polars passes
over in silence what matters to us: short rows are padded, UTF-16 is read as garbage, a stray quote swallows the rest.
"""

import csv
import io
from bisect import bisect_right
from dataclasses import dataclass, field

import polars as pl

DELIMITERS = (",", ";", "\t", "|")
ROW = "\0row"
"""Name of the column that holds the line; no header can clash with it, for a decoded file holds no NUL."""


LONGEST_HEADER = 65_536
"""Characters. No header line is so long; a file of one endless line is not asked for its columns."""


class UnreadableFile(Exception):
    """The file as a whole cannot be read; the text says what was found and what was expected."""


@dataclass(frozen=True, slots=True)
class Torn:
    """A record that does not have the header's number of fields."""

    row: int
    reason: str


@dataclass(frozen=True, slots=True)
class TextTable:
    """header: the column names, trimmed. frame: the columns as text by those names, plus ROW (Int64, the line).
    torn: records with too many or too few fields, which are not in the frame. text: the decoded file."""

    header: tuple[str, ...]
    frame: pl.DataFrame
    text: str
    torn: tuple[Torn, ...] = field(default=())

    @property
    def rows(self) -> int:
        """Records read, torn ones included."""
        return self.frame.height + len(self.torn)

    def original(self, rows: list[int]) -> list[str]:
        """The text of the records that start on these lines."""
        starts = sorted({*self.frame[ROW].to_list(), *(torn.row for torn in self.torn)}) if '"' in self.text else None
        lines = self.text.split("\n")
        return [self._record(lines, row, starts) for row in rows]

    def _record(self, lines: list[str], row: int, starts: list[int] | None) -> str:
        last = row
        if starts is not None:
            later = bisect_right(starts, row)
            last = starts[later] - 1 if later < len(starts) else len(lines)
        end, quotes = row, lines[row - 1].count('"')
        # A record goes on while a quote is open. (Up to the next record's line it may not: blank records are in no frame.)
        while quotes % 2 and end < last:
            quotes += lines[end].count('"')
            end += 1
        return "\n".join(lines[row - 1 : end])


def decode(data: bytes) -> str:
    """The bytes as text: UTF-8 with or without mark, UTF-16 with mark. Line ends become LF; trailing blank lines go.

    Raises UnreadableFile for anything else, naming the first byte that does not fit and its line.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif b"\0" in data:
        raise UnreadableFile(f"byte {data.index(0) + 1} is NUL: this is no text file, whatever its name says")
    else:
        encoding = "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"byte {data[error.start]:02X}h on line {line} is not {encoding.removesuffix('-sig').upper()}"
        raise UnreadableFile(f"{found}: save the file as UTF-8") from error
    if "\0" in text:
        raise UnreadableFile(f"character {text.index(chr(0)) + 1} is NUL: this is no text file, whatever its name says")
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    # Only whole lines go: the tabs that end the last record are its empty cells.
    end = text.find("\n", len(text.rstrip("\n\t ")))
    return (text if end < 0 else text[:end]) + "\n"


def read_table(data: bytes) -> TextTable:
    """Decode and split a delimited file whose first line that is not blank is its header.

    The delimiter is the one of comma, semicolon, tab and bar that splits the header into most fields.
    Raises UnreadableFile where there is no header, no text, an unclosed quote, or a cell too long to be one.
    """
    try:
        return _read_table(data)
    except csv.Error as error:
        raise UnreadableFile(f"a cell is too long ({error}): this is no table, whatever its name says") from error


def _read_table(data: bytes) -> TextTable:
    text = decode(data)
    if not text.strip():
        raise UnreadableFile("the file is empty: expected a header line and rows below it")
    start = text.rfind("\n", 0, len(text) - len(text.lstrip("\n\t "))) + 1
    skipped, body = text.count("\n", 0, start), text[start:]
    first = body[: body.index("\n")]
    if len(first) > LONGEST_HEADER:
        raise UnreadableFile(f"its first line has {len(first)} characters: this is no table, whatever its name says")
    delimiter = max(DELIMITERS, key=lambda mark: len(_split(first, mark)))
    header = _header(_split(first, delimiter))
    if body.count('"') % 2:
        raise UnreadableFile('a quote mark (") is opened and never closed: close it or remove it')
    quick = _quick(body, header, delimiter, skipped)
    frame, torn = quick if quick is not None else _careful(body, header, delimiter, skipped)
    return TextTable(header, frame, text, tuple(torn))


def _split(line: str, delimiter: str) -> list[str]:
    return next(csv.reader([line], delimiter=delimiter), [""])


def _header(cells: list[str]) -> tuple[str, ...]:
    names: list[str] = []
    for at, cell in enumerate(cells, start=1):
        name = cell.strip() or f"column {at}"
        if name in names:
            raise UnreadableFile(f'the header names the column "{name}" twice: rename one of them')
        names.append(name)
    return tuple(names)


def _quick(body: str, header: tuple[str, ...], delimiter: str, skipped: int) -> tuple[pl.DataFrame, list[Torn]] | None:
    """Read with polars, and prove by counting that no record was padded, cut or merged; None where that fails."""
    if "\n\n" in body:
        return None
    names = [f"_{at}" for at in range(len(header))]
    try:
        frame = pl.read_csv(
            body.encode(), separator=delimiter, has_header=False, skip_lines=1, infer_schema=False,
            new_columns=names, schema={name: pl.String for name in names}, raise_if_empty=False,
        )  # fmt: skip
    except pl.exceptions.PolarsError:
        return None
    quoted = '"' in body
    inside = newlines = 0
    if quoted and frame.height:
        counted = frame.select(
            pl.sum_horizontal(pl.col(name).str.count_matches(delimiter, literal=True).fill_null(0).cast(pl.Int64) for name in names).sum().alias("delimiters"),
            pl.sum_horizontal(pl.col(name).str.count_matches("\n", literal=True).fill_null(0).cast(pl.Int64) for name in names).sum().alias("newlines"),
        )  # fmt: skip
        inside, newlines = counted.row(0)
    head = body.index("\n") + 1
    records = body.count("\n") - 1 - newlines
    delimiters = body.count(delimiter, head) - inside
    if frame.height != records or delimiters != records * (len(header) - 1):
        return None
    line = pl.int_range(pl.len(), dtype=pl.Int64) + skipped + 2
    if newlines:
        breaks = pl.sum_horizontal(
            pl.col(name).str.count_matches("\n", literal=True).fill_null(0).cast(pl.Int64) for name in names
        )
        line = line + breaks.cum_sum().shift(1, fill_value=0)
    numbered = _without_blank(frame.with_columns(line.alias(ROW)), names)
    return numbered.rename(dict(zip(names, header, strict=True))), []


def _without_blank(frame: pl.DataFrame, names: list[str]) -> pl.DataFrame:
    """Drop records of which every cell is blank, as spreadsheets leave them at the end."""
    blank = [pl.col(name).str.strip_chars().fill_null("") == "" for name in names]
    return frame.filter(~pl.all_horizontal(blank)) if frame.select(blank[0].any()).item() else frame


def _careful(body: str, header: tuple[str, ...], delimiter: str, skipped: int) -> tuple[pl.DataFrame, list[Torn]]:
    """Read record by record, for files that are damaged: blank lines go, torn records are told with their line."""
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=delimiter)
    kept: list[list[str]] = []
    lines: list[int] = []
    torn: list[Torn] = []
    csv.field_size_limit(16 * 1024 * 1024)
    start = 1
    for record in reader:
        line, start = start, reader.line_num + 1
        if line == 1 or not any(cell.strip() for cell in record):
            continue
        while len(record) > len(header) and not record[-1].strip():
            record.pop()
        if len(record) == len(header):
            kept.append(record)
            lines.append(line + skipped)
        else:
            torn.append(Torn(line + skipped, f"{len(record)} fields where the header has {len(header)}"))
    columns = list(zip(*kept, strict=True)) if kept else [()] * len(header)
    frame = pl.DataFrame(
        [pl.Series(name, [cell or None for cell in cells], dtype=pl.String) for name, cells in zip(header, columns, strict=True)]
    )
    return frame.with_columns(pl.Series(ROW, lines, dtype=pl.Int64)), torn
