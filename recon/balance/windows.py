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

from recon.match.asof import reached
from recon.match.sequence import Sequence
from recon.model.border import ordered
from recon.model.frames import Frame


def number_marks(marks: Frame, key: str) -> Frame:
    """Sort marks by `key` and `time` and number them from 0 (`mark`, Int64); add `next_time`, null for the last of its
    key.
    """
    numbered = ordered(marks, (key, "time")).with_row_index("mark").with_columns(pl.col("mark").cast(pl.Int64))
    return numbered.with_columns(following("time", key).alias("next_time"))


def following(name: str, key: str) -> pl.Expr:
    """What the next row has in a column; null for the last of its `key`. The frame is sorted by that."""
    return pl.when(pl.col(key) == pl.col(key).shift(-1)).then(pl.col(name).shift(-1))


def places_in(events: Sequence, marks: Frame, key: str, near: timedelta) -> Frame:
    """Find where each window begins and ends among the events; at equal times a mark stands before the event.

    marks: what number_marks returns. near: how close to a mark an event may lie on either side of it. Returns one row a
    mark, with numbers of events (Int64):
    begin, end: the window holds the events from `begin` to before `end`; the last one of a key, all that follow.
    open_end, close_begin: those before `open_end` lie near the mark that opens it, those from `close_begin` on near the
    one that closes it.
    late_begin: events from there to before `begin` lie near the mark that opens it, and before it.
    early_end: events from `end` to before `early_end` lie near the mark that closes it, and after it.
    """
    number, time = pl.col(key).cast(pl.Int64), pl.col("time").cast(pl.Int64)
    micros = near // timedelta(microseconds=1)
    found = marks.select(
        key,
        begin=events.before(number, time),
        late_begin=events.before(number, time - micros),
        behind=events.before(number, time + micros + 1),
        of_key=events.ahead(number + 1),
    )
    last = (pl.col(key) != pl.col(key).shift(-1)).fill_null(True)
    end = pl.when(last).then("of_key").otherwise(pl.col("begin").shift(-1))
    closing = pl.when(last).then("of_key").otherwise(pl.col("late_begin").shift(-1))
    return found.select(
        "begin",
        end.alias("end"),
        pl.min_horizontal("behind", end).alias("open_end"),
        pl.max_horizontal("begin", closing).alias("close_begin"),
        "late_begin",
        pl.when(last).then("of_key").otherwise(pl.col("behind").shift(-1)).alias("early_end"),
    )


def sums_in(sums: Frame, windows: Frame, begin: str = "begin", end: str = "end") -> Frame:
    """Add up amounts from one place to another. sums: what `cumulative` returns; windows: what places_in returns."""
    return sums[windows[end]] - sums[windows[begin]]


def doubtful(sums: Frame, windows: Frame) -> Frame:
    """Add up amounts of the events of each window that lie near one of its marks."""
    sure = windows.select("open_end", pl.max_horizontal("open_end", "close_begin").alias("close_begin"))
    return sums_in(sums, windows) - sums_in(sums, sure, "open_end", "close_begin")


def into_windows(events: Frame, marks: Frame, key: str, near: timedelta, *, mark_first: bool = True) -> Frame:
    """Tell for each event between which two marks it lies.

    events: `time` and an integer `key`, never null. marks: what number_marks returns. near: how close to a mark an
    event may lie on either side of it. mark_first: at equal times the mark stands before the event.
    Returns the events, in their order, plus: `window` (number of the mark that opens its window; null before the
    first), `next_window` (number of the mark that closes it; null after the last), `near_open` and `near_close`
    (Boolean).
    Events whose key has no mark are left out.
    """
    # The marks before an event are counted: that is the number of the one that stands behind it.
    closes = reached(events, marks, key=key, at="time", since="time", before=not mark_first)
    opens, behind = _own_marks(events, marks, key, closes - 1), _own_marks(events, marks, key, closes)
    time = pl.col("time")
    joined = events.with_columns(
        opens.alias("window"),
        behind.alias("next_window"),
        (time - marks["time"].gather(opens) <= near).fill_null(False).alias("near_open"),
        (marks["time"].gather(behind) - time <= near).fill_null(False).alias("near_close"),
    )
    strange = opens.is_null() & behind.is_null()
    return joined.filter(~strange) if strange.any() else joined


def _own_marks(events: Frame, marks: Frame, key: str, numbers: pl.Series) -> pl.Series:
    """These numbers of marks, null where there is none of that number, or it is of another key than the event."""
    if marks.height == 0:
        return pl.Series([None], dtype=pl.Int64).new_from_index(0, events.height)
    there = marks[key].gather(numbers.clip(0, marks.height - 1))
    own = (there == events[key]) & numbers.is_between(0, marks.height - 1)
    return numbers.to_frame("at").select(pl.when(own).then("at")).to_series()


def reaching(events: Frame, marks: Frame, key: str, near: timedelta) -> tuple[Frame, Frame]:
    """The windows, other than their own, to which events near a mark may belong: those on the other side of any mark
    within `near` of the event. Where marks lie closer together than `near` there may be several.

    events: what into_windows returns. marks: `key`, `mark`, `time` and `next_time`, numbered one by one within a key.
    Returns (late, early): events that may have come after the mark that opens window `reached`, and events that may
    have come before the mark that closes it; each one row an event and window, with the columns of `events`.
    """
    ends = marks.select(
        key, pl.col("mark").alias("reached"), pl.col("time").alias("opens"), pl.col("next_time").alias("closes")
    )
    late = events.filter("near_close").with_columns(pl.col("next_window").alias("reached"))
    early = events.filter("near_open").with_columns((pl.col("window") - 1).alias("reached"))
    # The mark before the first of a key is the last of another, whose window is none of its business.
    early = early.join(ends, on=[key, "reached"], how="semi", maintain_order="left")
    return (
        _and_beyond(late, ends, key, pl.col("closes") - pl.col("time") <= near, 1),
        _and_beyond(early, ends, key, pl.col("time") - pl.col("opens") <= near, -1),
    )


def _and_beyond(reached: Frame, ends: Frame, key: str, near: pl.Expr, step: int) -> Frame:
    """Add the windows behind those reached, as long as the far end of one is still near."""
    parts = [reached]
    while parts[-1].height:
        on = parts[-1].join(ends, on=[key, "reached"]).filter(near).with_columns(pl.col("reached") + step)
        parts.append(on.select(reached.columns))
    return pl.concat(parts)


def summed(events: Frame, window: pl.Expr, /, **sums: pl.Expr) -> Frame:
    """Add amounts up by window number (`mark`); of moments the last counts. Events without a window are left out."""
    chosen = events.select(window.alias("mark"), **sums).filter(pl.col("mark").is_not_null())
    moments = {name for name in sums if chosen.schema[name].is_temporal()}
    return chosen.group_by("mark").agg(
        pl.col(name).max() if name in moments else pl.col(name).sum().cast(pl.Int64) for name in sums
    )


def by_mark(marks: Frame, *tallies: Frame) -> Frame:
    """Put the figures of tallies beside the marks; null where a tally has none of a mark. The number of a mark is its
    place."""
    figures = []
    for tally in tallies:
        for name in tally.columns:
            if name != "mark":
                none = pl.Series(name, [None], dtype=tally.schema[name]).new_from_index(0, marks.height)
                figures.append(none.scatter(tally["mark"], tally[name]))
    return marks.with_columns(figures)
