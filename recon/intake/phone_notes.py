"""Counts typed into a note on a phone: machine and time on top, one slot a line below (docs/phone-notes.md).

    quay-2
    2026-09-14 18:40
    110 4 +6
    110 4 +6 -1
    A1=3
    112: empty
    114 -

Each slot line is a row of a counts file. What does not read as one of these lines is rejected with its line: a note is
never read by halves.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from recon.intake.encoding import Decoded
from recon.intake.table import ROW, SHOWN, Passed, TextTable, Torn, frame_of

HEADER = ("machine", "time", "label", "counted", "loaded", "removed", "note")

_DASHES = str.maketrans({"–": "-", "—": "-", "−": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " "})
"""What phones make of a typed dash or blank."""
_BLANKS = re.compile(r"\s+")
_BULLET = re.compile(r"^\s*(?:[•*·]\s*|-\s+)")
_WORD = re.compile(r"^(machine|time|date)\s*[:=]?\s+|^(machine|time|date)\s*[:=]\s*", re.IGNORECASE)
_WHEN = re.compile(
    r"(?:^|[\s,@])(?P<when>"
    r"(?:\d{4}[-./]\d{1,2}[-./]\d{1,2}|\d{1,2}[-./]\d{1,2}[-./](?:\d{4}|\d{2})|\d{1,2}\.? [^\W\d_]{3,10}\.? \d{4})"
    r"(?P<clock>[T, ]{1,3}(?:\d{1,2}[:.hH]\d{2}(?:[:.]\d{2})?(?: ?[AaPp][Mm])?|\d{1,2} ?[AaPp][Mm])"
    r"(?:Z|[+-]\d{2}:\d{2})?)?)$"
)
_CLOCK = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?(?: ?[AaPp][Mm])?")
"""A clock alone on its line. Slot 18 with 50 counted is written so too."""
_SLOT = re.compile(
    r"(?P<label>[^\s=:#+,;]+)\s*(?:[=:]\s*|\s+)"
    r"(?:(?P<count>\d{1,6}|empty)\s*(?P<moves>(?:[+-]\s?\d{1,6}\s*){0,2})"
    r"|(?P<none>-)?\s*(?P<alone>(?:[+-]\d{1,6}\s*){0,2}))"
    r"(?:#\s*(?P<note>.*))?",
    re.IGNORECASE,
)
_MOVE = re.compile(r"([+-])\s?(\d+)")


_LABEL_FIRST = re.compile(r"[A-Za-z]{0,2}\d{1,3}[A-Za-z]?(?![\w-])")
"""How a slot line begins that was mistyped behind its label; any other line that does not read may name a machine."""


@dataclass(frozen=True, slots=True)
class _NoteLines:
    text: str

    def of(self, rows: Sequence[int]) -> list[str]:
        lines = self.text.split("\n")
        return [lines[row - 1] for row in rows]


@dataclass(slots=True)
class _Sheet:
    """The machine and time that hold for the lines below them. begun: whether a slot line stands below them.
    day_alone: whether the time is a day that lacks its clock. lost: why no machine holds, where one did before."""

    machine: str | None = None
    time: str | None = None
    begun: bool = False
    day_alone: bool = False
    lost: str = "no machine stands above it"


def read_note(decoded: Decoded, machines: Collection[str]) -> TextTable | None:
    """A note as a counts file, or None where no line of it reads as a slot under a machine.

    machines: the names by which machines are known, so that one may stand alone on its line, in any case: phones begin
    a line with a capital. It becomes the name as it is known.
    """
    known = {name.casefold(): name for name in machines} | {name: name for name in machines}
    sheet = _Sheet()
    records: list[list[str | None]] = []
    lines: list[int] = []
    torn: list[Torn] = []
    passed: list[Passed] = []
    first = True
    for at, line in enumerate(decoded.text.split("\n"), start=1):
        # Runs of blanks are one: the patterns below try each way to part them.
        plain = _BULLET.sub("", _BLANKS.sub(" ", line.translate(_DASHES))).strip()
        if not plain:
            continue
        if plain.startswith("#"):
            passed.append(Passed(at, line[:SHOWN]))
            continue
        if _top(plain, sheet, known, first=first):
            first = False
            continue
        first = False
        if _CLOCK.fullmatch(plain):
            # Better not counted than counted at the wrong time.
            torn.append(Torn(at, _CLOCK_ALONE, (line,)))
            sheet.machine, sheet.lost = None, f"line {at} above it may be another time"
            continue
        slot = _slot(plain)
        if slot is None or sheet.machine is None:
            torn.append(Torn(at, _WHY if slot is None else sheet.lost, (line,)))
            if slot is None and not _LABEL_FIRST.match(plain):
                # It may have meant to name another machine, to which then all below it belongs.
                sheet.machine, sheet.lost = None, f"line {at} above it does not read, and may name another machine"
            continue
        sheet.begun = True
        records.append([sheet.machine, sheet.time, *slot])
        lines.append(at)
    if not records:
        return None
    frame = frame_of(HEADER, records).with_columns(pl.Series(ROW, lines, dtype=pl.Int64))
    return TextTable(
        HEADER, frame, _NoteLines(decoded.text), tuple(torn), tuple(passed), delimiter="", remark=decoded.remark,
        certain=True, settled=True
    )  # fmt: skip


_CLOCK_ALONE = (
    "it may be a time or a slot with its count: write the day before a time, or a blank between label and count"
)
_WHY = 'it does not read as a line of a count note, such as "110 4 +6"'


def _top(plain: str, sheet: _Sheet, machines: Mapping[str, str], *, first: bool) -> bool:
    """Whether a line names the machine or the time, or both; `sheet` then holds them. A new machine begins a new
    sheet. machines: each name, as it is known and folded, to the name as it is known."""
    word = _WORD.match(plain)
    told = (word[1] or word[2]).lower() if word else ""
    rest = plain[word.end() :] if word else plain
    if sheet.day_alone and not sheet.begun and _CLOCK.fullmatch(rest):
        # The day stands on the line above.
        sheet.time, sheet.day_alone = f"{sheet.time} {rest}", False
        return True
    when = _WHEN.search(rest)
    day_alone = when is not None and when["clock"] is None
    name = (rest[: when.start()] if when else rest).strip(" ,:@")
    if told in ("time", "date") or (when and not name):
        if sheet.begun:
            # A time below slot lines begins another visit: whose, only a machine line can say.
            sheet.machine, sheet.begun, sheet.lost = None, False, "a time stands above it, and no machine with that"
        sheet.time, sheet.day_alone = when["when"] if when and not name else rest.strip(), day_alone
        return True
    known = machines.get(name, machines.get(name.casefold()))
    if not (known or told == "machine" or (first and _slot(name) is None)):
        return False
    sheet.machine, sheet.time, sheet.begun = known or name, when["when"] if when else None, False
    sheet.day_alone = day_alone
    return True


def _slot(plain: str) -> list[str | None] | None:
    """Label, counted, loaded, removed and note of a slot line, or None."""
    found = _SLOT.fullmatch(plain)
    if found is None:
        return None
    moves = _MOVE.findall(found["moves"] or found["alone"] or "")
    signs = [sign for sign, _ in moves]
    if len(set(signs)) < len(signs) or not (found["count"] or found["none"] or moves):
        return None
    units = dict(moves)
    count = "0" if (found["count"] or "").lower() == "empty" else found["count"]
    return [found["label"], count, units.get("+"), units.get("-"), found["note"]]
