"""Bytes as text, without a guess that could corrupt it in silence.

A byte order mark decides; then strict UTF-8; then what the description says. Without any of these, bytes beyond ASCII
are read as Windows-1252 only where they stand as letters in words, or as signs that Windows-1250 has at the same place,
and that is said with the first word concerned. Numbers, times and our own words are ASCII, so such a reading can spell
a name wrongly and nothing else. What Windows-1252 does not define, or what would put a sign inside a word ("Bia³a"), is
refused with the line that settles it.
"""

import re
from typing import NamedTuple

MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
NAMES: dict[str, str] = {"cp1252": "Windows-1252", "cp1250": "Windows-1250", "cp437": "code page 437"}
SNIFFED = 65_536
"""Bytes or characters that are looked at to settle how a file is written."""

GZIP = b"\x1f\x8b"
ZIP = (b"PK\x03\x04", b"PK\x05\x06")
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""How archives begin, and a .xls, and a workbook that is locked with a password: what has a reader of its own, which is
loaded when the first such file comes."""

_CONTROLS = re.compile(r"[\x01-\x08\x0b\x0c\x0e-\x19\x1b-\x1f]")
_SIGNATURES = (
    (b"%PDF-", "a PDF"), (b"\x89PNG", "a picture"), (b"\xff\xd8\xff", "a picture"), (b"GIF8", "a picture"),
    (b"Rar!", "a RAR archive"), (b"7z\xbc\xaf", "a 7z archive"), (b"{\\rtf", "a text document (RTF)"),
)  # fmt: skip
_PAGE = re.compile(rb"\s*(<!doctype html|<html|<table|<\?xml)", re.IGNORECASE)


class UnreadableFile(Exception):
    """The file as a whole cannot be read; the text says what was found and what was expected."""


class Decoded(NamedTuple):
    """text: the file, its line ends LF, ending in one. cut: whether its last line had no end. remark: what was assumed,
    or None. ascii: the bytes of the text, where the file holds just these and they are ASCII."""

    text: str
    cut: bool
    remark: str | None = None
    ascii: bytes | None = None

    @property
    def data(self) -> bytes:
        """Return the text as UTF-8."""
        return self.text.encode() if self.ascii is None else self.ascii


def decode(data: bytes, declared: str | None = None) -> Decoded:
    """The bytes as text (see above for the order in which encodings are tried). Trailing blank lines go.

    Raises UnreadableFile for what is no text, naming the first byte that does not fit and its line.
    """
    text, remark = _text(data, declared)
    if "\0" in text:
        raise UnreadableFile(f"character {text.index(chr(0)) + 1} is NUL: this is no text file, whatever its name says")
    changed = "\r" in text
    if changed:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if text.endswith("\n") and text[-2:-1] not in ("\n", "\t", " "):
        # As most files end: nothing is to go, and a long text need not be copied for it. Of encodings, those that give
        # ASCII give one character a byte for the same bytes alone.
        same = not changed and text.isascii() and len(text) == len(data)
        return Decoded(text, False, remark, data if same else None)
    # Only whole lines go: the tabs that end the last record are its empty cells.
    end = text.find("\n", len(text.rstrip("\n\t ")))
    return Decoded((text if end < 0 else text[:end]) + "\n", end < 0, remark)


def _text(data: bytes, declared: str | None) -> tuple[str, str | None]:
    for mark, encoding in MARKS:
        if data.startswith(mark):
            return _strict(data, encoding, len(mark)), None
    what = next((name for signature, name in _SIGNATURES if data.startswith(signature)), None)
    if what is not None:
        raise UnreadableFile(f"it is {what}, not a table: export it as CSV or as a spreadsheet")
    if _PAGE.match(data[:1000]):
        raise UnreadableFile(
            "it is a web page or XML, whatever its name says:"
            " open it in a spreadsheet program and save it as .xlsx or CSV"
        )
    if b"\0" in data:
        return _without_mark(data, declared), None
    try:
        return data.decode("utf-8"), None
    except UnicodeDecodeError as error:
        if declared == "utf-8":
            raise _misfit(
                data, error, "UTF-8", ": save the file as UTF-8, or mend `encoding` in its description"
            ) from error
        if declared in NAMES:
            return _strict(data, declared, 0), None
        return _assumed(data, error.start)


def _strict(data: bytes, encoding: str, skip: int) -> str:
    try:
        return data[skip:].decode(encoding) if skip else data.decode(encoding)
    except UnicodeDecodeError as error:
        name = NAMES.get(encoding, "UTF-16" if encoding.startswith("utf-16") else "UTF-8")
        advice = (
            ": save the file as UTF-8"
            if encoding not in NAMES
            else ": mend `encoding` under [table] in its description"
        )
        raise _misfit(data, error, name, advice, skip) from error


def _misfit(data: bytes, error: UnicodeDecodeError, name: str, advice: str, skip: int = 0) -> UnreadableFile:
    at = error.start + skip
    line = data.count(b"\n", 0, at) + 1
    return UnreadableFile(f"byte {data[at]:02X}h on line {line} is not {name}{advice}")


def _without_mark(data: bytes, declared: str | None) -> str:
    """UTF-16 without its mark: no NUL at one place of each pair, and NUL at the other wherever the text is plain."""
    head = data[:SNIFFED]
    first, second = head[0::2], head[1::2]
    if len(data) % 2 == 0:
        if 0 not in first and (declared == "utf-16" or second.count(0) * 2 >= len(second)):
            return _strict(data, "utf-16-le", 0)
        if 0 not in second and (declared == "utf-16" or first.count(0) * 2 >= len(first)):
            return _strict(data, "utf-16-be", 0)
    raise UnreadableFile(f"byte {data.index(0) + 1} is NUL: this is no text file, whatever its name says")


def _assumed(data: bytes, start: int) -> tuple[str, str]:
    """Windows-1252, where that can do no harm."""
    line = data.count(b"\n", 0, start) + data.count(b"\r", 0, start) - data.count(b"\r\n", 0, start) + 1
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        raise _refused(data, error.start, "is neither UTF-8 nor Windows-1252") from error
    control = _CONTROLS.search(text)
    if control is not None:
        raise UnreadableFile(
            f"byte {ord(control[0]):02X}h on line {text.count(chr(10), 0, control.start()) + 1}"
            " is a control code: this is no text file"
        )
    doubtful = _DOUBTFUL.search(text)
    if doubtful is not None:
        # In cp1252 every byte is one character, so places in the text are places in the data.
        raise _refused(data, doubtful.start(), f'would be "{doubtful[0]}" inside a word in Windows-1252')
    word = _word(text, start)
    return (
        text,
        f'read as Windows-1252, for it is not UTF-8 and no description says otherwise: first "{word}" on line {line}',
    )


def _refused(data: bytes, at: int, why: str) -> UnreadableFile:
    line = data.count(b"\n", 0, at) + 1
    other = "cp1250" if _fits(data, "cp1250") else "cp437"
    word = _word(data.decode(other), at)
    return UnreadableFile(
        f'byte {data[at]:02X}h on line {line} {why}. If "{word}" is right,'
        f' add a description with `encoding = "{other}"` under [table]; '
        f"else name its encoding there, or save the file as UTF-8"
    )


def _fits(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _word(text: str, at: int) -> str:
    """The word around a place of the text; digits, which may be those of a card, are kept out."""
    begin = re.search(r"[^\s,;|\"]*$", text[max(0, at - 30) : at])
    end = re.match(r"[^\s,;|\"]*", text[at : at + 30])
    return re.sub(r"[0-9]", "#", (begin[0] if begin else "") + (end[0] if end else ""))


def _doubtful() -> re.Pattern[str]:
    """A sign of Windows-1252 in whose place Windows-1250 has another character, touching a letter or another such
    sign."""
    signs, letters = [], []
    for code in range(0x80, 0x100):
        try:
            here = bytes([code]).decode("cp1252")
        except UnicodeDecodeError:
            continue
        there = bytes([code]).decode("cp1250", "replace")
        # The ordinals ª and º pass for letters in Unicode, yet are none in a word.
        if here.isalpha() and here not in "ªº":
            letters.append(here)
        elif here != there:
            signs.append(here)
    sign, letter = re.escape("".join(signs)), "A-Za-z" + "".join(letters)
    return re.compile(f"(?<=[{letter}{sign}])[{sign}]|[{sign}](?=[{letter}{sign}])")


_DOUBTFUL = _doubtful()
