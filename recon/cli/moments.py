"""Days and local times of the command line as moments."""

from datetime import datetime, timedelta
from pathlib import Path

import typer


def span_of(route: Path, since: str | None, until: str | None) -> tuple[datetime | None, datetime | None]:
    """`--since` and `--until` in the route's zone: from the start of a day, to the end of a day."""
    if since is None and until is None:
        return None, None
    from recon.model.zones import zone
    from recon.route.folder import read_route

    here = zone(read_route(route).settings.timezone)
    first = None if since is None else local_moment("--since", since).replace(tzinfo=here)
    last = None if until is None else local_moment("--until", until, end_of_day=True).replace(tzinfo=here)
    if first is not None and last is not None and first >= last:
        raise typer.BadParameter(f"--since {since} is not before --until {until}")
    return first, last


def local_moment(option: str, text: str, *, end_of_day: bool = False) -> datetime:
    """A day or a local time, without a zone. end_of_day: a bare day stands for the midnight after it."""
    from dateutil.parser import isoparse

    try:
        # A year or a month alone would read as its first day.
        if len(text) < len("20260901"):
            raise ValueError
        moment = isoparse(text)
    except (ValueError, OverflowError):
        raise typer.BadParameter(
            f'{option} "{text}" is neither a day (2026-09-01) nor a local time (2026-09-01T07:00)'
        ) from None
    if moment.tzinfo is not None:
        raise typer.BadParameter(f'{option} "{text}": give a local time of the route, without an offset')
    return moment + timedelta(days=1) if end_of_day and "T" not in text.upper() and " " not in text else moment
