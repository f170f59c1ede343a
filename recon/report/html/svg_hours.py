"""Vends by hour and weekday: a strip for each day, a mark for each hour whose area grows with the vends."""

from collections.abc import Mapping
from math import sqrt

from recon.report.html.svg import line, num, text

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WIDTH, HEIGHT = 360.0, 142.0
_LEFT, _TOP, _STEP, _ROW = 34.0, 4.0, 13.4, 17.0


def hours(counts: Mapping[tuple[int, int], int]) -> str:
    """counts: vends by (weekday 1 to 7, Monday first; hour 0 to 23)."""
    most = max(counts.values(), default=0)
    parts = []
    for day, head in enumerate(_HEADS, start=1):
        parts.append(head)
        y = _TOP + (day - 0.5) * _ROW
        for hour, x in enumerate(_MIDDLES):
            count = counts.get((day, hour), 0)
            if count:
                side = max(2.0, 12.4 * sqrt(count / most))
                wide = num(side)
                parts.append(
                    f'<g><title>{_HINTS[day - 1][hour]}{count}</title><rect class="hour" x="{num(x - side / 2)}" '
                    f'y="{num(y - side / 2)}" width="{wide}" height="{wide}"/></g>'
                )
    return "".join(parts) + _AXIS


def _head(day: int) -> str:
    y = _TOP + (day - 0.5) * _ROW
    return text(_LEFT - 6, y + 4, DAYS[day - 1], "tick end") + line(_LEFT, y, WIDTH - 4, y, "grid")


_HEADS = tuple(map(_head, range(1, 8)))
_MIDDLES = tuple(_LEFT + (hour + 0.5) * _STEP for hour in range(24))
_HINTS = tuple(tuple(f"{name} {hour:02}:00 to {hour:02}:59: " for hour in range(24)) for name in DAYS)
_TICKS = "".join(text(_LEFT + hour * _STEP, HEIGHT - 5, f"{hour:02}", "tick mid") for hour in (0, 6, 12, 18, 24))
_AXIS = f'{_TICKS}<path class="base" d="M{num(_LEFT)} {num(_TOP + 7 * _ROW)}H{num(_LEFT + 24 * _STEP)}"/>'
"""What is the same for every machine."""
