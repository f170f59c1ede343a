"""Exports whose times seem to be in another zone: their sales fall into hours in which the machines do not sell.

The hours of day of a file's vends are held against those of the same machines in all other files, by the Bhattacharyya
coefficient (the sum over the hours of the root of the product of both shares: 1 where they are alike, 0 where they
never meet). A zone is suspected where some other offset fits far better than none. Of two files that each fit the other
with an offset alone, the one that sells less by day is pointed out. Whatever the other files say, of which there may be
none or all in the same wrong zone, a file that sells through the night and hardly by day is pointed out as well.
"""

import math
from collections.abc import Mapping, Sequence

import polars as pl

from recon.match.asof import places
from recon.model.frames import TIME, Frame

FEWEST = 60
"""Vends in a file, and in the files it is held against, below which hours say too little."""
GAIN = 0.15
"""How much better than the times as they stand another offset must fit."""
FIT = 0.85
"""How well it must fit at least."""
NIGHT, DAY = range(6), range(8, 18)
HOURS = range(24)
AT = tuple(f"at_{hour:02}" for hour in HOURS)
"""The columns of vends by hour of day."""
_HOUR = 3_600_000_000
"""Microseconds."""


def suspect_zones(counted: Frame) -> Frame:
    """Files of vends whose times seem to be off by whole hours.

    counted: as from by_hour, of all machines. Returns file, vends, offset (hours to add,
    Int64), fit and fit_now (Float64: how well the hours fit with and without it), night (share of vends from 00:00 to
    06:00).
    """
    profiles = _profiles(counted.group_by("file").agg(pl.col(AT).sum()))
    everyone = _profiles(_of_same_machines(counted))
    judged = {
        file: found for file in sorted(profiles) if (found := _judge(profiles[file], everyone[file])) is not None
    }
    less = _less_by_day(profiles) if len(profiles) == len(judged) == 2 else None
    rows = [(file, *found) for file, found in judged.items() if less is None or file == less]
    shape = {
        "file": pl.Int32,
        "vends": pl.Int64,
        "offset": pl.Int64,
        "fit": pl.Float64,
        "fit_now": pl.Float64,
        "night": pl.Float64,
    }
    return pl.DataFrame(rows, schema=shape, orient="row")


def by_hour(vends: Frame, zones: Mapping[str, str], default: str) -> Frame:
    """Count the vends by file, machine and local hour of day: file, machine, and `AT` (Int64), a column an hour.

    vends: `file`, `machine` and `time` (UTC). zones: machine to zone; default: that of all others.

    Vends stand machine by machine: file, stretch of a machine and hour make one integer, by which they are counted.
    """
    if vends.height == 0:
        shape = {"file": pl.Int32, "machine": pl.String}
        return pl.DataFrame(schema={**shape, **dict.fromkeys(AT, pl.Int64)})
    stretch = vends["machine"].rle_id()
    machine = vends["machine"].gather(vends["machine"].rle().struct.field("len").cum_sum() - 1)
    local = _local_hours(vends["time"], stretch, [zones.get(name, default) for name in machine.to_list()])
    files = int(vends["file"].to_physical().max()) + 1  # type: ignore[arg-type]
    key = (stretch.cast(pl.Int64) * files + vends["file"]) * len(HOURS) + local
    counted = key.alias("key").to_frame().group_by("key").len("len")
    pairs = (counted["key"] // len(HOURS)).unique().sort()
    cell = places(pairs, counted["key"] // len(HOURS)) * len(HOURS) + counted["key"] % len(HOURS)
    none = pl.Series("cells", [0], dtype=pl.Int64).new_from_index(0, pairs.len() * len(HOURS))
    cells = none.scatter(cell, counted["len"].cast(pl.Int64))
    each = {"file": (pairs % files).cast(pl.Int32), "machine": machine.gather(pairs // files)}
    by = {name: cells.gather_every(len(HOURS), hour) for hour, name in zip(HOURS, AT, strict=True)}
    whole = pl.DataFrame(each | by)
    if machine.n_unique() == machine.len():
        return whole
    return whole.group_by("file", "machine").agg(pl.col(AT).sum())


def _local_hours(time: pl.Series, stretch: pl.Series, zones: Sequence[str]) -> pl.Series:
    """Hours of day of moments (UTC) by the clock of their stretch. zones: of each stretch."""
    hour = time.to_physical() // _HOUR
    names = sorted(set(zones))
    first, last = hour.min(), hour.max()
    assert isinstance(first, int)
    assert isinstance(last, int)
    starts = (pl.int_range(first, last + 1, eager=True) * _HOUR).cast(TIME)
    clocks = pl.concat([starts.dt.convert_time_zone(name).dt.hour() for name in names])
    place = pl.Series([names.index(name) * starts.len() for name in zones], dtype=pl.Int64)
    return clocks.gather(place.gather(stretch) + hour - first)


def _of_same_machines(counted: Frame) -> Frame:
    """For each file the vends of its machines in all files, its own among them, by hour: file, and `AT`."""
    totals = counted.lazy().group_by("machine").agg(pl.col(AT).sum())
    pairs = counted.lazy().select("file", "machine").unique()
    # Summed up as they come, all files with all their machines are never at hand together.
    return pairs.join(totals, on="machine").group_by("file").agg(pl.col(AT).sum()).collect()


def _profiles(counted: Frame) -> dict[int, list[int]]:
    """Vends by the hour of day, for each file. counted: file and `AT`, one row a file."""
    return {file: list(hours) for file, *hours in counted.select("file", *AT).iter_rows()}


def _less_by_day(profiles: Mapping[int, Sequence[int]]) -> int | None:
    """Of two files the one of which fewer vends fall into the day; None where both sell about as much by day."""
    by_day = {file: sum(mine[hour] for hour in DAY) / sum(mine) for file, mine in profiles.items()}
    low, high = sorted(by_day, key=lambda file: by_day[file])
    return low if by_day[high] - by_day[low] >= GAIN else None


def _judge(mine: Sequence[int], every: Sequence[int]) -> tuple[int, int, float, float, float] | None:
    """every: the hours of the same machines in all files, this one among them."""
    count = sum(mine)
    if count < FEWEST:
        return None
    others = [total - part for total, part in zip(every, mine, strict=True)]
    night = sum(mine[hour] for hour in NIGHT) / count
    if sum(others) < FEWEST or _fits_as_it_is(mine, others):
        return _alone(mine, count, night)
    fits = {offset: likeness(moved(mine, offset), others) for offset in range(-12, 13)}
    best = max(fits, key=lambda offset: (round(fits[offset], 9), -abs(offset)))
    if best == 0 or fits[best] < FIT or fits[best] - fits[0] < GAIN:
        # The others may be in the same wrong zone.
        return _alone(mine, count, night)
    return count, best, fits[best], fits[0], night


def _fits_as_it_is(mine: Sequence[int], others: Sequence[int]) -> bool:
    """Whether the likeness without an offset leaves no room for a better one, as in nearly every file: it is 1 at most.
    """
    return likeness(mine, others) > 1 - GAIN + 1e-9


def _alone(mine: Sequence[int], count: int, night: float) -> tuple[int, int, float, float, float] | None:
    """Where the comparison tells nothing: sales through the night, hardly any by day, and an offset that mends it."""
    day = sum(mine[hour] for hour in DAY) / count
    if night < 0.6 or day > 0.1:
        return None
    by_day = {offset: sum(moved(mine, offset)[hour] for hour in DAY) / count for offset in range(-12, 13)}
    best = max(by_day, key=lambda offset: (by_day[offset], -abs(offset)))
    return count, best, by_day[best], day, night


def moved(profile: Sequence[int], offset: int) -> list[int]:
    """The profile with every vend `offset` hours later."""
    return [profile[(hour - offset) % 24] for hour in HOURS]


def likeness(one: Sequence[int], other: Sequence[int]) -> float:
    """The Bhattacharyya coefficient of two profiles, 0 to 1."""
    scale = math.sqrt(sum(one) * sum(other))
    return sum(math.sqrt(a * b) for a, b in zip(one, other, strict=True)) / scale if scale else 0.0
