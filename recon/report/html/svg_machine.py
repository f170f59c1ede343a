"""A machine as a person stands before it: tray by tray, slot by slot, with what each slot is short or over."""

from collections.abc import Sequence
from typing import NamedTuple

from recon.report.html.svg import box, hint, line, num, picture, shortened, text
from recon.report.pages import escaped

_PLACE = 100.0
"""Width of a place that takes one number; a double-width tray's slot takes two."""
_HIGH, _GAP, _EDGE, _GUTTER = 86.0, 14.0, 16.0, 34.0

WIDEST = 10
STATES = {
    "short": ("\u25bc", "short"),
    "over": ("\u25b2", "over"),
    "both": ("", "short and over"),
    "near": ("\u2248", "within what vends near a count explain"),
    "agrees": ("=", "agrees"),
    "blind": ("?", "no closed window"),
    "unused": ("\u2013", "out of use"),
}
"""What a slot can be: its mark and its words. The mark stands in the drawing beside the figure: colour is never all."""


class Place(NamedTuple):
    """One slot: where it is, what it sells, how it stands. figure: `−2`, `+1`; told: the sentence about it."""

    tray: str
    label: str
    pitch: int
    product: str
    price: str
    state: str
    figure: str
    told: str


def machine(name: str, title: str, desc: str, places: Sequence[Place]) -> str:
    """The drawing. name: its id. Trays in the order of their first slot, slots from left to right as laid out."""
    trays: dict[str, list[Place]] = {}
    for place in places:
        trays.setdefault(place.tray, []).append(place)
    columns = columns_of(places)
    inside = columns * _PLACE
    width = inside + 2 * _EDGE + _GUTTER
    height = len(trays) * (_HIGH + _GAP) + 2 * _EDGE + 34
    body = [f'<clipPath id="{name}-1"><rect width="{num(_PLACE - 8)}" height="{num(_HIGH)}"/></clipPath>']
    body.append(f'<clipPath id="{name}-2"><rect width="{num(2 * _PLACE - 8)}" height="{num(_HIGH)}"/></clipPath>')
    body.append(box(1.5, 1.5, width - 3, height - 11, "cabinet", 14))
    body += [box(x, height - 9, 34, 7, "foot", 2) for x in (30, width - 64)]
    for at, (tray, row) in enumerate(trays.items()):
        y = _EDGE + at * (_HIGH + _GAP)
        body.append(text(_EDGE - 4, y + 8, shortened(tray, 3), "tray hang"))
        x = _EDGE + _GUTTER
        for place in row:
            body.append(_slot(name, place, x, y))
            x += place.pitch * _PLACE
        body.append(line(_EDGE + _GUTTER - 6, y + _HIGH + 5, width - _EDGE, y + _HIGH + 5, "shelf"))
    flap = min(inside * 0.6, 420)
    body.append(box(_EDGE + _GUTTER + (inside - flap) / 2, height - 44, flap, 22, "flap", 5))
    return picture(name, title, desc, width, height, body, css=f"machine {size(columns)}")


def columns_of(places: Sequence[Place]) -> int:
    """Places side by side on the widest tray."""
    wide: dict[str, int] = {}
    for place in places:
        wide[place.tray] = wide.get(place.tray, 0) + place.pitch
    return max(wide.values(), default=0)


def size(columns: int) -> str:
    """How large the writing has to be for a phone, where the whole drawing is about 330 pixels wide. What is wider than
    WIDEST columns scrolls sideways in its own frame."""
    for most, name in ((2, "lone"), (4, "few"), (7, "some"), (WIDEST, "many"), (14, "crowd")):
        if columns <= most:
            return name
    return "throng"


def _slot(name: str, place: Place, x: float, y: float) -> str:
    wide = place.pitch * _PLACE - 8
    mark, _ = STATES[place.state]
    label = shortened(place.label, 7 if place.pitch == 1 else 16)
    # About 11 units a letter of the label, 8 one of the price.
    room = 11 * len(label) + 8 * len(place.price) < wide - 24
    drawn = [
        box(0, 0, wide, _HIGH, f"slot {place.state}", 5),
        box(0, 0, 9, _HIGH, f"band {place.state}"),
        text(16, 8, label, "label hang"),
        *(
            text(16, 40 + 14 * at, words, "goods")
            for at, words in enumerate(_two_lines(place.product, 11 if place.pitch == 1 else 26))
        ),
        *([text(wide - 6, 10, place.price, "price hang end")] if room else []),
        _figure(wide - 7, mark, place),
    ]
    return (
        f'<g transform="translate({num(x)} {num(y)})" clip-path="url(#{name}-{place.pitch})">'
        f"{hint(place.told)}{''.join(drawn)}</g>"
    )


def _figure(x: float, mark: str, place: Place) -> str:
    """The mark and the figure. On a phone the figure's own sign stands in for the mark, which a narrow slot lacks room
    for."""
    told = f'<tspan class="mark">{mark}</tspan>{escaped(place.figure)}' if place.figure else mark
    return f'<text class="figure end {place.state}" x="{num(x)}" y="{num(_HIGH - 9)}">{told}</text>'


def _two_lines(words: str, most: int) -> list[str]:
    """The text on at most two lines of so many characters, broken at a blank where there is one."""
    if len(words) <= most:
        return [words]
    cut = words.rfind(" ", 1, most + 1)
    first = words[:cut] if cut > 0 else words[:most]
    return [first, shortened(words[len(first) :].lstrip(), most)]
