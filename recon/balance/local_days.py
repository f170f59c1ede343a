"""The local day of many moments."""

import polars as pl

from recon.model.frames import TIME

_HOUR, _DAY = 3_600_000_000, 86_400_000_000
"""Microseconds."""


def local_days(time: pl.Series, zone: str) -> pl.Series:
    """Return the day (Date) of each moment (UTC, never null) in `zone`.

    The offset from UTC is looked up once for each hour. No zone changes its offset twice within an hour, so that one
    that begins and ends with the same offset has it throughout; moments of any other hour are converted one by one.
    """
    micros = time.cast(pl.Int64)
    hour = micros // _HOUR
    first, last = hour.min(), hour.max()
    if not isinstance(first, int) or not isinstance(last, int) or last - first >= time.len():
        return _converted(time, zone)
    starts = pl.int_range(first, last + 2, eager=True) * _HOUR
    local = starts.cast(TIME).dt.convert_time_zone(zone).dt.replace_time_zone(None).cast(pl.Int64)
    offset = local - starts
    place = hour - first
    days = ((micros + offset.gather(place)) // _DAY).cast(pl.Int32).cast(pl.Date)
    changing = offset.slice(0, offset.len() - 1) != offset.slice(1)
    if not changing.any():
        return days
    rows = changing.gather(place).arg_true()
    return days.scatter(rows, _converted(time.gather(rows), zone))


def _converted(time: pl.Series, zone: str) -> pl.Series:
    return time.dt.convert_time_zone(zone).dt.date()
