"""Layouts read by their blocks: the machines of a route are alike, so that each distinct [[slot]] is read once.

To read and validate every slot of every file takes most of the time of a route of many machines. A text is parted at
its [[slot]] and [[change]] lines, and a block that another file had is taken over as it was validated. Where each part
is TOML by itself, none of these lines stands inside a value. Whatever is not, or is not valid, is left to the careful
reading of the whole file; a test holds the two against each other.
"""

import re
from typing import Any, Final

from pydantic import ValidationError

from recon.model.layout import Change, Layout, Slot
from recon.model.problem import Problem
from recon.route.files import toml_of

_HEADER: Final = re.compile(r"\n\[\[(slot|change)\]\]\n")


class Blocks:
    """The blocks of the files read so far: text to what it holds, None where that is for the careful reading."""

    def __init__(self) -> None:
        self._read: dict[tuple[str, str], Slot | Change | None] = {}

    def layout(self, text: str) -> Layout | None:
        """Return the layout that a text holds; None where anything is wrong with it."""
        head, *rest = _HEADER.split(text)
        data = _toml(head)
        if data is None or not data.keys().isdisjoint(("slot", "slots", "change", "changes")):
            return None
        found: dict[str, list[Slot | Change]] = {"slot": [], "change": []}
        for name, block in zip(rest[::2], rest[1::2], strict=True):
            entry = self._read[name, block] if (name, block) in self._read else self._entry(name, block)
            if entry is None:
                return None
            found[name].append(entry)
        try:
            return Layout.model_validate(data | found)
        except ValidationError:
            return None

    def _entry(self, name: str, block: str) -> Slot | Change | None:
        """A block that no file had before."""
        data, entry = _flat(block), None
        # The model of a change also answers to its own name for `from`, which no file may use.
        if data is not None and "start" not in data:
            try:
                entry = (Slot if name == "slot" else Change).model_validate(data)
            except ValidationError:
                entry = None
        self._read[name, block] = entry
        return entry


def _flat(block: str) -> dict[str, Any] | None:
    """Return the keys of a block; None where it is no TOML, or another table begins in it."""
    data = _toml(block)
    return None if data is None or any(isinstance(value, dict | list) for value in data.values()) else data


def _toml(text: str) -> dict[str, Any] | None:
    found = toml_of("", text)
    return None if isinstance(found, Problem) else found[0]
