"""When a slot could sell: in use, with something in it, and while the machine's log tells of it.

Hours in which a slot was empty say nothing of how fast it sells. The running balance tells them: from the vend that
took the last unit to the next load or count. Of a window that a count closed, the balance is reckoned so that it ends
at what was counted (its variance is taken as there from its start): a slot counted empty is then empty from its last
vend on, and one counted with units in it never was empty at the end. A vend out of an empty slot shows that it was not.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from recon.balance.stock import VEND, Stock, stock_windows
from recon.match.asof import places
from recon.match.slots import place
from recon.match.states import Layouts
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

_TICK = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Selling:
    """laid, stock: as in the run. reach: from when to when each machine's log tells (machine, log_start, log_end).
    segments: slot, window, starts, ends, open (Boolean): all time from the first count of a slot to the end of its
    machine's log, cut where it became empty or no longer was; without the windows in which the machine logged nothing.
    """

    laid: Layouts
    stock: Stock
    reach: Frame
    segments: Frame


def selling(done: Reconciliation, stock: Stock | None = None) -> Selling:
    """Work out when each slot could sell, from the frames of a run (all of them, whatever part of it is shown). stock:
    as from `stock_windows` of the whole run, for who has it still: working it out anew costs more than all else here.
    """
    frames, settings = done.frames, done.settings
    laid = Layouts(frames["machines"], frames["slots"], frames["states"])
    if stock is None:
        stock = stock_windows(
            place(frames["counts"], laid),
            place(frames["loads"], laid),
            frames["priced"],
            laid,
            near=timedelta(minutes=settings.tolerance.boundary_minutes),
            count_first=settings.stock.count_when == "before-load",
        )
    reach = log_reach(frames["priced"], laid.states)
    return Selling(laid, stock, reach, _segments(stock, laid, reach, frames["priced"]))


def log_reach(vends: Frame, states: Frame) -> Frame:
    """From when to when the log tells of each machine: machine, log_start, log_end.

    A file covers every machine in it from its first vend to its last; before its layout holds, a machine is not there.
    """
    # Vends stand machine by machine and in order of time: of those of one file that follow each other, the first and
    # the last tell.
    stretch = vends["machine"].rle_id().cast(pl.Int64) * (1 << 32) + vends["file"]
    last = stretch.rle().struct.field("len").cast(pl.Int64).cum_sum() - 1
    first = last.shift(1, fill_value=-1) + 1
    ends = vends.select("machine", "file", pl.col("time").alias("last"))[last]
    ends = ends.with_columns(vends["time"].gather(first).alias("first"))
    files = ends.group_by("file").agg(pl.col("first").min(), pl.col("last").max())
    reach = (
        ends.select("machine", "file")
        .join(files, on="file")
        .group_by("machine")
        .agg(pl.col("first").min().alias("log_start"), pl.col("last").max().alias("log_end"))
    )
    laid = states.group_by("machine").agg(pl.col("starts").min().alias("laid_from"))
    starts = pl.max_horizontal("log_start", "laid_from")
    return reach.join(laid, on="machine", how="left").with_columns(starts.alias("log_start")).drop("laid_from").sort(
        "machine"
    )


def spells(states: Frame, at: datetime) -> Frame:
    """The time in which each slot in use at `at` has held its product, without a break by another one.

    Returns one row a state of that time in which it was in use: slot, since (start of the whole), starts, ends (`at`
    where it lasts).
    """
    past = states.filter(pl.col("starts") <= at).sort("slot", "starts", "state")
    changed = pl.col("product").ne_missing(pl.col("product").shift(1).over("slot"))
    past = past.with_columns(changed.cast(pl.Int32).cum_sum().over("slot").alias("spell"))
    now = pl.col("spell") == pl.col("spell").last().over("slot")
    in_use = pl.col("in_use").last().over("slot") & pl.col("product").last().over("slot").is_not_null()
    held = past.filter(now & in_use).with_columns(pl.col("starts").min().over("slot").alias("since"))
    return held.filter("in_use").select(
        "slot", "since", "starts", pl.min_horizontal(pl.col("ends").fill_null(at), pl.lit(at)).alias("ends")
    )


def _segments(stock: Stock, laid: Layouts, reach: Frame, vends: Frame) -> Frame:
    spans = stock.spans.join(laid.slots.select("slot", "machine"), on="slot", how="left").join(
        reach, on="machine", how="inner"
    )
    closed = pl.col("next_time").is_not_null()
    spans = spans.with_columns(
        pl.coalesce("next_time", "log_end").alias("ends"),
        pl.when(closed).then(pl.col("opening") + pl.col("close_counted") - pl.col("expected")).otherwise("opening")
        .alias("begin"),
    ).filter(pl.col("ends") > pl.col("time"))  # fmt: skip
    spans = _machine_sold(spans, vends)
    # Only a window that may have sold or lost all that it began with needs its running balance.
    may_empty = pl.col("begin") - pl.col("vended") - pl.col("removed") <= 0
    whole = spans.filter(~may_empty).select(
        "slot", pl.col("mark").alias("window"), pl.col("time").alias("starts"), "ends", pl.lit(True).alias("open")
    )
    emptied = spans.filter(may_empty)
    cut = _cut(emptied, stock.moves_of(emptied["mark"]))
    return pl.concat([whole, cut]).join(reach_of_slots(laid, reach), on="slot", how="left").select(
        "slot",
        "window",
        pl.max_horizontal("starts", "log_start").alias("starts"),
        pl.min_horizontal("ends", "log_end").alias("ends"),
        "open",
    ).filter(pl.col("ends") > pl.col("starts")).sort("slot", "starts", "ends")  # fmt: skip


def reach_of_slots(laid: Layouts, reach: Frame) -> Frame:
    """slot, log_start, log_end; slots of machines without a log are left out."""
    return laid.slots.select("slot", "machine").join(reach, on="machine", how="inner").drop("machine")


def _machine_sold(spans: Frame, vends: Frame) -> Frame:
    """The windows in which the machine logged a vend: where all of it is silent, that tells of its reader, no slot."""
    # A window in which the slot itself sold need not be looked up: most are such.
    quiet = spans.filter(pl.col("vended") == 0)
    if quiet.height == 0:
        return spans
    # The log is sorted by machine and time: with both in one number, a look for the next vend is a binary search.
    micros = pl.col("time").dt.epoch("us")
    begin, end = vends.select(micros.min().alias("begin"), micros.max().alias("end")).row(0)
    wide = end - begin + 2
    numbered = vends.select((pl.col("machine").rle_id().cast(pl.Int64) * wide + micros - begin).alias("at"))
    log = numbered.to_series()
    runs = vends.select(pl.col("machine").rle().struct.field("value").alias("machine")).with_row_index("number")
    # A count closes a window before what is of its very moment; the end of the log is itself in the last one.
    until = pl.when(pl.col("next_time").is_null()).then("ends").otherwise(pl.col("ends") - _TICK)
    number = pl.col("number").cast(pl.Int64) * wide
    asked = quiet.join(runs, on="machine", how="inner").select(
        "mark",
        (number + (micros - begin).clip(0, wide - 1)).alias("from"),
        (number + (until.dt.epoch("us") - begin).clip(-1, wide - 2)).alias("to"),
    )
    place = places(log, asked["from"])
    following = log.extend_constant(log[-1] + 2 * wide, 1).gather(place)
    logged = asked.filter(following <= asked["to"])
    return spans.filter((pl.col("vended") > 0) | pl.col("mark").is_in(logged["mark"].implode()))


def _cut(spans: Frame, moves: Frame) -> Frame:
    """The time of these windows, cut at every move; open where something was in the slot, or a vend came next."""
    windows = spans.select(pl.col("mark").alias("window"), "slot", "time", "ends", "begin")
    opened = pl.col("time").alias("opened")
    inside = moves.join(windows.select("window", opened, "begin", "ends"), on="window", how="inner").filter(
        # What was put in or taken out at the opening visit is in the opening already.
        (pl.col("time") > pl.col("opened")) | (pl.col("rank") == VEND)
    )
    shape = ["slot", "window", "time", "rank", "file", "row", "change", "begin", "ends"]
    start = windows.with_columns(
        pl.lit(-1, pl.Int32).alias("rank"), pl.lit(-1, pl.Int32).alias("file"), pl.lit(0, pl.Int64).alias("row"),
        pl.lit(0, pl.Int64).alias("change"),
    )  # fmt: skip
    every = pl.concat([start.select(shape), inside.select(shape)]).sort("window", "time", "rank", "file", "row")
    balance = pl.col("begin") + pl.col("change").cum_sum().over("window")
    vend_next = (pl.col("rank").shift(-1).over("window") == VEND).fill_null(False)
    return every.select(
        "slot",
        "window",
        pl.col("time").alias("starts"),
        pl.coalesce(pl.col("time").shift(-1).over("window"), "ends").alias("ends"),
        ((balance > 0) | vend_next).alias("open"),
    )
