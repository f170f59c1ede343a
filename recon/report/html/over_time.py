"""Sums by week, hour and weekday in each machine's own time, for all machines at once.

A week begins on Monday, 00:00 of the machine's zone (ISO 8601). Frames returned are sorted by their key columns.
"""

import polars as pl

from recon.balance.earnings import shown_vends as shown
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.words import DROPPED_OUTCOMES, PAID_TENDERS


def shown_vends(done: Reconciliation) -> Frame:
    """The vends that the run's summaries count: the columns needed here."""
    return shown(done).select("machine", "time", "tender", "outcome", "quantity", "paid_low", "stayed_paid")


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


def money_by_week(local_vends: Frame) -> Frame:
    """machine, week (Date), tender, money: what vends that stayed paid brought in, minor units; a price that is only
    known as a range counts at its low end, as in the summaries."""
    paid = local_vends.filter(pl.col("stayed_paid") & pl.col("tender").cast(pl.String).is_in(PAID_TENDERS))
    return (
        paid.group_by("machine", _week(), pl.col("tender").cast(pl.String))
        .agg((pl.col("paid_low") * pl.col("quantity")).sum().alias("money"))
        .sort("machine", "week", "tender")
    )


def vends_by_hour(local_vends: Frame) -> Frame:
    """machine, weekday (1 Monday to 7), hour (0 to 23), vends: units that dropped, test vends left out."""
    dropped = pl.col("outcome").cast(pl.String).is_in(DROPPED_OUTCOMES) & (pl.col("tender").cast(pl.String) != "test")
    return (
        local_vends.filter(dropped)
        .group_by(
            "machine",
            pl.col("local").dt.weekday().cast(pl.Int64).alias("weekday"),
            pl.col("local").dt.hour().cast(pl.Int64).alias("hour"),
        )
        .agg(pl.col("quantity").sum().alias("vends"))
        .sort("machine", "weekday", "hour")
    )


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
