"""Local times as moments in UTC, through the zone of the file or of the machine.

A local time that happened twice (clocks set back) is placed by its neighbours where the file tells them apart: read in
the order of the log, the clock runs through the hour once, jumps back, and runs through it again. Where it does not
tell, the earlier moment is taken and said. A time that never happened (clocks set forward) is moved on by the gap and
said: 02:30 on the night of a one-hour gap is 03:30.
"""

from datetime import UTC, datetime

import polars as pl

from recon.intake.table import FEW_ROWS
from recon.model.frames import TIME
from recon.model.zones import zone

_MANY = 10_000
"""Times from which on it pays to work out the offset of each hour, not of each time."""
_HOUR = 3_600_000_000
"""Microseconds."""


def to_moments(frame: pl.DataFrame, *, by: str = "zone") -> pl.DataFrame:
    """Turn local times into UTC. `frame` has `local` (naive), `moment` (UTC or null) and `zone`; row order is kept.

    by: the name of the column that holds the zone, if it is another.

    With `file`, `row` and `machine` in it, times that happened twice are placed by their neighbours. Adds `time` (UTC,
    null where nothing was read) and `clock` (String): `ambiguous-time`, `nonexistent-time` or null.
    """
    none = pl.Series("clock", [None], dtype=pl.String).new_from_index(0, frame.height)
    if frame["local"].null_count() == frame.height:
        return frame.hstack([frame["moment"].alias("time"), none])
    placed = frame if by == "zone" else frame.with_columns(pl.col(by).alias("zone"))
    time = _by_hour(placed) if frame.height >= _MANY else placed.select(_by_zone(placed, "null")).to_series()
    time = time.alias("time")
    if frame["moment"].null_count() == frame.height:
        plain = frame.hstack([time, none])
    else:
        plain = frame.hstack([time, none]).with_columns(pl.coalesce("moment", "time").alias("time"))
    odd = pl.col("time").is_null() & pl.col("local").is_not_null()
    if plain["time"].null_count() == 0 or not plain.select(odd.any()).item():
        return plain
    numbered = plain.with_row_index("_at")
    every = numbered if by == "zone" else numbered.with_columns(pl.col(by).alias("zone"))
    settled = _odd_times(every, every.filter(odd))
    out = numbered.join(settled, on="_at", how="left", maintain_order="left")
    return out.with_columns(pl.coalesce("time", "_time").alias("time"), pl.col("_clock").alias("clock")).drop(
        "_at", "_time", "_clock"
    )


def _by_zone(frame: pl.DataFrame, ambiguous: str) -> pl.Expr:
    """Polars takes one zone an expression: a branch for each zone, of which there are few."""
    zones = frame["zone"]
    names = zones.unique().to_list() if frame.height > FEW_ROWS else set(zones.to_list())
    time = pl.lit(None, TIME)
    for name in sorted(name for name in names if name is not None):
        local = pl.col("local").dt.replace_time_zone(name, ambiguous=ambiguous, non_existent="null")  # type: ignore[arg-type]
        here = pl.col("zone") == name if len(names) > 1 else pl.lit(True)
        time = pl.when(here).then(local.dt.convert_time_zone("UTC")).otherwise(time)
    return time


def _by_hour(frame: pl.DataFrame) -> pl.Series:
    """The same as `_by_zone` of many times: the offset is worked out once for each hour between the first and the last.

    That holds where the hour begins and ends with one offset: zones change theirs twice in no hour.
    """
    local, zones = frame["local"], frame["zone"]
    hour = local.to_physical() // _HOUR
    first, last = int(hour.min()), int(hour.max())  # type: ignore[arg-type]
    if not isinstance(zones.dtype, pl.Enum):
        zones = zones.cast(pl.Enum(zones.unique().drop_nulls().sort()))
    assert isinstance(zones.dtype, pl.Enum)
    names = zones.dtype.categories.to_list()
    if (last - first) * 4 * len(names) > local.len():
        return frame.select(_by_zone(frame, "null").alias("time")).to_series()
    starts = pl.int_range(first, last + 2, eager=True) * _HOUR
    steady: list[pl.Series] = []
    for name in names:
        shift = _in_utc(starts.cast(local.dtype), name).to_physical() - starts
        steady.append(shift.head(-1).set(shift.head(-1).ne_missing(shift.tail(-1)), None))
    place = hour - first
    if len(names) > 1 or zones.null_count():
        place = place + zones.to_physical().cast(pl.Int64) * (last - first + 1)
    time = (local.to_physical() + pl.concat(steady).gather(place)).cast(TIME)
    left = time.is_null() & local.is_not_null() & zones.is_not_null()
    if not left.any():
        return time
    alone = frame.filter(left).select(_by_zone(frame.filter(left), "null").alias("time")).to_series()
    return time.scatter(left.arg_true(), alone)


def _in_utc(local: pl.Series, name: str) -> pl.Series:
    return local.dt.replace_time_zone(name, ambiguous="null", non_existent="null").dt.convert_time_zone("UTC")


def _odd_times(every: pl.DataFrame, odd: pl.DataFrame) -> pl.DataFrame:
    """Settle the times that happened twice or never: `_at`, `_time` and `_clock` (what there is to say, or null)."""
    read = odd.with_columns(_by_zone(odd, "earliest").alias("_early"), _by_zone(odd, "latest").alias("_late"))
    gaps = read.filter(pl.col("_early").is_null()).select("local", "zone").unique()
    moved = gaps.with_columns(
        pl.Series("_moved", [past_gap(local, name) for local, name in gaps.iter_rows()], dtype=TIME)
    )
    read = read.join(moved, on=["local", "zone"], how="left", maintain_order="left")
    second = pl.col("_second") if {"file", "row", "machine"} <= set(every.columns) else pl.lit(None, pl.Boolean)
    read = (
        read.join(_passes(every, read), on="_at", how="left", maintain_order="left")
        if "file" in every.columns
        else read
    )
    time = pl.when(second.fill_null(False)).then("_late").otherwise(pl.coalesce("_early", "_moved"))
    clock = (
        pl.when(pl.col("_moved").is_not_null())
        .then(pl.lit("nonexistent-time"))
        .when(second.is_null())
        .then(pl.lit("ambiguous-time"))
    )
    return read.select("_at", time.alias("_time"), clock.alias("_clock"))


def _passes(every: pl.DataFrame, twice: pl.DataFrame) -> pl.DataFrame:
    """For times that happened twice: whether the clock ran through the hour for the second time (`_second`, null: not
    told).

    A log is read in the order of its rows, forward or backward. Where a file runs through time without a step back but
    in that hour, its rows are taken as one; else, and where it has one machine below the other, each machine's rows by
    themselves. The hour is told apart where the
    clock jumps back in it exactly once.
    """
    folded = twice.filter(pl.col("_early").is_not_null()).select("_at", pl.lit(True).alias("fold"))
    files = every.filter(pl.col("file").is_in(twice["file"].unique().to_list()) & pl.col("local").is_not_null())
    rows = (
        files.select("_at", "file", "row", "machine", "zone", "local")
        .join(folded, on="_at", how="left")
        .with_columns(pl.col("fold").fill_null(False))
    )
    whole = _jumps(rows.with_columns(pl.lit("").alias("group")))
    alone = _jumps(rows.with_columns(pl.col("machine").fill_null("").alias("group")))
    turns = (pl.col("machine").fill_null("") != pl.col("machine").fill_null("").shift(1)).sum()
    by_file = rows.sort("file", "row").group_by("file").agg(pl.col("machine").n_unique().alias("machines"), turns)
    stacked = by_file.filter((pl.col("machines") > 1) & (pl.col("machine") == pl.col("machines") - 1))
    whole = whole.join(rows.select("_at", "file"), on="_at").with_columns(
        pl.when(~pl.col("file").is_in(stacked["file"].to_list())).then("_second").alias("_second")
    )
    both = whole.join(alone, on="_at", suffix="_alone")
    return both.select("_at", pl.coalesce("_second", "_second_alone").alias("_second"))


def _jumps(rows: pl.DataFrame) -> pl.DataFrame:
    """`_at` and `_second` of the rows in a fold, each `group` of a file read as one log."""
    keys = ["file", "zone", "group"]
    stepped = rows.sort(*keys, "row").with_columns(pl.col("local").diff().over(keys).alias("step"))
    backward = (pl.col("step") < pl.duration()).sum() > (pl.col("step") > pl.duration()).sum()
    turned = stepped.with_columns(
        pl.when(backward.over(keys)).then(-pl.col("row")).otherwise("row").alias("order")
    ).sort(*keys, "order")
    back = (pl.col("local").diff().over(keys) < pl.duration()).fill_null(False)
    inside = pl.col("fold") & pl.col("fold").shift(1, fill_value=False).over(keys)
    marked = turned.with_columns(
        (back & inside).alias("jump"),
        (back & ~inside).any().over(keys).alias("disorder"),
        pl.col("local").dt.date().alias("night"),
    )
    nights = [*keys, "night"]
    counted = marked.filter("fold").with_columns(
        pl.col("jump").cum_sum().over(nights).alias("pass"), pl.col("jump").sum().over(nights).alias("jumps")
    )
    return counted.select(
        "_at", pl.when((pl.col("jumps") == 1) & ~pl.col("disorder")).then(pl.col("pass") == 1).alias("_second")
    )


def past_gap(local: datetime, name: str) -> datetime:
    """A local time inside a gap, read with the offset from before it (PEP 495, fold 0): that moves it on by the gap."""
    return local.replace(tzinfo=zone(name), fold=0).astimezone(UTC)
