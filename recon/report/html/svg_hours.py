"""Vends by hour and weekday: a strip for each day, a mark for each hour whose area grows with the vends."""

import polars as pl

from recon.model.frames import Frame
from recon.report.html.columns import Texts, one_text
from recon.report.html.svg import line, num, text

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WIDTH, HEIGHT = 360.0, 142.0
_LEFT, _TOP, _STEP, _ROW = 34.0, 4.0, 13.4, 17.0


def marks(vends: Frame) -> dict[tuple[str, int], str]:
    """The marks of each machine and day. vends: machine, weekday (1 to 7, Monday first), hour (0 to 23), vends."""
    most = pl.col("vends").max().over("machine")
    side = pl.max_horizontal(2.0, 12.4 * (pl.col("vends") / most).sqrt())
    sizes = vends.with_columns(side.alias("side"))
    sizes = sizes.with_columns(
        (_LEFT + (pl.col("hour") + 0.5) * _STEP - pl.col("side") / 2).alias("x"),
        (_TOP + (pl.col("weekday") - 0.5) * _ROW - pl.col("side") / 2).alias("y"),
        (pl.col("weekday") * 24 + pl.col("hour")).alias("at"),
    )
    numbers = Texts([sizes["side"], sizes["x"], sizes["y"]], num)
    hints = Texts([sizes["at"]], lambda at: _HINTS[at // 24 - 1][at % 24])
    wide = numbers.of("side")
    mark = pl.concat_str(
        pl.lit("<g><title>"), hints.of("at"), pl.col("vends").cast(pl.String),
        pl.lit('</title><rect class="hour" x="'), numbers.of("x"), pl.lit('" y="'), numbers.of("y"),
        pl.lit('" width="'), wide, pl.lit('" height="'), wide, pl.lit('"/></g>'),
    )  # fmt: skip
    shown = sizes.select("machine", "weekday", "vends", text=mark).filter(pl.col("vends") != 0)
    found = one_text(shown.select("machine", "weekday", "text"), "machine", "weekday")
    return {(machine, day): told for machine, day, told in found.iter_rows()}


def hours(machine: str, drawn: dict[tuple[str, int], str]) -> str:
    """The drawing of one machine. drawn: as from `marks`."""
    return "".join([f"{head}{drawn.get((machine, day), '')}" for day, head in enumerate(_HEADS, start=1)]) + _AXIS


def _head(day: int) -> str:
    y = _TOP + (day - 0.5) * _ROW
    return text(_LEFT - 6, y + 4, DAYS[day - 1], "tick end") + line(_LEFT, y, WIDTH - 4, y, "grid")


_HEADS = tuple(map(_head, range(1, 8)))
_HINTS = tuple(tuple(f"{name} {hour:02}:00 to {hour:02}:59: " for hour in range(24)) for name in DAYS)
_TICKS = "".join(text(_LEFT + hour * _STEP, HEIGHT - 5, f"{hour:02}", "tick mid") for hour in (0, 6, 12, 18, 24))
_AXIS = f'{_TICKS}<path class="base" d="M{num(_LEFT)} {num(_TOP + 7 * _ROW)}H{num(_LEFT + 24 * _STEP)}"/>'
"""What is the same for every machine."""
