"""A machine in letters, tray by tray, for a terminal: each slot's label, and what its windows are short or over.

It holds in 80 columns: a tray that is wider goes on below itself. Where the terminal has not the glyphs, signs of ASCII
stand in; colour is never needed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Any

import polars as pl

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report.asked_lines import WIDTH, many, shown

MOST_DRAWN = 3
"""Machines that are drawn unless all are asked for."""
_KINDS = ("stock-short", "stock-over")
_LABEL, _TRAY = 12, 4
_CAUTION = "A variance is never proof of who."


@dataclass(frozen=True, slots=True)
class Glyphs:
    """What a drawing is made of. left, middle, right: of its first, inner and last lines."""

    across: str
    down: str
    top: tuple[str, str, str]
    inner: tuple[str, str, str]
    bottom: tuple[str, str, str]
    short: str
    over: str
    near: str
    unused: str


LINES = Glyphs("─", "│", ("┌", "┬", "┐"), ("├", "┼", "┤"), ("└", "┴", "┘"), "▼", "▲", "≈", "–")
ASCII = Glyphs("-", "|", ("+", "+", "+"), ("+", "+", "+"), ("+", "+", "+"), "v", "^", "~", ".")


@dataclass(frozen=True, slots=True)
class _Cell:
    label: str
    figure: str
    pitch: int

    @property
    def need(self) -> int:
        """Columns that it needs inside, with a blank on either side."""
        return max(_wide(self.label), _wide(self.figure)) + 2


def glyphs_for(encoding: str, *, plain: bool) -> Glyphs:
    """LINES where the encoding has them and nobody asked for plain text, else ASCII."""
    if plain:
        return ASCII
    try:
        "─│┌┬┐├┼┤└┴┘▼▲≈–".encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return LINES


def drawings(done: Reconciliation, glyphs: Glyphs, *, every: bool) -> Iterator[str]:
    """The lines of the drawings of machines with an open finding of stock, those found first first.

    every: all of them, else the first MOST_DRAWN and how many were left out. Nothing where there is none.
    """
    from recon.balance.over_time import slots_as_they_stand

    open_ones = pl.col("kind").is_in(_KINDS) & (pl.col("state") == "open") & pl.col("machine").is_not_null()
    found = done.frames["findings"].filter(open_ones)["machine"].unique(maintain_order=True).to_list()
    slots = slots_as_they_stand(done)
    for machine in found if every else found[:MOST_DRAWN]:
        yield from _machine(done, machine, slots.filter(pl.col("machine") == machine), glyphs)
        yield ""
    if not found:
        return
    if len(found) > MOST_DRAWN and not every:
        left = len(found) - MOST_DRAWN
        yield f"... and {many(left, 'machine')} more with an open finding of stock (--all draws every one)"
    told = f"= agrees, {glyphs.near} vends near a count explain it, ? no two counts yet, {glyphs.unused} out of use."
    yield from wrap(f"{told} Units over all windows shown. {_CAUTION}", WIDTH)
    yield ""


def _machine(done: Reconciliation, machine: str, slots: Frame, glyphs: Glyphs) -> Iterator[str]:
    sites = dict(done.frames["machines"].select("machine", "site").iter_rows())
    site = sites.get(machine)
    day = done.until.astimezone(zone(done.zones.get(machine, done.zone)))
    said = f", as laid out on {day:%Y-%m-%d}"
    yield _cut(f"{machine}{f', {site}' if site else ''}", WIDTH - len(said)) + said
    trays: dict[str, list[_Cell]] = {}
    for row in slots.iter_rows(named=True):
        cell = _Cell(shown(row["label"], _LABEL), _figure(row, glyphs), min(max(row["pitch"], 1), 2))
        trays.setdefault(shown(row["tray"], _TRAY), []).append(cell)
    if trays:
        yield from _drawn(trays, glyphs)


def _drawn(trays: dict[str, list[_Cell]], glyphs: Glyphs) -> Iterator[str]:
    cells = [cell for row in trays.values() for cell in row]
    # One place for a single number, wide enough for all; a double-width slot takes two and the line between.
    place = max(-(-(cell.need - (cell.pitch - 1)) // cell.pitch) for cell in cells)
    gutter = max(map(_wide, trays)) + 1
    lines: list[tuple[str, list[_Cell]]] = []
    for tray, row in trays.items():
        for at, part in enumerate(_parts(row, place, WIDTH - gutter)):
            lines.append((tray if at == 0 else "", part))
    above: list[int] = []
    for at, (tray, part) in enumerate(lines):
        widths = [_inside(cell, place) for cell in part]
        edges = [sum(widths[:to]) + to for to in range(len(widths) + 1)]
        yield " " * gutter + _edge(above, edges, glyphs)
        below = edges
        for first, texts in ((tray, [cell.label for cell in part]), ("", [cell.figure for cell in part])):
            inner = glyphs.down.join(_fit(f" {text}", width) for text, width in zip(texts, widths, strict=True))
            yield f"{_fit(first, gutter)}{glyphs.down}{inner}{glyphs.down}"
        above = below
        if at == len(lines) - 1:
            yield " " * gutter + _edge(above, [], glyphs)


def _inside(cell: _Cell, place: int) -> int:
    return cell.pitch * place + cell.pitch - 1


def _parts(row: Sequence[_Cell], place: int, room: int) -> Iterator[list[_Cell]]:
    """A tray, in pieces that fit."""
    part: list[_Cell] = []
    taken = 1
    for cell in row:
        wide = _inside(cell, place) + 1
        if part and taken + wide > room:
            yield part
            part, taken = [], 1
        part.append(cell)
        taken += wide
    yield part


def _edge(above: Sequence[int], below: Sequence[int], glyphs: Glyphs) -> str:
    """The line between two rows of slots, whose upright lines stand in these columns."""
    last = max([*above, *below])
    signs = []
    for at in range(last + 1):
        up, down = at in above, at in below
        if not up and not down:
            signs.append(glyphs.across)
            continue
        side = 0 if at == 0 else 2 if at == last else 1
        kind = glyphs.inner if up and down else glyphs.bottom if up else glyphs.top
        signs.append(kind[side])
    return "".join(signs)


def _figure(row: dict[str, Any], glyphs: Glyphs) -> str:
    """Shorts and overs side by side, never netted."""
    if not row["in_use"]:
        return glyphs.unused
    if not row["windows"]:
        return "?"
    parts = [f"{glyphs.short}{row['short']}"] if row["short"] else []
    parts += [f"{glyphs.over}+{row['over']}"] if row["over"] else []
    if parts:
        return " ".join(parts)
    if row["any_near"]:
        # A short and an over of the same size leave the sign alone.
        return f"{glyphs.near}{row['near']:+d}" if row["near"] else glyphs.near
    return "="


def _wide(text: str) -> int:
    """Columns that a text takes at a terminal: some letters take two, some none."""
    from rich.cells import cell_len

    return cell_len(text)


def _cut(text: str, width: int) -> str:
    """On one line of so many columns, as `shown` does it by letters."""
    most = width
    while _wide(cut := shown(text, most)) > width:
        most -= 1
    return cut


def _fit(text: str, width: int) -> str:
    return text + " " * max(0, width - _wide(text))
