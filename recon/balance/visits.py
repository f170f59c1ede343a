"""When each machine is visited next: past visits, the days on which it was counted or loaded, tell how often."""

from datetime import datetime, time, timedelta
from math import ceil
from statistics import median
from typing import Any

import polars as pl

from recon.balance.selling import Selling
from recon.model.asked_frames import GAP
from recon.model.frames import TIME, Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import local_text
from recon.model.zones import zone

ASSUMED_DAYS = 7.0
"""Days between two visits where no machine of the route was visited on two days: nothing is known, a week is taken."""


def visits(done: Reconciliation, known: Selling, coming: datetime | None, until: datetime | None) -> Frame:
    """The visit to load for and the one after it, machine by machine.

    coming, until: as from the command line: local time without a zone (midnight: a day, at the time of day of the
    machine's last visit), or None. By default the next visit is the last one plus the median of the days between the
    machine's visits (of the route's where it has none), rounded up, and not before the moment of the run; the one after
    comes as much later. Returns machine, last_visit, gap_days, gap_basis, gaps, next_visit, until, log_end; by machine.
    """
    been = _been(done)
    days = _days(been, done)
    route = median(gap for gaps in days.values() for gap in gaps) if any(days.values()) else None
    lasts = dict(been.group_by("machine").agg(pl.col("time").max()).iter_rows())
    ends = dict(known.reach.select("machine", "log_end").iter_rows())
    rows = []
    for machine, zone_name in done.frames["machines"].select("machine", "zone").iter_rows():
        gaps = days.get(machine, [])
        gap = float(ceil(median(gaps) if gaps else route if route is not None else ASSUMED_DAYS))
        basis = "machine" if gaps else "route" if route is not None else "assumed"
        last = lasts.get(machine)
        due = done.now if last is None else max(done.now, last + timedelta(days=gap))
        first = _moment(coming, zone_name, last) or due
        second = _moment(until, zone_name, last)
        if second is not None:
            gap, basis = (second - first) / timedelta(days=1), "given"
        second = second or first + timedelta(days=gap)
        rows.append((machine, last, gap, basis, len(gaps), first, second, ends.get(machine)))
    schema: dict[str, Any] = {
        "machine": pl.String, "last_visit": TIME, "gap_days": pl.Float64, "gap_basis": GAP, "gaps": pl.Int64,
        "next_visit": TIME, "until": TIME, "log_end": TIME,
    }  # fmt: skip
    return pl.DataFrame(rows, schema=schema, orient="row")


def _been(done: Reconciliation) -> Frame:
    """When each machine was counted or loaded: machine, time."""
    counts = done.frames["counts"].filter(pl.col("counted").is_not_null())
    return pl.concat([frame.select("machine", "time") for frame in (counts, done.frames["loads"])]).unique()


def _days(been: Frame, done: Reconciliation) -> dict[str, list[float]]:
    """Days between the successive local days on which each machine was visited."""
    local = local_text(been, ["time"], done.zones, done.zone, "%Y-%m-%d").unique().sort("machine", "time")
    gaps = local.with_columns(
        pl.col("time").str.to_date("%Y-%m-%d").diff().over("machine").dt.total_days().cast(pl.Float64).alias("gap")
    ).drop_nulls("gap")
    return {
        str(machine): found for machine, found in gaps.group_by("machine", maintain_order=True).agg("gap").iter_rows()
    }


def _moment(asked: datetime | None, zone_name: str, last: datetime | None) -> datetime | None:
    """A local time of the command line as a moment; a bare day at the time of day of the last visit, else at noon."""
    if asked is None:
        return None
    here = zone(zone_name)
    if asked.time() == time():
        clock = last.astimezone(here).time() if last is not None else time(12)
        asked = datetime.combine(asked.date(), clock)
    return asked.replace(tzinfo=here)
