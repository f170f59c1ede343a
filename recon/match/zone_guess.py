"""The zone of an export that does not name it: its hours of day held against those of the same machines in
other files.

The likeness of two profiles is the Bhattacharyya coefficient (see recon.match.hours). Without enough to
compare with, the machine's own zone is assumed, unless that would have the machines sell by night alone.
"""

from collections.abc import Mapping

import polars as pl

from recon.intake.propose import Guess
from recon.match.hours import DAY, GAIN, HOURS, likeness

_FEWEST = 20
"""Vends in the file, and in the files it is held against, below which hours are not compared."""
_FEWEST_ALONE = 10
_NIGHT = range(5)


def guess_zone(local: pl.Series, zone: str, sold: pl.Series, *, candidates: tuple[str, ...] = ("UTC",)) -> Guess:
    """Which zone the naive times `local` of a sales log are in.

    zone: that of its machines, in which they are taken without a line. sold: UTC times of the same
    machines' vends in other files. candidates: other zones it may be. Returns the zone to name, or None to
    leave it out, with the reason.
    """
    profiles = {
        zone: _hours(local),
        **{other: _hours(_as_in(local, other, zone)) for other in candidates if other != zone},
    }
    mine = profiles[zone]
    if len({tuple(profile) for profile in profiles.values()}) == 1:
        return Guess(None, f"left out: {zone}, the machine's own")
    if sum(mine) >= _FEWEST and sold.len() >= _FEWEST:
        others = _hours(sold.dt.convert_time_zone(zone).dt.replace_time_zone(None))
        return _compared({name: likeness(profile, others) for name, profile in profiles.items()}, zone, sold.len())
    night, day = (sum(mine[hour] for hour in hours) for hours in (_NIGHT, DAY))
    if sum(mine) >= _FEWEST_ALONE and night >= 0.6 * sum(mine) and day == 0 and "UTC" in profiles:
        utc = profiles["UTC"]
        if sum(utc[hour] for hour in _NIGHT) < 0.2 * sum(utc):
            return Guess(
                "UTC",
                f"assumed: in {zone} {night} of {sum(mine)} vends would fall between 0 and 5 at night and none by day",
            )
    return Guess(
        None,
        f"left out: {zone}, the machine's own, is assumed (no other log to compare hours with); "
        'are the times UTC, write timezone = "UTC"',
    )


def _compared(fits: Mapping[str, float], zone: str, sold: int) -> Guess:
    best, second = sorted(fits, key=lambda name: (-round(fits[name], 9), name != zone, name))[:2]
    told = f"compared with the hours of {sold} vends of other files: "
    told += f"alike to {fits[best]:.0%} in {best}, to {fits[second]:.0%} in {second}"
    if fits[best] - fits[second] < GAIN:
        return Guess(None, f"left out: {zone}, the machine's own, is assumed; hours do not tell ({told})")
    return Guess(
        None if best == zone else best,
        f"left out: {zone}, the machine's own; {told}" if best == zone else told,
    )


def _as_in(local: pl.Series, name: str, zone: str) -> pl.Series:
    """Local times of the zone `name` as local times of `zone`; those that a clock change makes unclear are
    left out.
    """
    moments = local.dt.replace_time_zone(name, ambiguous="null", non_existent="null").drop_nulls()
    return moments.dt.convert_time_zone(zone).dt.replace_time_zone(None)


def _hours(local: pl.Series) -> list[int]:
    counts = dict(local.dt.hour().value_counts().iter_rows())
    return [int(counts.get(hour, 0)) for hour in HOURS]
