"""What clocks show at many moments.

The offset from UTC is looked up once for each hour and zone. No zone changes its offset twice within an hour, so that
an hour that begins and ends with the same offset has it throughout; moments of any other hour are converted one by one.
"""

from collections.abc import Sequence

import polars as pl

from recon.model.frames import TIME

_HOUR, _DAY = 3_600_000_000, 86_400_000_000
"""Microseconds."""


def local_days(time: pl.Series, zone: str) -> pl.Series:
    """Return the day (Date) of each moment (UTC, never null) in `zone`."""
    return (local_micros(time, [zone]) // _DAY).cast(pl.Int32).cast(pl.Date)


def local_micros(time: pl.Series, zones: Sequence[str], number: pl.Series | None = None) -> pl.Series:
    """Return what the clock of its zone shows at each moment (UTC, never null), in microseconds since 1970 (Int64).

    zones: of machines by their numbers, from 0 on. number: of each moment's machine; None where there is one zone.
    """
    micros = time.cast(pl.Int64)
    hour = micros // _HOUR
    first, last = hour.min(), hour.max()
    if not isinstance(first, int) or not isinstance(last, int):
        return micros
    names = sorted(set(zones))
    if len(names) == 1 and last - first >= time.len():
        return _converted(time, names[0])
    starts = pl.int_range(first, last + 2, eager=True) * _HOUR
    offsets = [_converted(starts.cast(TIME), name) - starts for name in names]
    place = hour - first
    if len(names) > 1 and number is not None:
        of_machine = pl.Series([names.index(zone) * (last - first + 1) for zone in zones], dtype=pl.Int64)
        place = of_machine.gather(number) + place
    local = micros + pl.concat([offset.head(-1) for offset in offsets]).gather(place)
    changing = pl.concat([offset.head(-1) != offset.slice(1) for offset in offsets])
    if not changing.any():
        return local
    rows = changing.gather(place).arg_true()
    if len(names) == 1 or number is None:
        return local.scatter(rows, _converted(time.gather(rows), names[0]))
    for name in names:
        own = rows.filter(number.gather(rows).is_in([at for at, zone in enumerate(zones) if zone == name]))
        local = local.scatter(own, _converted(time.gather(own), name))
    return local


def _converted(time: pl.Series, zone: str) -> pl.Series:
    return time.dt.convert_time_zone(zone).dt.replace_time_zone(None).cast(pl.Int64)
