"""Vends by hour and weekday: a strip for each day, a mark for each hour whose area grows with the vends."""

from collections.abc import Mapping
from math import sqrt

from recon.report.html.svg import box, hint, line, num, text

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WIDTH, HEIGHT = 360.0, 142.0
_LEFT, _TOP, _STEP, _ROW = 34.0, 4.0, 13.4, 17.0


def hours(counts: Mapping[tuple[int, int], int]) -> str:
    """counts: vends by (weekday 1 to 7, Monday first; hour 0 to 23)."""
    most = max(counts.values(), default=0)
    parts = []
    for day, name in enumerate(DAYS, start=1):
        y = _TOP + (day - 0.5) * _ROW
        parts.append(text(_LEFT - 6, y + 4, name, "tick end"))
        parts.append(line(_LEFT, y, WIDTH - 4, y, "grid"))
        for hour in range(24):
            count = counts.get((day, hour), 0)
            if count:
                side = max(2.0, 12.4 * sqrt(count / most))
                x = _LEFT + (hour + 0.5) * _STEP
                mark = box(x - side / 2, y - side / 2, side, side, "hour")
                parts.append(f"<g>{hint(f'{name} {hour:02}:00 to {hour:02}:59: {count}')}{mark}</g>")
    parts += [text(_LEFT + hour * _STEP, HEIGHT - 5, f"{hour:02}", "tick mid") for hour in (0, 6, 12, 18, 24)]
    parts.append(f'<path class="base" d="M{num(_LEFT)} {num(_TOP + 7 * _ROW)}H{num(_LEFT + 24 * _STEP)}"/>')
    return "".join(parts)
