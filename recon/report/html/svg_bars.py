"""Bars over time: upward from a base line, or up and down from a line of nothing."""

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

from recon.report.html.svg import box, hint, line, num, text

WIDTH = 360.0
_LEFT, _RIGHT = 46.0, 8.0
_FEW_LABELS = 5


class Bar(NamedTuple):
    """One place on the axis. up, down: sizes above and below the line (down is negative or 0). told: its hint."""

    at: str
    up: int
    down: int
    told: str


def bars(
    rows: Sequence[Bar],
    top: float,
    height: float,
    spell: Callable[[int], str],
    *,
    css_up: str,
    css_down: str,
    steps: Sequence[int] | None = None,
    reach: tuple[int, int] | None = None,
    axis: bool = True,
) -> str:
    """The bars with their scale, from `top` on, `height` high; below them, where `axis`, 18 units of labels.

    spell: a figure of the scale as text. steps: a running figure drawn as a step line over the same scale. reach:
    least and most of the scale where several panels share one.
    """
    low, high = reach or extent(rows, steps)
    unit = height / max(high - low, 1)

    def y(value: float) -> float:
        return top + (high - value) * unit

    wide, thick = _widths(len(rows))
    parts = [_scale(value, y(value), spell) for value in sorted({low, 0, high})]
    below, across = num(y(0)), num(thick)
    for row, (air, x) in zip(rows, _places(len(rows), top, height), strict=True):
        up = down = ""
        if row.up:
            up = (
                f'<rect class="{css_up}" x="{x}" y="{num(y(row.up))}" width="{across}" '
                f'height="{num(max(row.up * unit, 1.0))}"/>'
            )
        if row.down:
            down = (
                f'<rect class="{css_down}" x="{x}" y="{below}" width="{across}" '
                f'height="{num(max(-row.down * unit, 1.0))}"/>'
            )
        parts.append(f"<g>{hint(row.told)}{air}{up}{down}</g>")
    if steps:
        parts.append(_steps(steps, wide, y))
    if axis:
        parts += _labels(rows, wide, top + height + 14)
    return "".join(parts)


def _widths(count: int) -> tuple[float, float]:
    """Of a place on the axis, and of its bar."""
    wide = (WIDTH - _LEFT - _RIGHT) / max(count, 1)
    return wide, min(max(wide * 0.68, 1.0), 26.0)


@lru_cache(maxsize=256)
def _places(count: int, top: float, height: float) -> tuple[tuple[str, str], ...]:
    """For each of so many places what lies behind its bar, which shows the hint, and where the bar begins. Machines
    counted in the same weeks have them in common."""
    wide, thick = _widths(count)
    middles = [_LEFT + wide * (at + 0.5) for at in range(count)]
    return tuple([(box(x - wide / 2, top, wide, height, "air"), num(x - thick / 2)) for x in middles])


def extent(rows: Sequence[Bar], steps: Sequence[int] | None = None) -> tuple[int, int]:
    """Least and most of the scale; nothing always lies on it."""
    values = [0, *(row.up for row in rows), *(row.down for row in rows), *(steps or ())]
    return min(values), max(values)


def _scale(value: int, y: float, spell: Callable[[int], str]) -> str:
    return line(_LEFT, y, WIDTH - _RIGHT, y, "base" if value == 0 else "grid") + text(
        _LEFT - 5, y + 4, spell(value), "tick end"
    )


def _steps(values: Sequence[int], wide: float, y: Callable[[float], float]) -> str:
    """A line that stays at each figure until the next one: a running sum does not slope between two moments."""
    path = f"M{num(_LEFT)} {num(y(values[0]))}"
    for at, value in enumerate(values):
        path += f"V{num(y(value))}H{num(_LEFT + wide * (at + 1))}"
    return f'<path class="steps" d="{path}"/>'


def _labels(rows: Sequence[Bar], wide: float, y: float) -> list[str]:
    """The first, the last and some between: as many as have room."""
    every = max(1, -(-len(rows) // _FEW_LABELS))
    shown = [at for at in range(0, len(rows), every) if at + every <= len(rows) - 1 or at == 0]
    shown = sorted({*shown, len(rows) - 1}) if rows else []
    return [text(_LEFT + wide * (at + 0.5), y, rows[at].at, "tick mid") for at in shown]
