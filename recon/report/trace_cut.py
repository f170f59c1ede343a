"""What of a long trace is printed: windows that agree by their first line alone, long ones by both their ends.

A cut is of what is shown, never of what was worked out, and always said.
"""

from dataclasses import dataclass

import polars as pl

from recon.ledger.trace import Trace
from recon.ledger.trace_lines import Figures
from recon.model.frames import Frame

MOST_LINES = 200
"""Lines of a trace that are printed before windows that agree are cut."""
LONGEST = 80
"""Lines of one figure beyond which its middle is cut."""
ENDS = 30
"""Lines kept at either end of such a figure."""
MOST_ROWS = 20
"""Rows outside any figure that are printed."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A trace as far as it is printed. hidden: by window, how many lines of it are not. folded: windows of which no
    line is. rows_hidden: of the rows in no figure."""

    stock: "CutFigures | None"
    cash: "CutFigures | None"
    payouts: "CutFigures | None"
    rows: Frame
    rows_hidden: int

    @property
    def figures(self) -> list["CutFigures"]:
        return [figures for figures in (self.stock, self.cash, self.payouts) if figures is not None]

    @property
    def hidden(self) -> int:
        """How many lines are not printed, in all."""
        return sum(sum(figures.hidden.values()) for figures in self.figures) + self.rows_hidden

    @property
    def places(self) -> Frame:
        """File and row of every line that is printed."""
        lines = [figures.lines for figures in self.figures]
        return pl.concat([part.select("file", "row") for part in (*lines, self.rows)]).drop_nulls().unique()


@dataclass(frozen=True, slots=True)
class CutFigures:
    """Figures with the lines that are printed, each with its place `at` in the figure; see Cut."""

    heads: Frame
    lines: Frame
    hidden: dict[int, int]
    folded: frozenset[int]


def cut(found: Trace, *, every: bool) -> Cut:
    """Choose what is printed. every: all of it."""
    lines = sum(figures.lines.height for figures in found.figures)
    fold = not every and (found.target.kind == "machine" or lines > MOST_LINES)
    rows = found.rows if every else found.rows.head(MOST_ROWS)
    keep_last = found.target.kind != "machine"
    stock, cash, payouts = (
        None if figures is None else _cut(figures, agrees, every=every, fold=fold, keep_last=keep_last)
        for figures, agrees in (
            (found.stock, pl.col("variance") == 0),
            (found.cash, pl.col("over_short") == 0),
            (found.payouts, pl.col("over_short") == 0),
        )
    )
    return Cut(stock, cash, payouts, rows, found.rows.height - rows.height)


def _cut(figures: Figures, agrees: pl.Expr, *, every: bool, fold: bool, keep_last: bool) -> CutFigures:
    heads, lines = figures.heads, figures.lines.with_columns(pl.int_range(pl.len()).over("window").alias("at"))
    if every:
        return CutFigures(heads, lines, {}, frozenset())
    folded: set[int] = set()
    if fold:
        closed = pl.col("kind") == "closed" if "kind" in heads.columns else pl.lit(True)
        calm = heads.filter(agrees.fill_null(~closed))["window"].to_list()
        last = heads.filter(closed)["window"].tail(1).to_list() if keep_last else []
        folded = set(calm) - set(last)
    size = pl.len().over("window")
    ends = (pl.col("at") < ENDS) | (pl.col("at") >= size - ENDS)
    shown = lines.filter(~pl.col("window").is_in(sorted(folded)) & ((size <= LONGEST) | ends))
    whole = dict(lines.group_by("window").len().iter_rows())
    left = dict(shown.group_by("window").len().iter_rows())
    hidden = {window: count - left.get(window, 0) for window, count in whole.items() if count > left.get(window, 0)}
    return CutFigures(heads, shown, hidden, frozenset(folded))
