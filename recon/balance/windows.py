"""Windows between successive marks: counts of a slot, collections of a machine.

Order of what happens at one moment. Each line stands before those below it:

    layout change     holds from its moment on, the moment included
    count, collection closes a window and opens the next
    removal           units are taken out before new ones go in
    load
    vend              a machine that is open does not sell

Under `after-load` the count of a visit stands behind its removals and loads instead.
"""

from collections.abc import Sequence
from datetime import timedelta

import polars as pl

from recon.match.asof import reached
from recon.model.border import guard, ordered
from recon.model.frame_spec import FrameSpec
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


def into_windows(events: Frame, marks: Frame, key: str, near: timedelta, *, mark_first: bool = True) -> Frame:
    """Tell for each event between which two marks it lies.

    events: `time` and an integer `key`, never null. marks: as from number_marks. near: how close to a mark an event
    may lie on either side of it. mark_first: at equal times the mark stands before the event.
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

    events: as from into_windows. marks: `key`, `mark`, `time` and `next_time`, numbered one by one within a key.
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
    """Sums by window number (`mark`); events without a window are left out."""
    return (
        events.select(window.alias("mark"), **sums)
        .filter(pl.col("mark").is_not_null())
        .group_by("mark")
        .agg(pl.col(name).sum().cast(pl.Int64) for name in sums)
    )


def tallied(events: Frame, window: pl.Expr, /, **sums: pl.Expr) -> Frame:
    """What events come to by window number (`mark`) and by `past`, a column of theirs: amounts added up, of moments the
    last; events without a window are left out."""
    told = events.select(window.alias("mark"), "past", **sums).filter(pl.col("mark").is_not_null())
    # One integer is grouped in half the time of two columns.
    key = (pl.col("mark") * 2 + pl.col("past").cast(pl.Int64)).alias("key")
    sums_of = told.group_by(key).agg(_added(told, list(sums)))
    return sums_of.select((pl.col("key") // 2).alias("mark"), (pl.col("key") % 2 == 1).alias("past"), *sums)


def _added(frame: Frame, names: Sequence[str]) -> list[pl.Expr]:
    moments = {name for name in names if frame.schema[name].is_temporal()}
    return [pl.col(name).max() if name in moments else pl.col(name).sum().cast(pl.Int64) for name in names]


def added(tallies: Sequence[Frame], spec: FrameSpec, key: str) -> Frame:
    """Tallies put together, with every figure that `spec` has besides `key` and `opened_at`: mark, past, figures."""
    figures = {name: dtype for name, dtype in spec.schema.items() if name not in (key, "opened_at")}
    shape = pl.DataFrame(schema={"mark": pl.Int64, "past": pl.Boolean, **figures})
    together = pl.concat([shape, *tallies], how="diagonal").with_columns(
        pl.col(name).fill_null(0) for name, dtype in figures.items() if not dtype.is_temporal()
    )
    return _once(together, pl.col("mark") * 2 + pl.col("past").cast(pl.Int64))


def whole(tally: Frame) -> Frame:
    """A tally by `mark` alone, past and others together."""
    return _once(tally, pl.col("mark")).drop("past")


def by_mark(marks: Frame, *tallies: Frame) -> Frame:
    """Marks with the figures of tallies beside them; null where a tally has none of a mark. The number of a mark is its
    place."""
    figures = []
    for tally in tallies:
        for name in tally.columns:
            if name != "mark":
                none = pl.Series(name, [None], dtype=tally.schema[name]).new_from_index(0, marks.height)
                figures.append(none.scatter(tally["mark"], tally[name]))
    return marks.with_columns(figures)


def _once(tally: Frame, key: pl.Expr) -> Frame:
    """A tally in which each key stands once. Most do already: only the others are grouped."""
    again = tally.select(key.is_duplicated()).to_series()
    if not again.any():
        return tally
    figures = [name for name in tally.columns if name not in ("mark", "past")]
    grouped = tally.filter(again).group_by(key.alias("key")).agg(
        pl.col("mark", "past").first(), *_added(tally, figures)
    )  # fmt: skip
    return pl.concat([tally.filter(~again), grouped.select(tally.columns)])


def brought(carried: Frame, marks: Frame, key: str) -> Frame:
    """Carried figures by window, known by `key` and the moment that opens it (`opened_at`), as a tally of the past."""
    numbers = marks.select(key, pl.col("time").alias("opened_at"), "mark")
    return carried.join(numbers, on=[key, "opened_at"], how="inner").select(
        "mark", pl.lit(True).alias("past"), pl.exclude("mark", key, "opened_at")
    )


def to_carry(tally: Frame, marks: Frame, key: str, spec: FrameSpec) -> Frame:
    """Of a tally what is past, as a frame of `spec`, that is by `key` and the moment that opens its window."""
    before = tally.filter("past").sort("mark")
    # The number of a mark is its place.
    own, opened = (marks[name].gather(before["mark"]) for name in (key, "time"))
    return guard(before.with_columns(own.alias(key), opened.alias("opened_at")).select(spec.names), spec)
