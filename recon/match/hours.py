"""Exports whose times seem to be in another zone: their sales fall into hours in which the machines do not sell.

The hours of day of a file's vends are held against those of the same machines in all other files, by the Bhattacharyya
coefficient (the sum over the hours of the root of the product of both shares: 1 where they are alike, 0 where they
never meet). A zone is suspected where some other offset fits far better than none. Of two files that each fit the other
with an offset alone, the one that sells less by day is pointed out. Whatever the other files say, of which there may be
none or all in the same wrong zone, a file that sells through the night and hardly by day is pointed out as well.
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import polars as pl

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
OF_MACHINES = tuple(f"of_machines_{name}" for name in AT)
"""The same of the vends of all machines of a file."""
_HOUR = 3_600_000_000
"""Microseconds."""
_AT_ONCE = 1 << 17
"""Vends that are counted at a time."""


def suspect_zones(counted: Frame) -> Frame:
    """Files of vends whose times seem to be off by whole hours.

    counted: what by_hour returns, of all machines. Returns file, vends, offset (hours to add,
    Int64), fit and fit_now (Float64: how well the hours fit with and without it), night (share of vends from 00:00 to
    06:00).
    """
    profiles, everyone = _profiles(counted)
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
    """Count the vends of each file by local hour of day, and those of its machines in all files.

    vends: `file`, `machine` and `time` (UTC), in any order; all vends of each machine. zones: machine to zone; default:
    that of all others. Returns file; `AT`, its vends, a column an hour; `OF_MACHINES`, the vends of all its machines,
    its own among them (Int64). What it returns of some machines and of others can be added up.
    """
    if vends.height == 0:
        return pl.DataFrame(schema={"file": pl.Int32, **dict.fromkeys((*AT, *OF_MACHINES), pl.Int64)})
    files = int(vends["file"].max()) + 1  # type: ignore[arg-type]
    names = sorted({default, *zones.values()})
    machines, counted = _counted(vends, files, _Clocks.of(vends["time"], names), zones, default)
    pair, hour = counted["key"] // len(HOURS), counted["key"] % len(HOURS)
    file, machine = pair % files, pair // files
    mine = _table(file, hour, counted["len"], files, AT)
    of_machine = _table(machine, hour, counted["len"], machines, OF_MACHINES)
    pairs = pair.unique().alias("pair").to_frame().lazy()
    pairs = pairs.select(file=pl.col("pair") % files, machine=pl.col("pair") // files)
    # Summed up as they come, all files with all their machines are never at hand together.
    every = pairs.join(of_machine.with_row_index("machine").lazy().cast({"machine": pl.Int64}), on="machine")
    summed = every.group_by("file").agg(pl.col(OF_MACHINES).sum()).collect()
    of_file = mine[summed["file"]]
    return pl.DataFrame([summed["file"].cast(pl.Int32), *of_file.get_columns(), *summed.get_columns()[1:]])


def _table(row: pl.Series, hour: pl.Series, count: pl.Series, rows: int, names: Sequence[str]) -> Frame:
    """Return counts by row and hour: one row for each number from 0 on, one column an hour, by these names."""
    cell = pl.DataFrame({"cell": row * len(HOURS) + hour, "count": count})
    summed = cell.group_by("cell").agg(pl.col("count").sum().cast(pl.Int64))
    none = pl.Series([0], dtype=pl.Int64).new_from_index(0, rows * len(HOURS))
    cells = none.scatter(summed["cell"], summed["count"])
    return cells.reshape((rows, len(HOURS))).arr.to_struct(names).struct.unnest()


class _Clocks(NamedTuple):
    """Local hours of day of all hours from the first to the last. length: how many of a zone. hours: those of one zone
    after those of another."""

    first: int
    length: int
    hours: pl.Series
    zones: Sequence[str]

    @staticmethod
    def of(time: pl.Series, zones: Sequence[str]) -> "_Clocks":
        moments = time.to_physical()
        first, last = int(moments.min()) // _HOUR, int(moments.max()) // _HOUR  # type: ignore[arg-type]
        starts = (pl.int_range(first, last + 1, eager=True) * _HOUR).cast(TIME)
        hours = [starts.dt.convert_time_zone(name).dt.hour().cast(pl.Int64) for name in zones]
        return _Clocks(first, starts.len(), pl.concat(hours), zones)


def _counted(
    vends: Frame, files: int, clocks: _Clocks, zones: Mapping[str, str], default: str
) -> tuple[int, Frame]:
    """Return how many machines there are, and how many vends (`len`) each `key` of a machine, a file and an hour has;
    the same key may come several times.

    Vends mostly stand machine by machine. They are counted some at a time: what is made of them on the way stays in the
    processor's cache.
    """
    numbers: dict[str, int] = {}
    parts = []
    for rows in vends.iter_slices(_AT_ONCE):
        names = rows["machine"].rle().struct.field("value").to_list()
        stretch = rows["machine"].rle_id()
        hour = rows["time"].to_physical() // _HOUR
        starts = [clocks.zones.index(zones.get(name, default)) * clocks.length - clocks.first for name in names]
        hour = hour + (starts[0] if len(set(starts)) == 1 else pl.Series(starts, dtype=pl.Int64).gather(stretch))
        of_machine = [numbers.setdefault(name, len(numbers)) * files for name in names]
        pair = pl.Series(of_machine, dtype=pl.Int64).gather(stretch) + rows["file"]
        key = pair * len(HOURS) + clocks.hours.gather(hour)
        parts.append(key.alias("key").value_counts(name="len"))
    return len(numbers), pl.concat(parts)


def _profiles(counted: Frame) -> tuple[dict[int, list[int]], dict[int, list[int]]]:
    """By file its vends by the hour of day, and those of its machines. counted: what by_hour returns, of several
    parts."""
    summed = counted.group_by("file").agg(pl.col(*AT, *OF_MACHINES).sum())
    profiles = {file: list(hours) for file, *hours in summed.iter_rows()}
    return (
        {file: hours[: len(AT)] for file, hours in profiles.items()},
        {file: hours[len(AT) :] for file, hours in profiles.items()},
    )


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
