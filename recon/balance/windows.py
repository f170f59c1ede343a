"""Windows between successive marks: counts of a slot, collections of a machine.

Order of what happens at one moment. Each line stands before those below it:

    layout change     holds from its moment on, the moment included
    count, collection closes a window and opens the next
    removal           units are taken out before new ones go in
    load
    vend              a machine that is open does not sell

Under `after-load` the count of a visit stands behind its removals and loads instead.
"""

from datetime import timedelta

import polars as pl

from recon.match.asof import in_force
from recon.model.frames import Frame


def number_marks(marks: Frame, key: str) -> Frame:
    """Sort marks by `key` and `time` and number them (`mark`, Int64); add `next_time`, null for the last of its key."""
    ordered = marks.sort(key, "time").with_row_index("mark").with_columns(pl.col("mark").cast(pl.Int64))
    return ordered.with_columns(pl.col("time").shift(-1).over(key).alias("next_time"))


def into_windows(events: Frame, marks: Frame, key: str, near: timedelta, *, mark_first: bool = True) -> Frame:
    """Tell for each event between which two marks it lies.

    events: `time` and an integer `key`, never null. marks: as from number_marks. near: how close to a mark an event
    may lie on either side of it. mark_first: at equal times the mark stands before the event.
    Returns the events plus: `window` (number of the mark that opens its window; null before the first),
    `next_window` (number of the mark that closes it; null after the last), `near_open` and `near_close` (Boolean).
    Events whose key has no mark are left out.
    """
    firsts = marks.group_by(key).agg(pl.col("mark").min().alias("first_mark"), pl.col("time").min().alias("first_time"))
    shift = timedelta(0) if mark_first else timedelta(microseconds=1)
    at = events.join(firsts, on=key, how="inner").with_columns((pl.col("time") - shift).alias("look_at"))
    history = marks.select(key, "mark", pl.col("time").alias("opened"), "next_time")
    joined = in_force(at, history, key=key, at="look_at", since="opened", tie="mark")
    before_first = pl.col("mark").is_null()
    closing = pl.when(before_first).then("first_time").otherwise("next_time")
    closed_by = (
        pl.when(before_first).then("first_mark").when(pl.col("next_time").is_not_null()).then(pl.col("mark") + 1)
    )
    return joined.with_columns(
        pl.col("mark").alias("window"),
        closed_by.alias("next_window"),
        (pl.col("time") - pl.col("opened") <= near).fill_null(False).alias("near_open"),
        (closing - pl.col("time") <= near).fill_null(False).alias("near_close"),
    ).drop("mark", "opened", "next_time", "first_mark", "first_time", "look_at", f"{key}_right", strict=False)


def summed(events: Frame, window: pl.Expr, /, **sums: pl.Expr) -> Frame:
    """Sums by window number (`mark`); events without a window are left out."""
    return (
        events.with_columns(window.alias("mark"))
        .filter(pl.col("mark").is_not_null())
        .group_by("mark")
        .agg(total.sum().cast(pl.Int64).alias(name) for name, total in sums.items())
    )
