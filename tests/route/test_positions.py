"""The scanner that finds where a key stands, held against documents whose places are known and against
tomllib.
"""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.route.positions import TomlPlaces

Path = tuple[str | int, ...]

SCALARS = (
    "1", "-17", "1.75", "true", "2026-08-03T07:00:00", "2026-08-03 07:00:00", "inf", "0x10",
    '"plain"', "'literal'",
    '""', "''", '"# no comment"', '"a \\" quote and \\\\"', "'\\'", '"[not.a.table]"', '"= ü €"',
    '"""one line"""', '"""two\nlines = 1\n[[slot]] """', '"""a "quote" and \\""""', '"""ends in two"""""',
    "'''two\nlines # no'''", "'''it's'''''", '"""\\\n   folded"""',
)  # fmt: skip


class Writer:
    """Writes TOML and notes where each key was written."""

    def __init__(self) -> None:
        self.text = ""
        self.places: dict[Path, tuple[int, int]] = {}
        self.count = 0

    def note(self, path: Path, *, first: bool = False) -> None:
        line = self.text.count("\n") + 1
        place = (line, len(self.text) - self.text.rfind("\n"))
        if first:
            self.places.setdefault(path, place)
        else:
            self.places[path] = place

    def name(self, draw: Any) -> tuple[str, str]:
        """A key not used before, and how it is written."""
        self.count += 1
        bare = f"k{self.count}"
        kind = draw(st.sampled_from(["bare", "basic", "literal", "odd", "escaped"]))
        if kind == "bare":
            return bare, bare
        if kind == "basic":
            return bare, f'"{bare}"'
        if kind == "literal":
            return f"{bare}.x]", f"'{bare}.x]'"
        if kind == "odd":
            return f"{bare} = # ü", f'"{bare} = # ü"'
        return f'{bare}"\t', f'"{bare}\\"\\t"'

    def pair(self, draw: Any, table: Path, depth: int, inline: bool) -> None:
        for last in [False] * draw(st.integers(0, 2)) + [True]:
            key, written = self.name(draw)
            table = (*table, key)
            self.note(table)
            self.text += written + draw(st.sampled_from(["", " ", "\t"]))
            if not last:
                self.text += "." + draw(st.sampled_from(["", " "]))
        self.text += "=" + draw(st.sampled_from(["", " "]))
        self.value(draw, table, depth, inline)

    def value(self, draw: Any, path: Path, depth: int, inline: bool) -> None:
        kind = draw(st.sampled_from(["scalar", "scalar", "array", "table"])) if depth < 3 else "scalar"
        if kind == "scalar":
            self.text += draw(st.sampled_from(SCALARS))
        elif kind == "array":
            self.text += "["
            for index in range(draw(st.integers(0, 3))):
                self.text += draw(st.sampled_from(["", " ", "\n  ", " # ] comment\n"]))
                self.note((*path, index))
                self.value(draw, (*path, index), depth + 1, inline)
                self.text += draw(st.sampled_from(["", "\n", "# [\n"])) + ","
            self.text += draw(st.sampled_from(["", "\n"])) + "]"
        else:
            self.text += "{"
            count = draw(st.integers(0, 2))
            for index in range(count):
                self.text += draw(st.sampled_from(["", " "]))
                self.pair(draw, path, depth + 1, inline=True)
                self.text += "," if index + 1 < count else ""
            self.text += "}"


@st.composite
def documents(draw: Any) -> tuple[str, dict[Path, tuple[int, int]]]:
    writer = Writer()
    arrays: list[tuple[Path, str]] = []
    counts: dict[Path, int] = {}
    table: Path = ()
    for _ in range(draw(st.integers(0, 8))):
        writer.text += draw(st.sampled_from(["", "\n", "# comment [x] a = 1\n", "  ", "\t"]))
        what = draw(st.sampled_from(["pair", "pair", "table", "array", "again", "under"]))
        if what == "pair":
            writer.pair(draw, table, 0, inline=False)
        elif what == "table":
            key, written = writer.name(draw)
            table = (key,)
            writer.note(table)
            writer.text += f"[{written}]"
        elif what == "under" and arrays:
            (array, head), (key, written) = draw(st.sampled_from(arrays)), writer.name(draw)
            table = (*array, counts[array], key)
            writer.note(table)
            writer.text += f"[{head} . {written}]"
        elif what == "array" or (what == "again" and not arrays):
            key, written = writer.name(draw)
            arrays.append(((key,), written))
            counts[(key,)] = 0
            table = (key, 0)
            writer.note((key,))
            writer.note(table)
            writer.text += f"[[ {written} ]]"
        elif what == "again":
            array, written = draw(st.sampled_from(arrays))
            counts[array] += 1
            table = (*array, counts[array])
            writer.note(table)
            writer.text += f"[[{written}]]"
        writer.text += draw(st.sampled_from(["\n", "  # comment\n", "\n\n"]))
    return writer.text, writer.places


def paths_of(value: Any, path: Path = ()) -> list[Path]:
    """Every path that tomllib finds."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(found for key, item in inner for found in paths_of(item, (*path, key)))]


@given(documents())
def test_each_key_is_where_it_was_written(document: tuple[str, dict[Path, tuple[int, int]]]) -> None:
    text, places = document
    data = tomllib.loads(text)
    find = TomlPlaces("f.toml", text)
    for path in paths_of(data)[1:]:
        assert path in places
    for path, place in places.items():
        found = find(path)
        assert (found.line, found.column) == place, path


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ((), (1, 1)),
        (("slot",), (3, 1)),
        (("slot", 1), (7, 1)),
        (("slot", 1, "bus"), (8, 3)),
        (("slot", 1, "price"), (7, 1)),
        (("slot", 9, "bus"), (3, 1)),
        (("tolerance", "cash"), (11, 11)),
        (("numbering", "offset"), (12, 15)),
        (("nothing",), (1, 1)),
    ],
)
def test_what_is_not_there_stands_at_its_nearest_ancestor(path: Path, place: tuple[int, int]) -> None:
    text = """# layout
machine = "x"
[[slot]]
label = "1" # a = 2
bus = 3

[[slot]]
  bus = 4

[a]
tolerance.cash = 1
numbering = { offset = 5 }
"""
    find = TomlPlaces("f.toml", text)
    inner = ("a", *path) if path and path[0] in ("tolerance", "numbering") else path
    found = find(inner)
    assert (found.file, found.line, found.column) == ("f.toml", *place)
