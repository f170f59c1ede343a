"""Sums by week, hour and weekday in each machine's own time, for all machines at once.

A week begins on Monday, 00:00 of the machine's zone (ISO 8601). Frames returned are sorted by their key columns.
"""

from collections.abc import Iterable, Sequence

import polars as pl

from recon.balance.earnings import shown_vends as shown
from recon.balance.local_times import local_micros
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.words import DROPPED_OUTCOMES, PAID_TENDERS

_HOUR = 3_600_000_000
"""Microseconds."""
_WEEK = 7 * 24
_BEFORE_MONDAY = 3 * 24
"""Hours from the Monday before 1 January 1970, a Thursday, to that day."""


def sold_over_time(done: Reconciliation) -> tuple[Frame, Frame]:
    """Sum up the vends that the run's summaries count: `money_by_week` and `vends_by_hour`.

    money_by_week: machine, week (Date), tender, money: what vends that stayed paid brought in, minor units; a price
    that is only known as a range counts at its low end, as in the summaries. vends_by_hour: machine, weekday (1 Monday
    to 7), hour (0 to 23), vends: units that dropped, test vends left out.
    """
    vends = shown(done).select("machine", "time", "tender", "outcome", "quantity", "paid_low", "stayed_paid")
    runs = vends.select(pl.col("machine").rle()).unnest("machine")
    machines = runs.select(pl.col("value").alias("machine"), pl.int_range(pl.len(), dtype=pl.Int64).alias("number"))
    zones = [done.zones.get(machine, done.zone) for machine in machines["machine"].to_list()]
    number = vends["machine"].rle_id().cast(pl.Int64).alias("number")
    hour = _local_hours(vends["time"], number, zones)
    money = _money_by_week(vends, number, hour // _WEEK)
    hours = _vends_by_hour(vends, number, hour % _WEEK)
    return (
        _named(money, machines, ("week", "tender", "money")).sort("machine", "week", "tender"),
        _named(hours, machines, ("weekday", "hour", "vends")).sort("machine", "weekday", "hour"),
    )


def _named(sums: Frame, machines: Frame, columns: Sequence[str]) -> Frame:
    return sums.join(machines, on="number").select("machine", *columns)


def _local_hours(time: pl.Series, number: pl.Series, zones: Sequence[str]) -> pl.Series:
    """Return the hour of each moment (UTC) by its machine's clock, counted from the Monday before 1970.

    number: of each moment's machine, from 0 on. zones: of the machines by number.
    """
    return local_micros(time, zones, number) // _HOUR + _BEFORE_MONDAY


def _money_by_week(vends: Frame, number: pl.Series, week: pl.Series) -> Frame:
    """number, week (Date), tender, money. Vends stand machine by machine and in order of time, so that those of a week
    follow each other: they are added up run by run."""
    key = (number * _WEEKS + week).alias("key")
    paid = pl.col("paid_low") * pl.col("quantity")
    sums = (
        vends.select(
            key.rle_id().set_sorted().alias("run"),
            key,
            *(
                pl.when(pl.col("stayed_paid") & (pl.col("tender") == tender)).then(paid).alias(tender)
                for tender in PAID_TENDERS
            ),
        )
        .group_by("run")
        .agg(pl.col("key").first(), *(pl.col(name).sum() for name in PAID_TENDERS), *_met(PAID_TENDERS))
    )
    # A clock put back over midnight brings a week back: such runs are added up.
    sums = sums.group_by("key").agg(pl.col(PAID_TENDERS).sum(), pl.col(f"any_{name}" for name in PAID_TENDERS).any())
    first = (pl.col("key") % _WEEKS * 7 - _BEFORE_MONDAY // 24).cast(pl.Int32).cast(pl.Date)
    parts = [
        sums.filter(f"any_{tender}").select(
            pl.col("key") // _WEEKS, first.alias("week"), pl.lit(tender).alias("tender"), pl.col(tender).alias("money")
        )
        for tender in PAID_TENDERS
    ]
    return pl.concat(parts).rename({"key": "number"})


_WEEKS = 1 << 20
"""More weeks than there are in any log."""


def _met(names: Iterable[str]) -> list[pl.Expr]:
    """Whether a column has any figure."""
    return [pl.col(name).is_not_null().any().alias(f"any_{name}") for name in names]


def _vends_by_hour(vends: Frame, number: pl.Series, hour: pl.Series) -> Frame:
    """number, weekday, hour, vends. hour: of the week, from 0 on."""
    dropped = pl.col("outcome").is_in(DROPPED_OUTCOMES) & (pl.col("tender") != "test")
    key = (number * _WEEK + hour).alias("key")
    sums = vends.select(key, pl.col("quantity").alias("vends"), dropped.alias("dropped")).filter("dropped")
    sums = sums.group_by("key").agg(pl.col("vends").sum())
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
