"""Numbering rules: the bus item number that a machine's controller sends for a label.

MDB/ICP leaves the relation of item number and printed label to the maker of the machine; these rules are the ones met
in the trade (common practice, no source). Each is a function of the label and of the place of the slot in its file.
"""

import re
from collections.abc import Sequence as Seq

from recon.model.layout import Grid, Layout, Numbering, Offset, Slot

_ROW_AND_COLUMN = re.compile(r"([A-Za-z]+)(\d+)|(\d+)(\d)")


def row_and_column(label: str) -> tuple[int, int] | None:
    """Where a label stands in a grid: A1 is (1, 1), B12 is (2, 12), 110 is (11, 0). None where it names no such place."""
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
    if rule == "same":
        return int(label) if label.isascii() and label.isdigit() else None
    if rule == "hex-label":
        return int(label, 16) if re.fullmatch(r"[0-9A-Fa-f]+", label) else None
    if isinstance(rule, Offset):
        return int(label) + rule.offset if label.isascii() and label.isdigit() else None
    if isinstance(rule, Grid):
        here, origin = row_and_column(label), row_and_column(slots[0].label)
        if here is None or origin is None:
            return None
        return rule.first + (here[0] - origin[0]) * rule.grid + here[1] - origin[1]
    return rule.sequence + sum(slot.pitch for slot in slots[:position])


def numbers(layout: Layout) -> list[int | None]:
    """What the layout's rule gives each of its slots, in file order; all None without a rule."""
    if layout.numbering is None:
        return [None] * len(layout.slots)
    return [number_of(layout.numbering, slot.label, at, layout.slots) for at, slot in enumerate(layout.slots)]
