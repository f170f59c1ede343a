"""Which rows of a run the traces of a page need: those of the time of the windows that it may show.

Of a slot with one short week in a year, one week is drawn. So vends of other weeks are left out before their lines are
worked out, which costs a page more than all else.
"""

from collections.abc import Collection
from dataclasses import replace
from datetime import timedelta

import polars as pl

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

_DAYS = 1 << 24
"""More days than there are in any log: what tells the day of one slot from that of another."""
_ROWS = 1 << 40
"""More lines than any file has."""


def with_rows_of(done: Reconciliation, windows: Frame, slots: Frame, marks: Frame, near: timedelta) -> Reconciliation:
    """The run with no other windows than these in `stock`, and of the vends those that belong or may belong to them,
    to the time before the first count of these slots, or to that since the last one.

    windows: rows of `stock`. slots: rows of `slots`, all those of the windows among them. marks: the counts of every
    slot (slot, time). near: how close to a count a vend may belong to its other side. Vends are kept by whole days: what
    is kept beyond that changes nothing.
    """
    machines = slots["machine"].unique().to_list()
    vends = _of_machines(done.frames["priced"], machines)
    if vends.height == 0:
        return replace(done, frames={**done.frames, "priced": vends, "stock": windows})
    days = _days(_spans(windows, slots, marks, vends), near)
    day = pl.col("time").dt.epoch("d").cast(pl.Int64)
    kept = (pl.col("slot").cast(pl.Int64) * _DAYS + day).is_in(days)
    sources = _sources(done.frames["notices"], machines)
    if sources.len():
        # A repeat is shown at its own time, with what the row says that it repeats.
        kept |= (pl.col("file").cast(pl.Int64) * _ROWS + pl.col("row")).is_in(sources)
    return replace(done, frames={**done.frames, "priced": vends.filter(kept.fill_null(False)), "stock": windows})


def _of_machines(vends: Frame, machines: Collection[str]) -> Frame:
    """The vends from the first to the last of these machines; the frame is sorted by machine."""
    column = vends["machine"]
    first = column.search_sorted(min(machines), side="left")
    last = column.search_sorted(max(machines), side="right")
    return vends.slice(first, last - first)


def _spans(windows: Frame, slots: Frame, marks: Frame, vends: Frame) -> Frame:
    """slot, from, to: the time of each of the windows, and of each slot that before its first count and since its last;
    one never counted has no other time."""
    begins, ends = pl.lit(vends["time"].min()), pl.lit(vends["time"].max())
    counted = slots.select("slot").join(
        marks.group_by("slot").agg(pl.col("time").min().alias("first"), pl.col("time").max().alias("last")),
        on="slot", how="left",
    )  # fmt: skip
    return pl.concat(
        [
            windows.select("slot", pl.col("opened_at").alias("from"), pl.col("closed_at").alias("to")),
            counted.select("slot", begins.alias("from"), pl.coalesce("first", ends).alias("to")),
            counted.select("slot", pl.coalesce("last", begins).alias("from"), ends.alias("to")),
        ]
    )


def _days(spans: Frame, near: timedelta) -> pl.Series:
    """Every day of a slot that one of the spans touches, as one number."""
    first = (pl.col("from") - near).dt.epoch("d").cast(pl.Int64)
    last = (pl.col("to") + near).dt.epoch("d").cast(pl.Int64)
    ranges = pl.int_ranges(first, last + 1, dtype=pl.Int64)
    return spans.select((pl.col("slot").cast(pl.Int64) * _DAYS), ranges.alias("day")).explode("day").select(
        pl.col("slot") + pl.col("day")
    ).drop_nulls().unique().to_series()  # fmt: skip


def _sources(notices: Frame, machines: Collection[str]) -> pl.Series:
    """The rows that others repeat, as one number."""
    told = notices.filter(pl.col("other_row").is_not_null() & pl.col("machine").is_in(list(machines)))
    return told.select(pl.col("other_file").cast(pl.Int64) * _ROWS + pl.col("other_row")).to_series().drop_nulls()
