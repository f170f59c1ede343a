"""Which files of a route folder are read, and their text: every way a file can be unreadable becomes a
problem.
"""

import os
import re
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

from recon.model.problem import Place, Problem
from recon.route.plain import read_plain
from recon.route.positions import TomlPlaces

_BOM = b"\xef\xbb\xbf"
_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


class Absurd:
    """A number such as 1e999999999: no key takes it, and computing with it would take for ever."""

    def __init__(self, text: str) -> None:
        self.text = text


def _number(text: str) -> Decimal | Absurd:
    number = Decimal(text)
    return number if -40 < number.adjusted() < 40 else Absurd(text)


def listed(root: Path, folder: str, suffixes: tuple[str, ...]) -> list[str]:
    """The files of one folder of the route with these endings, as paths relative to the route, sorted.

    Hidden files and what editors leave behind (`.x.toml`, `x.toml~`) are passed over, as is every other
    ending.
    """
    try:
        names = os.listdir(root / folder)  # noqa: PTH208 - ten times as quick as paths, where there are many
    except (FileNotFoundError, NotADirectoryError, PermissionError):
        return []
    return sorted(f"{folder}/{name}" for name in names if name[0] != "." and name.lower().endswith(suffixes))


def unusable(place: Place, found: str, expected: str) -> Problem:
    """The file as a whole, or its grammar, is wrong."""
    return Problem("bad-value", place, {"key": "the file", "found": found, "expected": expected})


def read_bytes(root: Path, file: str) -> bytes:
    """Return the bytes of a file. Where there are many, to make paths takes longer than to read them. Raises OSError.
    """
    with open(os.path.join(root, file), "rb", buffering=0) as stream:  # noqa: PTH118, PTH123
        return stream.readall()


def read_text(root: Path, file: str) -> str | Problem:
    """The text of a file, without a byte order mark; a problem where it is no readable UTF-8 text or is
    empty.
    """
    expected = "a text file in UTF-8"
    try:
        if not os.path.isfile(os.path.join(root, file)):  # noqa: PTH113, PTH118 - as in read_bytes
            found = "a folder" if (root / file).is_dir() else "no plain file of that name"
            return unusable(Place(file), found, expected)
        content = read_bytes(root, file)
    except OSError as error:
        return unusable(Place(file), f"a file that the system will not open ({error.strerror})", expected)
    content = content.removeprefix(_BOM)
    try:
        text = content.decode()
    except UnicodeDecodeError as error:
        before = content[: error.start].decode().replace("\r\n", "\n")
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        return unusable(
            Place(file, line, column), f"the byte {content[error.start]:02X}h, which is not UTF-8", expected
        )
    if not text.strip():
        return unusable(
            Place(file, 1, 1), "an empty file", "its contents; delete the file if it is not needed"
        )
    return text


def read_toml(root: Path, file: str) -> tuple[dict[str, Any], TomlPlaces] | Problem:
    """The values of a TOML file, numbers with a point as exact Decimals, and where each of them stands."""
    text = read_text(root, file)
    if isinstance(text, Problem):
        return text
    return toml_of(file, text.replace("\r\n", "\n"))


def toml_of(file: str, text: str) -> tuple[dict[str, Any], TomlPlaces] | Problem:
    """Return the same of the text of a file, in which a line ends in a line feed alone."""
    data = read_plain(text)
    if data is not None:
        return data, TomlPlaces(file, text)
    try:
        return tomllib.loads(text, parse_float=_number), TomlPlaces(file, text)
    except tomllib.TOMLDecodeError as error:
        return _syntax(file, text, str(error))
    except RecursionError:
        return unusable(Place(file, 1, 1), "brackets nested too deeply", "TOML")
    except (ValueError, ArithmeticError):
        # tomllib lets through what int() and Decimal() say of numbers with thousands of digits.
        return unusable(Place(file, 1, 1), "a number too long to read", "TOML")


def _syntax(file: str, text: str, message: str) -> Problem:
    at = _AT.search(message)
    lines = text.rstrip("\n").split("\n")
    line, column = (int(at[1]), int(at[2])) if at and at[1] else (len(lines), len(lines[-1]) + 1)
    what = _AT.sub("", message)
    return unusable(
        Place(file, line, column), f"text that is not TOML ({what[:1].lower()}{what[1:]})", "TOML"
    )
