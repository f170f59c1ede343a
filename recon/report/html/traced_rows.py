"""Which rows of a run the traces of a page need: those of the time of the windows that it may show.

Of a slot with one short week in a year, one week is drawn. So vends of other weeks are left out before their lines are
worked out, which costs a page more than all else.
"""

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import timedelta

import polars as pl

from recon.match.asof import places
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
    rows = {
        "priced": _of_machines(frames["priced"], machines),
        "counts": frames["counts"].filter(pl.col("machine").is_in(machines)),
        "loads": frames["loads"].filter(pl.col("machine").is_in(machines)),
    }
    days = _days(_spans(windows, slots, marks, rows.values()), near)
    repeated = _repeated(frames["notices"], machines)
    number = (days["slot"].cast(pl.Int64) * _DAYS + days["day"]).unique()
    of_slots = (pl.col("slot").cast(pl.Int64) * _DAYS + _DAY).is_in(number.implode()).fill_null(False) | repeated
    rows["priced"] = rows["priced"].filter(of_slots)
    # What sheets say may name no slot: so theirs are kept by the days of the whole machine.
    order = {machine: at for at, machine in enumerate(machines)}
    place = pl.col("machine").replace_strict(order, default=None, return_dtype=pl.Int64) * _DAYS
    visited = days.join(slots.select("slot", "machine"), on="slot").select(place + pl.col("day")).to_series().unique()
    for name in ("counts", "loads"):
        rows[name] = rows[name].filter((place + _DAY).is_in(visited.implode()) | repeated)
    return replace(done, frames={**frames, **rows, "stock": windows})


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


def _repeated(notices: Frame, machines: Collection[str]) -> pl.Expr:
    """The rows that others repeat: a repeat is shown at its own time, with what the row says that it repeats."""
    told = notices.filter(pl.col("other_row").is_not_null() & pl.col("machine").is_in(machines))
    if told.height == 0:
        return pl.lit(False)
    number = told.select(pl.col("other_file").cast(pl.Int64) * _ROWS + pl.col("other_row")).to_series().drop_nulls()
    return (pl.col("file").cast(pl.Int64) * _ROWS + pl.col("row")).is_in(number.implode())
