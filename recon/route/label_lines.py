"""The slots of a machine from lines that a person writes down at its front: labels, ranges of labels, trays.

A line is one of these (`|` separates choices, [ ] what may be left out):

    LABEL ; [PRODUCT] [; [PRICE] [; [CAPACITY]]]
    [TRAY :] LABELS [, LABELS ...] [snack | candy] [capacity N]

LABELS is one label, or a range with `FIRST-LAST [step N]`: 110-118 step 2, A1-A8, 01-40. Both ends of a range have the
same letters in front, and the second may leave them out. Where the first end begins with 0, the others are as wide. A
snack tray is a double-width one (pitch 2), a candy tray one of single width (pitch 1, the default): common practice, no
source. Empty lines and lines that begin with # are passed over.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pydantic import ValidationError

from recon.model.errors import ReconError
from recon.model.layout import Slot

MOST_LABELS = 2000
"""More than any machine has: a range beyond it is a slip of the pen."""

_EXPECTED = {"price": "an amount such as 1.75", "capacity": "a whole number of units, 1 or more"}
_PITCHES = {"snack": 2, "candy": 1}
_RANGE = re.compile(r"([^\d\s]*)(\d{1,9})-([^\d\s]*)(\d{1,9})")
_DASH = re.compile(r"\s*[-\u2013]\s*")


@dataclass(frozen=True, slots=True)
class Line:
    """A line as written, and what to call it in an error: `slots.txt:3`, or the argument itself."""

    place: str
    text: str


def slots_of(lines: Iterable[Line]) -> list[Slot]:
    """The slots in the order of the lines. Raises ReconError, with the place, for what cannot be read."""
    slots: list[Slot] = []
    places: dict[str, str] = {}
    for line in lines:
        text = line.text.strip()
        if not text or text.startswith("#"):
            continue
        for slot in _table_line(line, text) if ";" in text else _tray_line(line, text):
            if slot.label in places:
                raise ReconError(
                    f"{line.place}: label {slot.label} stands in {places[slot.label]} already: each slot once"
                )
            places[slot.label] = line.place
            slots.append(slot)
            if len(slots) > MOST_LABELS:
                raise ReconError(f"{line.place}: more than {MOST_LABELS} labels: correct the range")
    return slots


def _table_line(line: Line, text: str) -> list[Slot]:
    cells = [cell.strip() for cell in text.split(";")]
    if len(cells) > 4:
        raise ReconError(f"{line.place}: {len(cells)} cells: expected label;product;price;capacity")
    named = dict(zip(("label", "product", "price", "capacity"), cells, strict=False))
    try:
        return [Slot.model_validate({name: cell for name, cell in named.items() if cell})]
    except ValidationError as error:
        where = error.errors()[0]["loc"]
        name = str(where[0]) if where else "label"
        expected = _EXPECTED.get(name, "a text of 1 to 64 characters")
        raise ReconError(f'{line.place}: {name} is "{named.get(name, "")}": expected {expected}') from error


def _tray_line(line: Line, text: str) -> Iterator[Slot]:
    tray, colon, rest = text.rpartition(":")
    if colon and not tray.strip():
        raise ReconError(f'{line.place}: "{text}" names no tray before its colon: expected 1: 110-118')
    pitch: int | None = None
    capacity: int | None = None
    labels: list[str] = []
    for part in rest.split(","):
        first, *words = _DASH.sub("-", part.strip()).split() or [""]
        if not first:
            raise ReconError(f'{line.place}: "{text}" has no label where one is due: expected 110-118, 121')
        step = 1
        while words:
            word = words.pop(0)
            if word in _PITCHES and pitch in (None, _PITCHES[word]):
                pitch = _PITCHES[word]
            elif word == "step" and "-" in first:
                step = _whole(line, word, words)
            elif word == "capacity" and capacity is None:
                capacity = _whole(line, word, words)
            else:
                raise _unknown(line, word, first)
        labels += _labels(line, first, step)
    for label in labels:
        yield _slot(line, label, tray.strip() or None, pitch or 1, capacity)


def _slot(line: Line, label: str, tray: str | None, pitch: int, capacity: int | None) -> Slot:
    try:
        return Slot(label=label, tray=tray, pitch=pitch, capacity=capacity)
    except ValidationError as error:
        raise ReconError(
            f'{line.place}: a tray, label or capacity in "{line.text.strip()}" cannot be used: expected at most 64 '
            "characters for a tray or label, and 1 to 100000 units"
        ) from error


def _unknown(line: Line, word: str, label: str) -> ReconError:
    if word in _PITCHES:
        return ReconError(f"{line.place}: {word}, but the tray is said to be the other already: write one of the two")
    if word == "step":
        return ReconError(f"{line.place}: step belongs to a range such as 110-118, and {label} is one label")
    return ReconError(
        f'{line.place}: "{word}" is none of snack, candy, step N and capacity N: separate labels by commas, '
        "or write label;product;price;capacity"
    )


def _whole(line: Line, word: str, words: list[str]) -> int:
    number = words.pop(0) if words else ""
    if not re.fullmatch(r"[1-9][0-9]{0,5}", number):
        raise ReconError(f'{line.place}: "{number}" after {word}: expected a whole number, 1 or more')
    return int(number)


def _labels(line: Line, text: str, step: int) -> list[str]:
    """The labels of a range; a text that is none is one label."""
    found = _RANGE.fullmatch(text)
    if found is None:
        return [text]
    front, first, other, last = found.groups()
    if other not in ("", front):
        raise ReconError(f"{line.place}: {text} goes from {front} to {other}: write a range for each row")
    low, high = int(first), int(last)
    if high < low:
        raise ReconError(f"{line.place}: {text} ends before it begins: write {front}{last}-{front}{first}")
    if (high - low) // step >= MOST_LABELS:
        raise ReconError(f"{line.place}: {text} is more than {MOST_LABELS} labels: correct the range")
    width = len(first) if first.startswith("0") else 1
    return [f"{front}{number:0{width}d}" for number in range(low, high + 1, step)]
