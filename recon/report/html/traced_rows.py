"""Which rows of a run the traces of a page need: those of the time of the windows that it may show.

Of a slot with one short week in a year, one week is drawn. So vends of other weeks are left out before their lines are
worked out, which costs a page more than all else.
"""

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import timedelta

import polars as pl

from recon.match.asof import places
from recon.match.slots import place
from recon.match.states import Layouts
from recon.model.frames import TIME, Frame
from recon.model.reconciliation import Reconciliation

_DAYS = 1 << 24
"""More days than there are in any log: what tells the day of one slot from that of another."""
_ROWS = 1 << 40
"""More lines than any file has."""


def with_rows_of(done: Reconciliation, windows: Frame, slots: Frame, marks: Frame, near: timedelta) -> Reconciliation:
    """The run with no other windows than these in `stock`, and of its vends, counts and loads those that belong or may
    belong to them, to the time before the first count of these slots, or to that since the last one.

    windows: rows of `stock`. slots: rows of `slots`, all those of the windows among them. marks: the counts of every
    slot (slot, time). near: how close to a count a vend may belong to its other side. Rows are kept by whole days: what
    is kept beyond that changes nothing.
    """
    frames = done.frames
    machines = slots["machine"].unique().to_list()
    laid = Layouts(frames["machines"], frames["slots"], frames["states"])
    # What sheets say may name no slot, but its number.
    sheets = {name: frames[name].filter(pl.col("machine").is_in(machines)) for name in ("counts", "loads")}
    placed = {name: place(rows, laid) for name, rows in sheets.items()}
    rows = {"priced": _of_machines(frames["priced"], machines), **placed}
    days = _days(_spans(windows, slots, marks, rows.values()), near)
    wanted = (days["slot"].cast(pl.Int64) * _DAYS + days["day"]).unique()
    repeats = _repeats(frames["notices"], machines)
    kept = {name: _needed(of, wanted, repeats).select(frames[name].columns) for name, of in rows.items()}
    return replace(done, frames={**frames, **kept, "stock": windows})


def _needed(rows: Frame, wanted: pl.Series, repeats: Frame) -> Frame:
    """The rows of these days of slots, and those that others repeat on these days: a repeat is shown at its own time,
    with what the row says that it repeats.

    rows: with `slot`. wanted: days of slots, each as one number. repeats: as from `_repeats`.
    """
    slot = pl.col("slot").cast(pl.Int64) * _DAYS
    own = rows.select((slot + _DAY).is_in(wanted.implode()).fill_null(False)).to_series()
    if repeats.height:
        number = (pl.col("file").cast(pl.Int64) * _ROWS + pl.col("row")).alias("number")
        again = rows.select(number, slot.alias("slot"), pl.int_range(pl.len()).alias("at")).join(repeats, on="number")
        at = again.filter((pl.col("slot") + pl.col("day")).is_in(wanted.implode()))["at"].unique()
        own = own.scatter(at, True) if at.len() else own
    return rows.filter(own)


_DAY = pl.col("time").dt.epoch("d").cast(pl.Int64)


def _of_machines(vends: Frame, machines: Collection[str]) -> Frame:
    """The vends from the first to the last of these machines; the frame is sorted by machine."""
    column = vends["machine"]
    first = places(column, pl.Series([min(machines)]))[0]
    last = places(column, pl.Series([max(machines)]), after=True)[0]
    return vends.slice(first, last - first)


def _spans(windows: Frame, slots: Frame, marks: Frame, rows: Iterable[Frame]) -> Frame:
    """slot, from, to: the time of each of the windows, and of each slot that before its first count and since its last;
    one never counted has no other time. rows: all that happened."""
    times = pl.concat([frame.select(pl.col("time").min(), pl.col("time").max().alias("last")) for frame in rows])
    begins, ends = times["time"].min(), times["last"].max()
    counted = slots.select("slot").join(
        marks.group_by("slot").agg(pl.col("time").min().alias("first"), pl.col("time").max().alias("last")),
        on="slot", how="left",
    )  # fmt: skip
    return pl.concat(
        [
            windows.select("slot", pl.col("opened_at").alias("from"), pl.col("closed_at").alias("to")),
            counted.select("slot", pl.lit(begins, TIME).alias("from"), pl.col("first").fill_null(ends).alias("to")),
            counted.select("slot", pl.col("last").fill_null(begins).alias("from"), pl.lit(ends, TIME).alias("to")),
        ]
    )


def _days(spans: Frame, near: timedelta) -> Frame:
    """slot, day (since 1970): every day of a slot that one of the spans touches, those near to it among them."""
    first = (pl.col("from") - near).dt.epoch("d").cast(pl.Int64)
    last = (pl.col("to") + near).dt.epoch("d").cast(pl.Int64)
    days = spans.select("slot", pl.int_ranges(first, last + 1, dtype=pl.Int64).alias("day"))
    return days.explode("day").drop_nulls().unique()


def _repeats(notices: Frame, machines: Collection[str]) -> Frame:
    """number (of the row that another repeats, as file and row in one), day (of the row that repeats it)."""
    told = notices.filter(pl.col("other_row").is_not_null() & pl.col("machine").is_in(machines))
    number = pl.col("other_file").cast(pl.Int64) * _ROWS + pl.col("other_row")
    return told.select(number.alias("number"), _DAY.alias("day")).drop_nulls().unique()
