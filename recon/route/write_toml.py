"""Numbers into the text of a TOML layout, at the places that the scanner of the reader gives.

A library that edits TOML (tomlkit 0.15) was tried and left: it moves a [[slot]] that stands after a [[change]] up to
the others, and puts a new key below the comment that belongs to the next table (measured). Here only the characters of
the keys concerned are touched.
"""

import re
from collections.abc import Sequence

from recon.model.errors import ReconError
from recon.model.layout import Change, Layout, Slot
from recon.route.layout_text import change_lines, quoted, rule_toml
from recon.route.positions import TomlPlaces
from recon.route.splice import Edit, spliced
from recon.route.write_plan import Plan

_KEY = re.compile(r"""(?:"[^"\n]*"|'[^'\n]*'|[A-Za-z0-9_-]+)[ \t]*=[ \t]*""")
_VALUE = re.compile(r""""(?:\\.|[^"\\\n])*"|'[^'\n]*'|\{[^\n}]*\}|[^\s,#\]}]+""")


def edited_toml(file: str, text: str, layout: Layout, plan: Plan) -> str:
    """The text with the plan carried out. Raises ReconError where slots or changes are no tables of their own."""
    edits = _Edits(file, text)
    _rule(edits, layout, plan)
    for key, values in (("pitch", plan.pitches), ("bus", plan.slots)):
        for at, value in values.items():
            edits.set_in(("slot", at), key, value, there=key in layout.slots[at].model_fields_set)
    for at, bus in plan.changes.items():
        edits.set_in(("change", at), "bus", bus, there=layout.changes[at].bus is not None)
    if plan.added:
        edits.blocks(_below_slots(edits, layout), [_slot_lines(label, bus) for label, bus in plan.added])
    for label, bus in plan.dated:
        _dated(edits, layout, plan, label, bus)
    return edits.done()


class _Edits:
    """Replacements in a text, gathered and carried out from the end, so that places stay true."""

    def __init__(self, file: str, text: str) -> None:
        self.text = text
        self.lines = re.findall(r"[^\n]*\n|[^\n]+$", text)
        self.end_of_line = "\r\n" if "\r\n" in text else "\n"
        self.places = TomlPlaces(file, text.replace("\r\n", "\n"))
        self._starts = [0]
        for line in self.lines:
            self._starts.append(self._starts[-1] + len(line))
        self._edits: list[Edit] = []

    def offset(self, path: Sequence[str | int]) -> int:
        place = self.places(path)
        return self._starts[(place.line or 1) - 1] + (place.column or 1) - 1

    def line_of(self, path: Sequence[str | int]) -> int:
        """The line on which it stands, from 0."""
        return (self.places(path).line or 1) - 1

    def set_in(self, table: tuple[str, int], key: str, value: int, *, there: bool) -> None:
        """Give a key of a slot or change its value: in its place, or just behind the label."""
        if there:
            start, end = self.value_span((*table, key))
            self._edits.append((start, end, str(value)))
            return
        start = self.offset((*table, "label"))
        line = self.line_of((*table, "label"))
        before = self.text[self._starts[line] : start]
        if before.strip(" \t"):
            _, end = self.value_span((*table, "label"))
            self._edits.append((end, end, f", {key} = {value}"))
        else:
            self.insert_line(line + 1, f"{before}{key} = {value}")

    def value_span(self, path: Sequence[str | int]) -> tuple[int, int]:
        key = _KEY.match(self.text, self.offset(path))
        value = None if key is None else _VALUE.match(self.text, key.end())
        if value is None:
            raise ReconError(
                f"{self.places(path)} is written in a way that cannot be edited; put the number in by hand"
            )
        return value.span()

    def replace(self, start: int, end: int, text: str) -> None:
        self._edits.append((start, end, text))

    def insert_line(self, line: int, text: str) -> None:
        """Before the line of that number, from 0."""
        at = self._starts[min(line, len(self.lines))]
        unended = line >= len(self.lines) and bool(self.lines) and not self.lines[-1].endswith("\n")
        self._edits.append((at, at, self.end_of_line + text if unended else text + self.end_of_line))

    def blocks(self, line: int, blocks: Sequence[Sequence[str]]) -> None:
        """Tables of their own before the line of that number, an empty line between each of them and its neighbours."""
        for block in blocks:
            for text in ["", *block]:
                self.insert_line(line, text)
        if line < len(self.lines) and self.lines[line].strip():
            self.insert_line(line, "")

    def done(self) -> str:
        """The edited text. Of two edits at one place, the one asked for first comes first."""
        return spliced(self.text, self._edits)


def _rule(edits: _Edits, layout: Layout, plan: Plan) -> None:
    if plan.rule == layout.numbering:
        return
    line = edits.line_of(("numbering",))
    plain = edits.lines[line].lstrip(" \t").startswith(("numbering ", "numbering=", "numbering\t"))
    if layout.numbering is not None and not plain:
        raise ReconError(
            f"{edits.places(('numbering',))}: write it on one line, numbering = {{ ... }}, to have it edited"
        )
    if plan.rule is None:
        start = edits.offset(("numbering",))
        edits.replace(start, start, "# ")
    elif layout.numbering is not None:
        edits.replace(*edits.value_span(("numbering",)), rule_toml(plan.rule))
    else:
        after = "site" if layout.site is not None else "machine"
        where = edits.line_of((after,))
        line = edits.lines[where]
        indent = line[: len(line) - len(line.lstrip(" \t"))]
        edits.insert_line(where + 1, f"{indent}numbering = {rule_toml(plan.rule)}")


def _own_tables(edits: _Edits, name: str, entries: Sequence[Slot | Change]) -> None:
    """Whether [[name]] may be added: not where they stand in an array within brackets."""
    if entries and not edits.text.startswith("[[", edits.offset((name, 0))):
        place = edits.places((name, 0))
        raise ReconError(f"{place} is within one array: write each of them as a [[{name}]], to have one added")


def _below_slots(edits: _Edits, layout: Layout) -> int:
    """The line below the last [[slot]], comments that belong to the next table left to that."""
    _own_tables(edits, "slot", layout.slots)
    if not layout.slots:
        return len(edits.lines)
    last = edits.line_of(("slot", len(layout.slots) - 1))
    heads = [edits.line_of(("change", at)) for at in range(len(layout.changes))]
    until = min((head for head in heads if head > last), default=len(edits.lines))
    return _above_comments(edits, until) if until < len(edits.lines) else until


def _above_comments(edits: _Edits, line: int) -> int:
    """Up over the comments right above a table, and over the empty lines above these."""
    while line and edits.lines[line - 1].lstrip(" \t").startswith("#"):
        line -= 1
    while line and not edits.lines[line - 1].strip():
        line -= 1
    return line


def _slot_lines(label: str, bus: int | None) -> list[str]:
    lines = ["[[slot]]", f"label = {quoted(label)}"]
    return lines if bus is None else [*lines, f"bus = {bus}"]


def _dated(edits: _Edits, layout: Layout, plan: Plan, label: str, bus: int) -> None:
    """A [[change]]: before the label's first later one, else at the end of the file."""
    assert plan.since is not None
    _own_tables(edits, "change", layout.changes)
    lines = change_lines(Change(start=plan.since, label=label, bus=bus))
    later = [
        edits.line_of(("change", at))
        for at, change in enumerate(layout.changes)
        if change.label == label and change.start > plan.since
    ]
    if later:
        edits.blocks(_above_comments(edits, min(later)), [lines])
    else:
        edits.blocks(len(edits.lines), [lines])
