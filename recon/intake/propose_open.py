"""An export opened before any description speaks for it: its header is found by words that head columns in
general.
"""

from dataclasses import dataclass
from pathlib import Path

from recon.intake.container import unpack
from recon.intake.encoding import OLE, decode
from recon.intake.header_words import known_headers
from recon.intake.phone_notes import read_note
from recon.intake.table import TextTable, UnreadableFile, table_of
from recon.intake.workbook import read_sheets, table_of_sheet
from recon.model.source import TableShape

_ENCODINGS = ("cp1252", "cp1250", "cp437")


@dataclass(frozen=True, slots=True)
class Found:
    """One table of a file. sheet: the sheet that it stands on, in a workbook of several. encoding: the one
    that was assumed, with the reason, for a text that names none and is no UTF-8."""

    table: TextTable
    sheet: str | None = None
    encoding: tuple[str, str] | None = None


def tables_in(path: Path, machines: frozenset[str] = frozenset()) -> list[Found]:
    """Every table of a file, packed or not. machines: ids known, by which a note typed on a phone is told
    from a table.

    Raises UnreadableFile where nothing of the file can be read, OSError where it cannot be opened.
    """
    unpacked = unpack(path.read_bytes(), path.name)
    if unpacked.book or unpacked.data.startswith(OLE):
        sheets = read_sheets(unpacked.data)
        tables = [table_of_sheet(sheet, known_headers, TableShape()) for sheet in sheets]
        return [
            Found(table, sheet.name if len(sheets) > 1 else None) for table, sheet in zip(tables, sheets, strict=True)
        ]
    decoded = decode(unpacked.data)
    if any(name.lower().endswith(".txt") for name in (path.name, *unpacked.names)):
        note = read_note(decoded, machines)
        if note is not None:
            return [Found(note)]
    table = table_of(decoded, known_headers, TableShape())
    if decoded.remark is None:
        return [Found(table)]
    same = [name for name in _ENCODINGS if _decodes(unpacked.data, name, decoded.text)]
    return [Found(table, encoding=(same[0], decoded.remark) if same else None)]


def _decodes(data: bytes, encoding: str, text: str) -> bool:
    try:
        return decode(data, encoding).text == text
    except UnreadableFile:
        return False
