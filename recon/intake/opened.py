"""A file of the inbox opened: unpacked, decoded, and split into the one or several tables that it holds."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from recon.intake.cards import without_digits
from recon.intake.describe import UnknownFormat, sought_by, speaking_for
from recon.intake.dialect import Sought, fold
from recon.intake.encoding import GZIP, OLE, ZIP, UnreadableFile, decode
from recon.intake.table import TextTable, table_of
from recon.model.source import TableShape
from recon.route.folder import Route, SourceFile

if TYPE_CHECKING:
    from recon.intake.workbook import Sheet

REJECTS_HEADER = ("file", "row", "reason", "text")
"""The columns of rejects.csv, which comes back into the inbox when its lines are mended."""


@dataclass(frozen=True, slots=True)
class Part:
    """One table of a file. sheet: the sheet it stands on, where the file has several. names: what else the file goes
    by.
    mended: whether it is a rejects.csv that came back."""

    table: TextTable
    sheet: str | None = None
    names: tuple[str, ...] = ()
    mended: bool = False


@dataclass(frozen=True, slots=True)
class Opened:
    """parts: the tables to be taken in. aside: sheets that are no such table, beside others that are. named: what the
    only sheet is called."""

    parts: tuple[Part, ...]
    aside: tuple[Part, ...] = field(default=())
    named: str | None = None


def open_file(data: bytes, path: str, route: Route) -> Opened:
    """Open a file of which `path` (within the route folder) is the name.

    Raises UnreadableFile where nothing of it can be read, UnknownFormat where its description names a sheet that it
    lacks.
    """
    name = path.rsplit("/", 1)[-1]
    inner: tuple[str, ...] = ()
    book = False
    if data.startswith((GZIP, *ZIP)):
        from recon.intake.container import unpack

        unpacked = unpack(data, name)
        data, inner, book = unpacked.data, unpacked.names, unpacked.book
    names = (name, *inner)
    fitting = speaking_for(names, route)
    described = fitting[0] if len(fitting) == 1 else None
    shape = described.source.table if described is not None else TableShape()
    sought = sought_by(described)
    if book or data.startswith(OLE):
        return _book(data, inner, described, sought, shape)
    return Opened((_text(data, names, described, sought, shape, route),))


def _text(
    data: bytes,
    names: tuple[str, ...],
    described: SourceFile | None,
    sought: Sought,
    shape: TableShape,
    route: Route,
) -> Part:
    decoded = decode(data, shape.encoding)
    first = decoded.text[: decoded.text.index("\n")].replace('"', "")
    if any(tuple(fold(cell) for cell in first.split(mark)) == REJECTS_HEADER for mark in (",", ";", "\t")):
        return Part(table_of(decoded, _rejects_sought, TableShape()), mended=True)
    if not any(name.lower().endswith(".txt") for name in names) or (described is not None and described.source.columns):
        return Part(table_of(decoded, sought, shape), names=names[1:])
    # A .txt may be a table or a note typed on a phone: a header that holds what is sought makes it a table.
    table, fault = None, None
    try:
        table = table_of(decoded, sought, shape)
    except UnreadableFile as error:
        fault = error
    if table is None or not table.certain:
        from recon.intake.phone_notes import read_note

        note = read_note(decoded, _machine_names(route, described))
        table = note if note is not None else table
    if table is None:
        raise fault or UnreadableFile("it is empty")
    return Part(table, names=names[1:])


def _rejects_sought(cells: Sequence[str]) -> tuple[bool, int]:
    return tuple(fold(cell) for cell in cells) == REJECTS_HEADER, 0


def _machine_names(route: Route, described: SourceFile | None) -> list[str]:
    """Names of machines as layouts and description have them, those of the description first."""
    own = [entry.layout.machine for entry in route.layouts]
    return [*described.source.machines, *own] if described is not None else own


def _book(
    data: bytes, names: tuple[str, ...], described: SourceFile | None, sought: Sought, shape: TableShape
) -> Opened:
    """The sheets of a workbook that are to be read: the one that the description names, those that hold what is sought,
    or all."""
    from recon.intake.workbook import read_sheets, table_of_sheet

    sheets = read_sheets(data)
    if shape.sheet is not None:
        sheets = [_named(sheets, shape.sheet, described)]
    parts = [Part(table_of_sheet(sheet, sought, shape), sheet.name, names) for sheet in sheets]
    if len(parts) == 1:
        return Opened((replace(parts[0], sheet=None),), named=parts[0].sheet)
    fit = [part for part in parts if part.table.certain]
    rest = [part for part in parts if not part.table.certain]
    return Opened(tuple(fit), tuple(rest)) if fit else Opened(tuple(parts))


def _named(sheets: "list[Sheet]", wanted: str, described: SourceFile | None) -> "Sheet":
    for sheet in sheets:
        if fold(sheet.name) == fold(wanted):
            return sheet
    place = f"{described.place(('table', 'sheet'))} names" if described is not None else "the description names"
    raise UnknownFormat(
        f'{place} the sheet "{wanted}", which the workbook does not have. Its sheets are: '
        + ", ".join(without_digits(sheet.name) for sheet in sheets)
    )
