"""Bars over time: upward from a base line, or up and down from a line of nothing."""

from collections.abc import Callable, Sequence
from functools import lru_cache

import polars as pl

from recon.model.frames import Frame
from recon.report.html.columns import Texts, one_text
from recon.report.html.svg import box, line, num, text

WIDTH = 360.0
_LEFT, _RIGHT = 46.0, 8.0
_FEW_LABELS = 5


def marks(rows: Frame, *, css_down: str = "") -> dict[tuple[str, int], str]:
    """The bars of many panels, by machine and panel.

    rows: a bar each, those of a panel in their order. machine, panel (a number); place, count: which bar of how many;
    up, down: sizes above and below the line (down is negative or 0); hint: what shows where the pointer rests, words
    of ours; low, high: least and most of the scale; top, tall: where the panel begins, and its height; css_up: class of
    what goes up. css_down: class of what goes down.
    """
    if rows.height == 0:
        return {}
    shapes = [(*shape, *each) for shape in rows.select(_SHAPE).unique().iter_rows() for each in _places(*shape)]
    schema = {name: rows.schema[name] for name in _SHAPE} | {"place": pl.Int64, "air": pl.String, "x": pl.String}
    placed = rows.join(
        pl.DataFrame(shapes, schema=schema | {"across": pl.String}, orient="row"), on=[*_SHAPE, "place"],
        how="left", maintain_order="left",
    )  # fmt: skip
    up, down = pl.col("up"), pl.col("down")
    unit = pl.col("tall") / pl.max_horizontal(pl.col("high") - pl.col("low"), 1)
    sizes = placed.with_columns(
        (pl.col("top") + (pl.col("high") - up) * unit).alias("begins"),
        (pl.col("top") + pl.col("high") * unit).alias("line"),
        pl.max_horizontal(up * unit, 1.0).alias("rises"),
        pl.max_horizontal(-down * unit, 1.0).alias("falls"),
    )
    numbers = Texts([sizes[name] for name in ("begins", "line", "rises", "falls")], num)

    def bar(css: pl.Expr, begins: str, tall: str) -> pl.Expr:
        return pl.concat_str(
            pl.lit('<rect class="'), css, pl.lit('" x="'), "x", pl.lit('" y="'), numbers.of(begins),
            pl.lit('" width="'), "across", pl.lit('" height="'), numbers.of(tall), pl.lit('"/>'),
        )  # fmt: skip

    whole = pl.concat_str(
        pl.lit("<g><title>"), "hint", pl.lit("</title>"), "air",
        pl.when(up != 0).then(bar(pl.col("css_up"), "begins", "rises")).otherwise(pl.lit("")),
        pl.when(down != 0).then(bar(pl.lit(css_down), "line", "falls")).otherwise(pl.lit("")),
        pl.lit("</g>"),
    )  # fmt: skip
    found = one_text(sizes.select("machine", "panel", text=whole), "machine", "panel")
    return {(machine, panel): told for machine, panel, told in found.iter_rows()}


_SHAPE = ("count", "top", "tall")


def panel(
    drawn: str,
    labels: Sequence[str],
    scale: tuple[int, int],
    top: float,
    height: float,
    spell: Callable[[int], str],
    *,
    steps: Sequence[int] | None = None,
    axis: bool = True,
) -> str:
    """Bars with their scale, from `top` on, `height` high; below them, where `axis`, 18 units of labels.

    drawn: as from `marks`. labels: of the bars. scale: its least and most; nothing always lies on it. spell: a figure
    of the scale as text. steps: a running figure drawn as a step line over the same scale.
    """
    low, high = scale
    unit = height / max(high - low, 1)

    def y(value: float) -> float:
        return top + (high - value) * unit

    wide, _ = _widths(len(labels))
    parts = [*(_scale(value, y(value), spell) for value in sorted({low, 0, high})), drawn]
    if steps:
        parts.append(_steps(steps, wide, y))
    if axis:
        parts += _labels(labels, wide, top + height + 14)
    return "".join(parts)


def _widths(count: int) -> tuple[float, float]:
    """Of a place on the axis, and of its bar."""
    wide = (WIDTH - _LEFT - _RIGHT) / max(count, 1)
    return wide, min(max(wide * 0.68, 1.0), 26.0)


@lru_cache(maxsize=256)
def _places(count: int, top: float, height: float) -> tuple[tuple[int, str, str, str], ...]:
    """For each of so many places its number, what lies behind its bar, which shows the hint, where the bar begins, and
    its width. Machines counted in the same weeks have them in common."""
    wide, thick = _widths(count)
    middles = [_LEFT + wide * (at + 0.5) for at in range(count)]
    return tuple(
        [
            (at, box(x - wide / 2, top, wide, height, "air"), num(x - thick / 2), num(thick))
            for at, x in enumerate(middles)
        ]
    )


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


def _labels(labels: Sequence[str], wide: float, y: float) -> list[str]:
    """The first, the last and some between: as many as have room."""
    every = max(1, -(-len(labels) // _FEW_LABELS))
    shown = [at for at in range(0, len(labels), every) if at + every <= len(labels) - 1 or at == 0]
    shown = sorted({*shown, len(labels) - 1}) if labels else []
    return [text(_LEFT + wide * (at + 0.5), y, labels[at], "tick mid") for at in shown]
