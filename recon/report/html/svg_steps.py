"""What was in a slot from one count to the next: a step line, and the gap between what was expected and counted."""

from collections.abc import Sequence

from recon.report.html.spelling import signed_units
from recon.report.html.svg import line, num, text

WIDTH, HEIGHT = 360.0, 96.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 58.0, 10.0, 18.0

_SECOND = 1_000_000


def steps(
    points: Sequence[tuple[int, int]], ends: int, counted: int | None, first_day: str, last_day: str
) -> str:
    """points: moment (microseconds) and units from then on, in order, the opening first. ends: the closing count.
    counted: what was seen then; None where no count has closed the window. first_day, last_day: what stands below
    the ends."""
    values = [units for _, units in points] + ([counted] if counted is not None else [])
    low, high = min(0, *values), max(1, *values)
    begins = points[0][0]
    span = max((ends - begins) / _SECOND, 1.0)
    right = WIDTH - _RIGHT

    def x(at: int) -> float:
        share = min(max((at - begins) / _SECOND / span, 0.0), 1.0)
        return _LEFT + share * (right - _LEFT)

    def y(units: int) -> float:
        return _TOP + (high - units) * (HEIGHT - _TOP - _BOTTOM) / (high - low)

    parts = [
        line(_LEFT, y(value), right, y(value), "base" if value == 0 else "grid") for value in sorted({low, 0, high})
    ]
    parts += [text(_LEFT - 5, y(value) + 4, value, "tick end") for value in sorted({low, 0, high})]
    path = f"M{num(_LEFT)} {num(y(points[0][1]))}"
    for at, units in points[1:]:
        path += f"H{num(x(at))}V{num(y(units))}"
    parts.append(f'<path class="steps" d="{path}H{num(right)}"/>')
    parts += [text(_LEFT, HEIGHT - 4, first_day, "tick"), text(right, HEIGHT - 4, last_day, "tick end")]
    if counted is not None:
        parts.append(_gap(right, y(points[-1][1]), y(counted), counted - points[-1][1]))
    return "".join(parts)


def _gap(x: float, expected: float, counted: float, variance: int) -> str:
    """A bar from the expected to the counted level, and a ring at what was counted."""
    css = "short" if variance < 0 else "over"
    high, low = min(expected, counted), max(expected, counted)
    ring = f'<circle class="seen" cx="{num(x + 5)}" cy="{num(counted)}" r="4"/>'
    if variance == 0:
        return ring
    bar = f'<rect class="{css}" x="{num(x + 1)}" y="{num(high)}" width="8" height="{num(low - high)}"/>'
    return bar + ring + text(x + 15, (high + low) / 2 + 4, signed_units(variance), "panel")
