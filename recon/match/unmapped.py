"""Vends whose number no slot had. What each number may be is weighed in recon.match.explained, which most runs do not
need."""

from typing import TYPE_CHECKING

import polars as pl

from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.carried_frames import MEANWHILE, STRAYS
from recon.model.frames import Frame
from recon.model.words import DROPPED_OUTCOMES
from recon.route.folder import Route

if TYPE_CHECKING:
    from recon.match.explained import Explanation


def stray_vends(matched: Frame, past: pl.Series | None = None, carried: Frame | None = None) -> Frame:
    """Vends whose number or label no slot in use had, as a frame `strays`, in no certain order; `past` besides.

    past: which of the vends are to be carried forward. carried: those that were, which are not among these. Undefined
    numbers (neither bus nor label) are not here.
    """
    own = pl.lit(False) if past is None else past
    lost = pl.col("slot").is_null() & (pl.col("bus").is_not_null() | pl.col("label").is_not_null())
    strays = matched.with_columns(own.alias("past")).filter(lost)
    dropped = pl.col("outcome").is_in(DROPPED_OUTCOMES)
    named = strays.with_columns(
        pl.when(pl.col("bus").is_null()).then("label").alias("label"),
        pl.when(dropped).then("quantity").otherwise(0).alias("units"),
    ).select(*STRAYS.names, "past")
    return named if carried is None else pl.concat([carried.with_columns(pl.lit(True).alias("past")), named])


def unmapped_numbers(strays: Frame) -> Frame:
    """The numbers and labels of stray vends: one row a machine, number and label.

    strays: as from stray_vends. Returns machine, bus, label, vends, units, opened_at, closed_at, and `each`: a list of
    its vends (time, units, price, tender).
    """
    return strays.group_by("machine", "bus", "label").agg(
        pl.len().cast(pl.Int64).alias("vends"), pl.col("units").sum(),
        pl.col("time").min().alias("opened_at"), pl.col("time").max().alias("closed_at"),
        pl.struct("time", "units", "price", "tender").alias("each"),
    ).sort("machine", "bus", "label")  # fmt: skip


def sold_meanwhile(strays: Frame, vends: Frame, before: Frame, slots: Frame) -> Frame:
    """What every slot sold while a number that no slot had vended, of the past alone: the frame `meanwhile`.

    strays: as from stray_vends. vends: the vends that came to be past (slot, time). before: what the earlier ones came
    to. slots: of the same machines.
    """
    ends = strays.filter("past", pl.col("bus").is_not_null()).group_by("machine", "bus").agg(
        pl.col("time").min().alias("opened"), pl.col("time").max().alias("closed")
    )  # fmt: skip
    if ends.height == 0:
        return MEANWHILE.empty()
    asked = ends.join(slots.select("machine", "slot"), on="machine", how="inner")
    own = vends.join(asked.select("slot"), on="slot", how="semi").join(asked, on="slot", how="inner")
    inside = pl.col("time") <= pl.col("closed")
    new = own.filter(pl.col("time") >= pl.col("opened")).group_by("machine", "bus", "slot").agg(
        pl.len().cast(pl.Int64).alias("since"), inside.sum().cast(pl.Int64).alias("inside")
    )  # fmt: skip
    key = ["machine", "bus", "slot"]
    both = asked.join(new, on=key, how="left").join(before, on=key, how="left", suffix="_before")
    counts = [pl.col(name).fill_null(0) for name in ("since", "inside", "since_before", "inside_before")]
    # Where the number vended again, all that was carried lies before its last vend.
    again = (pl.col("closed") > pl.col("closed_before")).fill_null(True)
    carried = pl.when(again).then("since_before").otherwise("inside_before")
    told = both.with_columns(counts).with_columns(
        (pl.col("since") + pl.col("since_before")).alias("since"), (pl.col("inside") + carried).alias("inside")
    )
    return guard(told.select(MEANWHILE.names), MEANWHILE)


def explain(
    strays: Frame,
    windows: Frame,
    layouts: Layouts,
    route: Route,
    matched: Frame | None = None,
    before: Frame | None = None,
) -> "list[Explanation]":
    """The likeliest slot for each unmapped number of a machine with a layout, by machine and number.

    strays: as from unmapped_numbers. windows: the stock windows. matched: all vends with their slots; without them
    nothing is said of what a slot sold meanwhile. before: what is known of that of vends that are not among these, as a
    frame `meanwhile`.
    """
    asked = strays.filter(pl.col("bus").is_not_null())
    if asked.height:
        asked = asked.join(layouts.machines, on="machine", how="semi")
    if asked.height == 0:
        return []
    from recon.match.explained import explained

    return explained(asked, windows, layouts, route, matched, before)
