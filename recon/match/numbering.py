"""Numbering rules: the bus item number that a machine's controller sends for a label.

MDB/ICP leaves the relation of item number and printed label to the maker of the machine; these rules are the ones met
in the trade (common practice, no source). Each is a function of the label and of the place of the slot in its file.
"""

import re
from collections.abc import Sequence as Seq

from recon.model.layout import ColumnGrid, Grid, Layout, Numbering, Offset, Sequence, Slot

_ROW_AND_COLUMN = re.compile(r"([A-Za-z]+)(\d+)|(\d+)(\d)")


def row_and_column(label: str) -> tuple[int, int] | None:
    """Where a label stands in a grid: A1 is (1, 1), B12 is (2, 12), 110 is (11, 0). None where it names none."""
    found = _ROW_AND_COLUMN.fullmatch(label)
    if found is None:
        return None
    letters, column, digits, last = found.groups()
    if letters is None:
        return int(digits), int(last)
    row = 0
    for letter in letters.upper():
        row = row * 26 + ord(letter) - ord("A") + 1
    return row, int(column)


def number_of(rule: Numbering, label: str, position: int, slots: Seq[Slot]) -> int | None:
    """The bus number that `rule` gives the slot at `position` of `slots`; None where the label does not fit the rule.

    The result can lie outside 0 to 65534: that is for the caller to report.
    """
    if isinstance(rule, str):
        return _named(rule, label)
    if isinstance(rule, Offset):
        return int(label) + rule.offset if label.isascii() and label.isdigit() else None
    if isinstance(rule, Sequence):
        return rule.sequence + sum(slot.pitch for slot in slots[:position])
    here, origin = row_and_column(label), row_and_column(slots[0].label)
    if here is None or origin is None:
        return None
    row, column = here[0] - origin[0], here[1] - origin[1]
    return rule.first + (row * rule.grid + column if isinstance(rule, Grid) else column * rule.column_grid + row)


def _named(rule: str, label: str) -> int | None:
    """The rules without a parameter."""
    if rule == "hex-label":
        return int(label, 16) if re.fullmatch(r"[0-9A-Fa-f]+", label) else None
    if rule == "ascii-pair":
        return int.from_bytes(label.encode()) if re.fullmatch(r"[!-~]{2}", label) else None
    if not (label.isascii() and label.isdigit()):
        return None
    return int(label) - 1 if rule == "zero-based" else int(label)


def numbers(layout: Layout) -> list[int | None]:
    """What the layout's rule gives each of its slots, in file order; all None without a rule."""
    if layout.numbering is None:
        return [None] * len(layout.slots)
    return [number_of(layout.numbering, slot.label, at, layout.slots) for at, slot in enumerate(layout.slots)]


def body_of(layout: Layout) -> tuple[object, ...]:
    """Return what slots of a layout and their numbers depend on: equal for layouts that share all slots and the rule.

    It holds the ids of the slots, so that it means something only while these are there.
    """
    rule = layout.numbering
    return (rule if rule is None or isinstance(rule, str) else rule_words(rule), *map(id, layout.slots))


def rule_words(rule: Numbering) -> str:
    """A numbering rule as it is written in a layout."""
    if isinstance(rule, str):
        return rule
    if isinstance(rule, Offset):
        return f"{{ offset = {rule.offset} }}"
    if isinstance(rule, Grid):
        return f"{{ grid = {rule.grid}, first = {rule.first} }}"
    if isinstance(rule, ColumnGrid):
        return f"{{ column-grid = {rule.column_grid}, first = {rule.first} }}"
    return f"{{ sequence = {rule.sequence} }}"
