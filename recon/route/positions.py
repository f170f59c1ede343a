"""Where each key of a TOML file stands: line and column, which tomllib does not tell.

A small scanner of keys and brackets over text that tomllib has already read without complaint. It runs only
when the first place in a file is asked for, so that files without problems cost nothing. Source of the
grammar: TOML v1.0.0.
"""

import re
import tomllib
from bisect import bisect_right
from collections.abc import Sequence

from recon.model.problem import Place

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SHORT = re.compile(r'"(?:\\.|[^"\\\n])*"' + r"|'[^'\n]*'")
_LONG = re.compile(r'"""(?:\\.|[^\\])*?"""(?:"{0,2})' + r"|'''.*?'''(?:'{0,2})", re.DOTALL)
_PLAIN = re.compile(r"[^,\]}\n#]*")


class TomlPlaces:
    """Answers where a path of a TOML file stands: ("slot", 3, "bus") is the key `bus` of the fourth [[slot]].

    A key stands at its first character, a table and an element of an array of tables at the bracket of its
    header, an element of an array at its value. What the file does not have stands where its nearest known
    ancestor does. Columns count characters, from 1.
    """

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self._text = text
        self._offsets: dict[Path, int] | None = None
        self._lines: list[int] = []

    def __call__(self, path: Sequence[str | int]) -> Place:
        if self._offsets is None:
            self._offsets = _Scanner(self._text).offsets()
            self._lines = [0, *(found.end() for found in re.finditer("\n", self._text))]
        sought = tuple(path)
        while sought not in self._offsets:
            sought = sought[:-1]
        offset = self._offsets[sought]
        line = bisect_right(self._lines, offset)
        return Place(self.file, line, offset - self._lines[line - 1] + 1)


class _LostError(Exception):
    """The text is not what the scanner expected: it keeps the places found so far."""


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found: dict[Path, int] = {(): 0}
        self.elements: dict[Path, int] = {}

    def offsets(self) -> dict[Path, int]:
        """Every path of the file to the offset of its first character."""
        table: Path = ()
        try:
            while self._skip(_BLANK) < len(self.text):
                table = self._header() if self.text[self.at] == "[" else self._pair(table)
        except (_LostError, RecursionError):
            pass
        return self.found

    def _skip(self, pattern: re.Pattern[str]) -> int:
        """Pass over what the pattern matches here; returns the new offset."""
        match = pattern.match(self.text, self.at)
        if match is None:
            raise _LostError
        self.at = match.end()
        return self.at

    def _expect(self, mark: str) -> None:
        if not self.text.startswith(mark, self.at):
            raise _LostError
        self.at += len(mark)

    def _key(self) -> list[tuple[str, int]]:
        """A key, dotted or not: its parts, each with its offset."""
        parts: list[tuple[str, int]] = []
        while True:
            start = self._skip(_SPACE)
            if self.text[start : start + 1] in ('"', "'"):
                self._skip(_SHORT)
                parts.append((_unquoted(self.text[start : self.at]), start))
            else:
                self._skip(_BARE_KEY)
                parts.append((self.text[start : self.at], start))
            self._skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return parts
            self.at += 1

    def _header(self) -> Path:
        start = self.at
        brackets = "[[" if self.text.startswith("[[", start) else "["
        self._expect(brackets)
        names = [name for name, _ in self._key()]
        self._expect("]" * len(brackets))
        path: Path = ()
        for name in names[:-1]:
            path = self._within((*path, name))
            self.found.setdefault(path, start)
        path = (*path, names[-1])
        if brackets == "[[":
            self.found.setdefault(path, start)
            self.elements[path] = self.elements.get(path, -1) + 1
        path = self._within(path)
        self.found[path] = start
        return path

    def _within(self, path: Path) -> Path:
        """A name that is an array of tables means its latest element."""
        return (*path, self.elements[path]) if path in self.elements else path

    def _pair(self, table: Path) -> Path:
        path = table
        for name, start in self._key():
            path = (*path, name)
            self.found.setdefault(path, start)
        self._expect("=")
        self._skip(_SPACE)
        self._value(path)
        return table

    def _value(self, path: Path) -> None:
        mark = self.text[self.at : self.at + 1]
        if self.text.startswith(('"""', "'''"), self.at):
            self._skip(_LONG)
        elif mark in ('"', "'"):
            self._skip(_SHORT)
        elif mark == "[":
            self._array(path)
        elif mark == "{":
            self._inline_table(path)
        else:
            self._skip(_PLAIN)

    def _array(self, path: Path) -> None:
        self._expect("[")
        index = 0
        while not self.text.startswith("]", self._skip(_BLANK)):
            self.found.setdefault((*path, index), self.at)
            self._value((*path, index))
            index += 1
            if not self.text.startswith(",", self._skip(_BLANK)):
                break
            self.at += 1
        self._expect("]")

    def _inline_table(self, path: Path) -> None:
        self._expect("{")
        while not self.text.startswith("}", self._skip(_BLANK)):
            self._pair(path)
            if not self.text.startswith(",", self._skip(_BLANK)):
                break
            self.at += 1
        self._expect("}")


def _unquoted(key: str) -> str:
    if key[0] == "'" or "\\" not in key:
        return key[1:-1]
    return str(tomllib.loads(f"key = {key}")["key"])
