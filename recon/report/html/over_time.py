"""Sums by week, hour and weekday in each machine's own time, for all machines at once.

A week begins on Monday, 00:00 of the machine's zone (ISO 8601). Frames returned are sorted by their key columns.
"""

import polars as pl

from recon.balance.earnings import shown_vends as shown
from recon.model.frames import TENDER, Frame
from recon.model.reconciliation import Reconciliation
from recon.model.words import DROPPED_OUTCOMES, PAID_TENDERS

_HOUR = 3_600_000_000
_WEEK = 7 * 24
_BEFORE_MONDAY = 3 * 24
"""Hours from the Monday before 1 January 1970, a Thursday, to that day."""


def sold_over_time(done: Reconciliation) -> tuple[Frame, Frame]:
    """Of the vends that the run's summaries count: `money_by_week` and `vends_by_hour`.

    money_by_week: machine, week (Date), tender, money: what vends that stayed paid brought in, minor units; a price
    that is only known as a range counts at its low end, as in the summaries. vends_by_hour: machine, weekday (1 Monday
    to 7), hour (0 to 23), vends: units that dropped, test vends left out.
    """
    names, vends = _by_number(done)
    money, hours = _money_by_week(vends), _vends_by_hour(vends)
    return (
        money.join(names, on="number", how="left").sort("machine", "week", "tender"),
        hours.join(names, on="number", how="left").sort("machine", "weekday", "hour"),
    )


def _by_number(done: Reconciliation) -> tuple[Frame, Frame]:
    """Machines by a number, for numbers are grouped far quicker than names, and the vends with it: number, machine; and
    number, hour (of the machine's wall clock, since the Monday before 1970), and what is summed up."""
    every = shown(done).select("machine", "time", "tender", "outcome", "quantity", "paid_low", "stayed_paid")
    runs = every.select(pl.col("machine").rle()).unnest("machine").rename({"value": "machine"})
    # The frame is sorted by machine: each is one run of rows, and rows of one zone are taken as slices.
    by_zone: dict[str, list[Frame]] = {}
    at = 0
    for number, (length, machine) in enumerate(runs.iter_rows()):
        part = every.slice(at, length).with_columns(pl.lit(number, pl.Int64).alias("number"))
        by_zone.setdefault(done.zones.get(machine, done.zone), []).append(part.drop("machine"))
        at += length
    parts = [_in_hours(pl.concat(parts), zone) for zone, parts in by_zone.items()]
    names = runs.select(pl.int_range(pl.len(), dtype=pl.Int64).alias("number"), "machine")
    return names, pl.concat(parts) if parts else _in_hours(every.with_columns(number=pl.lit(0, pl.Int64)), done.zone)


def _in_hours(vends: Frame, zone: str) -> Frame:
    local = pl.col("time").dt.convert_time_zone(zone).dt.replace_time_zone(None)
    hour = local.dt.epoch("us") // _HOUR + _BEFORE_MONDAY
    return vends.select("number", hour.alias("hour"), "tender", "outcome", "quantity", "paid_low", "stayed_paid")


_TENDERS = 16
"""More than there are."""


def _money_by_week(vends: Frame) -> Frame:
    paid = vends.filter(pl.col("stayed_paid") & pl.col("tender").is_in(PAID_TENDERS))
    weeks = 1 << 20
    key = (pl.col("number") * weeks + pl.col("hour") // _WEEK) * _TENDERS + pl.col("tender").to_physical()
    sums = paid.group_by(key.alias("key")).agg((pl.col("paid_low") * pl.col("quantity")).sum().alias("money"))
    week = pl.col("key") // _TENDERS % weeks * 7 - _BEFORE_MONDAY // 24
    words = dict(enumerate(TENDER.categories.to_list()))
    tender = (pl.col("key") % _TENDERS).replace_strict(words, default=None, return_dtype=pl.String)
    return sums.select(
        (pl.col("key") // (_TENDERS * weeks)).alias("number"),
        week.cast(pl.Int32).cast(pl.Date).alias("week"),
        tender.alias("tender"),
        "money",
    )


def _vends_by_hour(vends: Frame) -> Frame:
    dropped = pl.col("outcome").is_in(DROPPED_OUTCOMES) & (pl.col("tender") != "test")
    key = pl.col("number") * _WEEK + pl.col("hour") % _WEEK
    sums = vends.filter(dropped).group_by(key.alias("key")).agg(pl.col("quantity").sum().alias("vends"))
    return sums.select(
        (pl.col("key") // _WEEK).alias("number"),
        (pl.col("key") % _WEEK // 24 + 1).alias("weekday"),
        (pl.col("key") % 24).alias("hour"),
        "vends",
    )


def in_own_time(frame: Frame, column: str, done: Reconciliation) -> Frame:
    """Add `local`: `column` (UTC) as the machine's wall clock, without a zone. Row order is not kept.

    Polars takes one zone an expression: the rows are split by zone.
    """
    zones = dict(done.zones)
    own = (
        pl.col("machine").replace_strict(zones, default=done.zone, return_dtype=pl.String)
        if zones
        else pl.lit(done.zone)
    )
    parts = frame.with_columns(own.alias("_zone")).partition_by("_zone", as_dict=True, include_key=False)
    here = [
        part.with_columns(pl.col(column).dt.convert_time_zone(str(key[0])).dt.replace_time_zone(None).alias("local"))
        for key, part in parts.items()
    ]
    return pl.concat(here) if here else frame.with_columns(pl.col(column).dt.replace_time_zone(None).alias("local"))


def _week() -> pl.Expr:
    return pl.col("local").dt.truncate("1w").dt.date().alias("week")


def variance_by_week(stock: Frame, done: Reconciliation) -> Frame:
    """machine, week (of the closing count), windows, short, over (units; short is negative), short_retail and
    over_retail (minor units). A short is never netted against an over."""
    variance, retail = pl.col("variance"), pl.col("retail_value").fill_null(0)
    return (
        in_own_time(stock.select("machine", "closed_at", "variance", "retail_value"), "closed_at", done)
        .group_by("machine", _week())
        .agg(
            pl.len().cast(pl.Int64).alias("windows"),
            variance.filter(variance < 0).sum().alias("short"),
            variance.filter(variance > 0).sum().alias("over"),
            retail.filter(variance < 0).sum().alias("short_retail"),
            retail.filter(variance > 0).sum().alias("over_retail"),
        )
        .sort("machine", "week")
    )


def slots_as_they_stand(done: Reconciliation) -> Frame:
    """The state of every slot in force at `until`, in the order of the layout, with what its shown windows came to:
    windows, short and over (units outside what vends near a count explain), near (units that those explain), last
    counted and when."""
    states = done.frames["states"]
    standing = states.filter(
        (pl.col("starts") <= done.until) & (pl.col("ends").is_null() | (pl.col("ends") > done.until))
    )
    variance = pl.col("variance")
    firmly_short, firmly_over = pl.col("variance_high") < 0, pl.col("variance_low") > 0
    came_to = (
        done.frames["stock"]
        .sort("slot", "closed_at")
        .group_by("slot", maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias("windows"),
            variance.filter((variance < 0) & firmly_short).sum().alias("short"),
            variance.filter((variance > 0) & firmly_over).sum().alias("over"),
            (variance.filter((variance != 0) & ~firmly_short & ~firmly_over)).sum().alias("near"),
            ((variance != 0) & ~firmly_short & ~firmly_over).any().alias("any_near"),
            pl.col("counted").last().alias("counted"),
            pl.col("closed_at").last().alias("counted_at"),
        )
    )
    return standing.join(came_to, on="slot", how="left").sort("slot", "starts")
