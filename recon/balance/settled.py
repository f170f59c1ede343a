"""Stock windows that are settled: whatever vends are still to come, none of them can belong there.

That is so once the count that closes a window lies further back than vends near a count may fall on either side of it.
Of most settled windows nothing is asked any more but their line in the results: their counts agreed, and the next run
leaves them out. Those of which a finding may speak are told: worked out again from their counts, and from the sums that
were carried forward. The counts between two told windows are not looked at, so that what lies there is no window.
"""

from datetime import timedelta
from typing import NamedTuple

import polars as pl

from recon.balance.carried import Carried, looked_up
from recon.balance.running import may_breach
from recon.balance.stock import Stock
from recon.match.states import Layouts, product_changes
from recon.model.border import guard
from recon.model.carried_frames import RESTATED, SETTLED, SOLD, TOLD
from recon.model.frames import Frame


class Settled(NamedTuple):
    """What is to be carried forward of settled windows, and of others what was sold in them, as frames of these
    names."""

    settled: Frame
    told: Frame
    restated: Frame
    sold: Frame


def settle(
    stock: Stock, stocked: Frame, carried: Carried, reach: Frame, strays: Frame, layouts: Layouts, near: timedelta
) -> Settled:
    """Which windows of the machines of `carried.until` are settled, those included that were already.

    stocked: as from recon.balance.silence.stocked. reach: machine and log_end. strays: vends that no slot had (machine,
    time). near: how close to a count a vend may fall on either side of it.
    """
    closed = _closed(stock.spans, carried, reach, layouts, near)
    asked = closed.select("slot", pl.col("time").alias("opened_at"), pl.col("next_time").alias("closed_at")).filter(
        _may_be_told(closed, stock.spans, strays, layouts)
    )
    told = guard(asked, TOLD)
    settled = _added(closed, told, stock, stocked, carried.settled)
    since = looked_up("slot", settled, "since")
    past = stock.restated.filter(pl.col("time") < since).select(RESTATED.names)
    before = (pl.col("opened_at") < since).fill_null(False)
    sold = [stock.sold.filter(~before), stock.sold.filter(before).join(told, on=["slot", "opened_at"], how="semi")]
    return Settled(settled, told, guard(past, RESTATED), guard(pl.concat(sold), SOLD))


def may_differ() -> pl.Expr:
    """Whether a window may disagree: of others nobody asks for the vends."""
    return (pl.col("close_counted") != pl.col("expected")).fill_null(False)


def _closed(spans: Frame, carried: Carried, reach: Frame, layouts: Layouts, near: timedelta) -> Frame:
    """The settled windows at hand, with `machine` and `log_end`."""
    ends = carried.until.select("machine", "until").join(reach.select("machine", "log_end"), on="machine", how="left")
    of_slots = layouts.slots.select("slot", "machine").join(ends, on="machine", how="inner")
    own = spans.filter(pl.col("next_time") + near < looked_up("slot", of_slots, "until"))
    return own.join(of_slots.select("slot", "machine", "log_end"), on="slot", how="left", maintain_order="left")


def _may_be_told(closed: Frame, spans: Frame, strays: Frame, layouts: Layouts) -> pl.Series:
    """Which settled windows a finding may speak of (Boolean)."""
    ends = closed.select("slot", "machine", "mark", "time", "next_time")
    changes = product_changes(layouts).select("slot", "changed_at")
    changed = ends.join(changes, on="slot", how="inner").filter(pl.col("changed_at").is_between("time", "next_time"))
    # A slot that agrees while a number vended that no slot had is none that the number may be.
    vended = strays.group_by("machine").agg(pl.col("time").min().alias("first"), pl.col("time").max().alias("last"))
    stray = ends.join(vended, on="machine", how="inner").filter(
        (pl.col("time") <= pl.col("last")) & (pl.col("next_time") > pl.col("first"))
    )  # fmt: skip
    within = pl.concat([changed["mark"], stray["mark"]])
    # How long a window could sell is known only as far as the log goes.
    unsure = (pl.col("next_time") > pl.col("log_end")).fill_null(True)
    by_itself = may_differ() | may_breach(layouts) | _idle() | unsure | pl.col("mark").is_in(within.implode())
    asked = closed.select("mark", asked=by_itself)
    witnesses = _witnesses(closed.filter(~asked["asked"]), closed, spans)
    return asked.select(pl.col("asked") | pl.col("mark").is_in(witnesses.implode())).to_series()


def _idle() -> pl.Expr:
    """Whether a window may be called silent: stocked, and nothing sold."""
    return (pl.col("events") == 0) & (pl.col("opening") - pl.col("removed") > 0)


def _witnesses(rest: Frame, closed: Frame, spans: Frame) -> pl.Series:
    """Numbers of windows that show that their machine sold at all while another slot, counted at the same time, did
    not: one for each such time, and for each at which a window opened that is not settled yet. rest: windows that
    nobody asks for otherwise."""
    settled = closed["mark"]
    open_ = spans.filter(_idle() | ~pl.col("mark").is_in(settled.implode())).select("slot", "time")
    sold = rest.filter(
        pl.col("time").is_in(open_["time"].unique().implode()), pl.col("events") > 0,
        pl.col("opening") - pl.col("removed") + pl.col("loaded") > 0,
    )  # fmt: skip
    return sold.unique(["machine", "time"], keep="first", maintain_order=True)["mark"]


def _added(closed: Frame, told: Frame, stock: Stock, stocked: Frame, before: Frame) -> Frame:
    """The frame `settled`: what it was before, and the windows that are left out from now on."""
    ends = closed.group_by("slot").agg(pl.col("next_time").max().alias("since"))
    firsts = ends.join(stock.first_counts, on="slot", how="inner")
    exposed = stocked.select("mark", "exposure")
    left = closed.join(told, left_on=["slot", "time"], right_on=["slot", "opened_at"], how="anti")
    sums = left.join(exposed, on="mark", how="left").group_by("slot").agg(
        pl.len().cast(pl.Int64).alias("windows"),
        pl.when(pl.col("exposure").is_not_null()).then("events").otherwise(0).sum().alias("events"),
        pl.col("exposure").fill_null(0).sum(),
    )  # fmt: skip
    zero = pl.lit(0, pl.Int64)
    now = firsts.join(sums, on="slot", how="left").with_columns(pl.col("windows", "events", "exposure").fill_null(zero))
    both = pl.concat([before, now.select(SETTLED.names)]).group_by("slot").agg(
        pl.col("since").max(), pl.col("first_count").min(), pl.col("windows", "events", "exposure").sum()
    )  # fmt: skip
    return guard(both.select(SETTLED.names), SETTLED)
