"""Text as a cell of a workbook can carry it."""

import re
from typing import Final

MOST_UNITS: Final = 32_767
"""UTF-16 code units that a cell of a workbook holds: beyond them a spreadsheet program calls the file damaged."""

_NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 cannot carry (production 2, Char)."""


def cell_text(text: str, whole: str = "") -> str:
    """The text with U+FFFD for what XML cannot carry, and cut to what fits, which it then says.

    whole: words about where all of it is.

    XlsxWriter takes text from `<r>` to `</r>` for markup of its own and writes it unescaped: a blank behind it keeps it
    text.
    """
    clean = _NOT_IN_XML.sub("\ufffd", text)
    if clean.startswith("<r>") and clean.endswith("</r>"):
        clean += " "
    if len(clean) <= MOST_UNITS // 2 or _units(clean) <= MOST_UNITS:
        return clean
    said = f" [cut: {len(text):,} characters in all{whole}]"
    room = MOST_UNITS - len(said)
    # Two bytes a unit; half a surrogate pair at the end falls away.
    return clean.encode("utf-16-le")[: 2 * room].decode("utf-16-le", "ignore") + said


def _units(text: str) -> int:
    return len(text.encode("utf-16-le")) // 2
