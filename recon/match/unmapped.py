"""Vends whose number no slot had. What each number may be is weighed in recon.match.explained, which most runs do not
need."""

from typing import TYPE_CHECKING

import polars as pl

from recon.match.states import Layouts
from recon.model.frames import Frame
from recon.model.words import DROPPED_OUTCOMES
from recon.route.folder import Route

if TYPE_CHECKING:
    from recon.match.explained import Explanation


def stray_vends(matched: Frame) -> Frame:
    """Find the vends whose number or label no slot in use had.

    Returns machine, bus, label (where no number was logged), time, file, row, units, price and tender, in no certain
    order. Undefined numbers (neither bus nor label) are not here.
    """
    lost = pl.col("slot").is_null() & (pl.col("bus").is_not_null() | pl.col("label").is_not_null())
    dropped = pl.col("outcome").is_in(DROPPED_OUTCOMES)
    return matched.filter(lost).select(
        "machine",
        "bus",
        pl.when(pl.col("bus").is_null()).then("label").alias("label"),
        "time",
        "file",
        "row",
        pl.when(dropped).then("quantity").otherwise(0).alias("units"),
        "price",
        "tender",
    )


def unmapped_numbers(strays: Frame) -> Frame:
    """The numbers and labels of stray vends: one row a machine, number and label.

    strays: what stray_vends returns. Returns machine, bus, label, vends, units, opened_at, closed_at, and `each`: a
    list of its vends (time, units, price, tender).
    """
    return strays.group_by("machine", "bus", "label").agg(
        pl.len().cast(pl.Int64).alias("vends"), pl.col("units").sum(),
        pl.col("time").min().alias("opened_at"), pl.col("time").max().alias("closed_at"),
        pl.struct("time", "units", "price", "tender").alias("each"),
    ).sort("machine", "bus", "label")  # fmt: skip


def explain(
    strays: Frame,
    windows: Frame,
    layouts: Layouts,
    route: Route,
    matched: Frame | None = None,
) -> "list[Explanation]":
    """The likeliest slot for each unmapped number of a machine with a layout, by machine and number.

    strays: what unmapped_numbers returns. windows: the stock windows. matched: all vends with their slots; without them
    nothing is said of what a slot sold meanwhile.
    """
    if strays.height == 0:
        return []
    asked = strays.filter(pl.col("bus").is_not_null())
    if asked.height:
        asked = asked.join(layouts.machines, on="machine", how="semi")
    if asked.height == 0:
        return []
    from recon.match.explained import explained

    return explained(asked, windows, layouts, route, matched)
