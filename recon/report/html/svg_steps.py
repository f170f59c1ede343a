"""What was in a slot from one count to the next: a step line, and the gap between what was expected and counted."""

from typing import NamedTuple

import polars as pl

from recon.model.frames import Frame
from recon.report.html.columns import Texts
from recon.report.html.spelling import signed_units
from recon.report.html.svg import line, num, text

WIDTH, HEIGHT = 360.0, 96.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 58.0, 10.0, 18.0
_END = WIDTH - _RIGHT
_UNIT = HEIGHT - _TOP - _BOTTOM

_SECOND = 1_000_000


class Course(NamedTuple):
    """The units in a slot during one window."""

    opening: int
    last: int
    """Units after the last line."""
    low: int
    high: int
    """Least and most of the scale."""
    ends: int
    """When the line ends, in microseconds since 1970."""
    path: str
    """What a line of each point adds to the path."""


def courses(windows: Frame, points: Frame) -> dict[int, Course]:
    """Return the course of each window.

    windows: window, opening, counted (null where no count has closed it), opened_at, closed_at (null likewise). points:
    window, time (microseconds since 1970), balance (units from then on), in their order. Only points after the opening
    count.
    """
    micros = pl.col("opened_at", "closed_at").dt.epoch("us")
    known = windows.select("window", "opening", "counted", micros).drop_nulls(["opening", "opened_at"])
    inside = points.join(known.select("window", "opened_at"), on="window", maintain_order="left")
    inside = inside.filter(pl.col("time") > pl.col("opened_at"))
    least, most = pl.col("balance").min().alias("least"), pl.col("balance").max().alias("most")
    sums = inside.group_by("window").agg(least, most, pl.col("balance", "time").last())
    known = known.join(sums, on="window", how="left").with_columns(
        pl.min_horizontal(0, "opening", "counted", "least").alias("low"),
        pl.max_horizontal(1, "opening", "counted", "most").alias("high"),
        pl.coalesce("closed_at", "time", "opened_at").alias("ends"),
        pl.coalesce("balance", "opening").alias("last"),
    )
    paths = _paths(inside, known)
    shown = known.join(paths, on="window", how="left").with_columns(pl.col("path").fill_null(""))
    return {row[0]: Course(*row[1:]) for row in shown.select("window", *Course._fields).iter_rows()}


def _paths(points: Frame, windows: Frame) -> Frame:
    """window, path: to the moment of each point, then to its units."""
    points = points.select("window", "time", "balance").join(
        windows.select("window", "opened_at", "ends", "low", "high"), on="window", maintain_order="left"
    )
    span = pl.max_horizontal((pl.col("ends") - pl.col("opened_at")) / _SECOND, 1.0)
    share = ((pl.col("time") - pl.col("opened_at")) / _SECOND / span).clip(0.0, 1.0)
    points = points.select(
        "window",
        (_LEFT + share * (_END - _LEFT)).alias("x"),
        (_TOP + (pl.col("high") - pl.col("balance")) * _UNIT / (pl.col("high") - pl.col("low"))).alias("y"),
    )
    numbers = Texts([points["x"], points["y"]], num)
    step = pl.concat_str(pl.lit("H"), numbers.of("x"), pl.lit("V"), numbers.of("y"))
    return points.select("window", path=step).group_by("window", maintain_order=True).agg(pl.col("path").str.join(""))


def steps(course: Course, counted: int | None, first_day: str, last_day: str) -> str:
    """counted: what was seen at the end; None where no count has closed the window. first_day, last_day: what stands
    below the ends."""

    def y(units: int) -> float:
        return _TOP + (course.high - units) * _UNIT / (course.high - course.low)

    marked = sorted({course.low, 0, course.high})
    parts = [line(_LEFT, y(value), _END, y(value), "base" if value == 0 else "grid") for value in marked]
    parts += [text(_LEFT - 5, y(value) + 4, value, "tick end") for value in marked]
    path = f"M{num(_LEFT)} {num(y(course.opening))}{course.path}H{num(_END)}"
    parts.append(f'<path class="steps" d="{path}"/>')
    parts += [text(_LEFT, HEIGHT - 4, first_day, "tick"), text(_END, HEIGHT - 4, last_day, "tick end")]
    if counted is not None:
        parts.append(_gap(_END, y(course.last), y(counted), counted - course.last))
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
