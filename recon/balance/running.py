"""The balance of a slot as it runs through a window: below nothing, or above what fits.

Either says that something is missing or misplaced in the data: a load that nobody wrote down, a number mapped wrongly.
"""

from typing import Final

import polars as pl

from recon.balance.stock import LOAD, VEND, Stock
from recon.match.asof import in_force
from recon.match.states import Layouts
from recon.model.frames import TIME, Frame


def breaches(stock: Stock, layouts: Layouts) -> Frame:
    """The first moment in each window at which its running balance cannot be true.

    Vends that could belong to another window, and refunded ones, never make a balance pass below zero.
    Returns one row a window and kind: slot, window, kind (`below-zero` or `above-capacity`), opened_at, closed_at (null
    while open), time, balance, capacity, file, row. Sorted by slot, window, kind. time, file and row are of that first
    moment; balance is the units then, or for `below-zero` the lowest that it comes to in the window.
    """
    suspects = stock.spans.filter(may_breach(layouts))
    if suspects.height == 0:
        return pl.DataFrame(schema=_SHAPE)
    running = _running(suspects, stock.moves_of(suspects["mark"]))
    return pl.concat([_below(suspects, running), _above(suspects, running, layouts)]).sort("slot", "window", "kind")


def may_breach(layouts: Layouts) -> pl.Expr:
    """Whether a span may pass below zero or above what fits: its running sum is needed for no other.

    Only a window that sold more than it opened with can pass below zero, and only one that opened or was filled above
    the capacity can pass above it.
    """
    least = layouts.states.group_by("slot").agg(pl.col("capacity").min()).drop_nulls()
    capacity = pl.col("slot").replace_strict(least["slot"], least["capacity"], default=None, return_dtype=pl.Int64)
    low = (pl.col("vended") + pl.col("removed")) > pl.col("opening")
    return low | (pl.col("opening") + pl.col("loaded") > capacity).fill_null(False)


_SHAPE: Final[dict[str, pl.DataType | type[pl.DataType]]] = {
    "slot": pl.Int32, "window": pl.Int64, "kind": pl.String, "opened_at": TIME, "closed_at": TIME, "time": TIME,
    "balance": pl.Int64, "capacity": pl.Int64, "file": pl.Int32, "row": pl.Int64,
}  # fmt: skip


def _running(suspects: Frame, moves: Frame) -> Frame:
    windows = suspects.select(
        pl.col("mark").alias("window"),
        "opening",
        pl.col("time").alias("opened_at"),
        pl.col("next_time").alias("closed_at"),
    )
    inside = moves.join(windows, on="window", how="inner").filter(
        # What was put in or taken out at the opening visit is in the opening already.
        (pl.col("time") > pl.col("opened_at")) | (pl.col("rank") == VEND)
    )
    ordered = inside.sort("window", "time", "rank", "file", "row")
    sure = pl.when("undecided").then(0).otherwise("change")
    return ordered.with_columns(
        (pl.col("opening") + pl.col("change").cum_sum().over("window")).alias("balance"),
        (pl.col("opening") + sure.cum_sum().over("window")).alias("sure_balance"),
    )


def _opened(suspects: Frame) -> Frame:
    """Each window as it opens: a sheet may take out more than it counted, or fill in more than fits."""
    return suspects.select(
        "slot",
        pl.col("mark").alias("window"),
        pl.col("time").alias("opened_at"),
        pl.col("next_time").alias("closed_at"),
        "time",
        pl.col("opening").alias("balance"),
        "file",
        "row",
    )


def _below(suspects: Frame, running: Frame) -> Frame:
    opened = _opened(suspects.filter(pl.col("opening") < 0))
    below = running.filter((pl.col("sure_balance") < 0) & (pl.col("balance") < 0)).select(opened.columns)
    first = (
        pl.concat([opened, below])
        .group_by("window", maintain_order=True)
        .agg(pl.col("balance").min().alias("lowest"), pl.all().exclude("balance").first())
    )
    return first.with_columns(
        pl.lit("below-zero").alias("kind"), pl.col("lowest").alias("balance"), pl.lit(None, pl.Int64).alias("capacity")
    ).select(list(_SHAPE))


def _above(suspects: Frame, running: Frame, layouts: Layouts) -> Frame:
    opened = _opened(suspects)
    filled = running.filter(pl.col("rank") == LOAD).select(opened.columns)
    history = layouts.states.select(pl.col("slot"), "state", "starts", "capacity")
    held = in_force(pl.concat([opened, filled]), history, key="slot", at="time", since="starts", tie="state")
    above = held.filter(pl.col("balance") > pl.col("capacity")).sort("slot", "time")
    return (
        above.unique("window", keep="first", maintain_order=True)
        .with_columns(pl.lit("above-capacity").alias("kind"))
        .select(list(_SHAPE))
    )
