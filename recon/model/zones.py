"""Time zones by their IANA names."""

from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones


@cache
def zone(name: str) -> ZoneInfo:
    """The zone of that IANA name. Raises KeyError (as zoneinfo does) where there is none."""
    return ZoneInfo(name)


@cache
def known_zone(name: str) -> bool:
    """Whether the IANA list has this name, spelled so."""
    try:
        zone(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def zone_names() -> list[str]:
    """Every IANA name known here, sorted: for the nearest name to a misspelled one."""
    return sorted(available_timezones())
