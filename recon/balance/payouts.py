"""Payouts: the card money that came against the card vends logged.

A payout covers the card vends from the start of its first day to the end of its last, days in the route's zone. Fees
are a percentage of each vend and an amount for each; the monthly fee may stand in any payout, so it is shown beside.
"""

from dataclasses import dataclass
from decimal import Decimal

import polars as pl

from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.frames import PAYOUT_CHECKS, TIME, Frame
from recon.model.money import round_minor
from recon.model.settings import Cards


@dataclass(frozen=True, slots=True)
class CardMoney:
    """checks: the frame `payout_checks`. unpaid: machine and day with card vends that no payout covers though later
    days are paid out (machine, day, stretch, vends, low, first_time, last_time). days: card vends by machine and day.
    """

    checks: Frame
    unpaid: Frame
    days: Frame


def fee(gross: int, vends: int, cards: Cards, digits: int) -> int:
    """Percent and per-vend fees on `gross` minor units from `vends` vends, rounded once, half to even."""
    return round_minor(Decimal(gross) * cards.percent / 100 + cards.per_vend.scaleb(digits) * vends)


def card_money(payouts: Frame, priced: Frame, layouts: Layouts, cards: Cards, *, zone: str, digits: int) -> CardMoney:
    """Set every payout beside the card vends that it covers. zone, digits: of the route, in which payouts are made."""
    days = _days(priced, zone)
    covered = _covered_days(payouts, days)
    sums = covered.group_by("file", "row").agg(
        pl.col("vends").sum(), pl.col("low").sum(), pl.col("high").sum(), pl.col("machine").n_unique().alias("machines")
    )
    joined = payouts.join(sums, on=["file", "row"], how="left", maintain_order="left")
    dated = pl.col("from").is_not_null() & pl.col("to").is_not_null()
    joined = joined.with_columns(
        pl.when(dated).then(pl.col(name).fill_null(0)).alias(name) for name in ("vends", "low", "high", "machines")
    )
    return CardMoney(
        guard(_checked(joined, cards, layouts, zone, digits), PAYOUT_CHECKS), _unpaid(days, payouts, covered), days
    )


def _days(priced: Frame, zone: str) -> Frame:
    """Card vends that stayed paid, by machine and local day of the route."""
    paid = priced.filter((pl.col("tender") == "card") & pl.col("stayed_paid"))
    return (
        paid.group_by("machine", pl.col("time").dt.convert_time_zone(zone).dt.date().alias("day"))
        .agg(
            pl.col("quantity").sum().alias("vends"),
            (pl.col("paid_low") * pl.col("quantity")).sum().alias("low"),
            (pl.col("paid_high") * pl.col("quantity")).sum().alias("high"),
            pl.col("time").min().alias("first_time"),
            pl.col("time").max().alias("last_time"),
        )
        .sort("machine", "day")
    )


def _covered_days(payouts: Frame, days: Frame) -> Frame:
    """One row a payout, machine and day that it covers and on which cards were used."""
    dated = payouts.filter(pl.col("from").is_not_null() & pl.col("to").is_not_null())
    # No statement covers more days than the log has; the clamp keeps a mistyped year from making millions of rows.
    first, last = days["day"].min(), days["day"].max()
    spread = (
        dated.select(
            "file",
            "row",
            "machine",
            pl.date_ranges(
                pl.max_horizontal("from", pl.lit(first, pl.Date)), pl.min_horizontal("to", pl.lit(last, pl.Date)), "1d"
            ).alias("day"),
        )
        .explode("day", empty_as_null=True, keep_nulls=True)
        .filter(pl.col("day").is_not_null())
    )
    one = spread.filter(pl.col("machine").is_not_null()).join(days, on=["machine", "day"], how="inner")
    every = spread.filter(pl.col("machine").is_null()).drop("machine").join(days, on="day", how="inner")
    return pl.concat([one, every.select(one.columns)])


def _checked(joined: Frame, cards: Cards, layouts: Layouts, zone: str, digits: int) -> Frame:
    fees = [
        None if low is None else fee(low, vends, cards, digits)
        for low, vends in joined.select("low", "vends").iter_rows()
    ]
    on_gross = [
        None if gross is None else fee(gross, vends or 0, cards, digits)
        for gross, vends in joined.select("gross", "vends").iter_rows()
    ]
    # Monthly fees are kept exact until here: one a machine that the payout speaks for, all of them where it names none.
    each = round_minor(cards.monthly.scaleb(digits))
    machines = (
        pl.when(pl.col("machine").is_not_null())
        .then(1)
        .otherwise(pl.max_horizontal(pl.col("machines").fill_null(0), pl.lit(layouts.machines.height)))
    )

    def midnight(day: str, days_on: int) -> pl.Expr:
        local = (pl.col(day) + pl.duration(days=days_on)).cast(pl.Datetime("us"))
        # Some zones change their clocks at midnight: a midnight in a gap is the first moment after it.
        return (
            pl.coalesce(
                local.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null"),
                (local + pl.duration(hours=1)).dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null"),
            )
            .dt.convert_time_zone("UTC")
            .cast(TIME)
        )

    out = joined.with_columns(
        pl.Series("fees_expected", fees, dtype=pl.Int64),
        pl.Series("fees_on_gross", on_gross, dtype=pl.Int64),
        midnight("from", 0).alias("starts"),
        midnight("to", 1).alias("ends"),
        pl.col("low").alias("gross_expected"),
        pl.col("high").alias("gross_high"),
        (machines * each).cast(pl.Int64).alias("monthly"),
    ).with_columns((pl.col("gross_expected") - pl.col("fees_expected")).alias("net_expected"))
    return out.with_columns((pl.col("net") - pl.col("net_expected")).alias("over_short")).select(PAYOUT_CHECKS.names)


def _unpaid(days: Frame, payouts: Frame, covered: Frame) -> Frame:
    """Days with card vends that no payout covers, up to the last day that a payout for that machine does; days with no
    covered day between them share their `stretch`.
    """
    lasts = (
        payouts.filter(pl.col("machine").is_not_null()).group_by("machine").agg(pl.col("to").max().alias("own_last"))
    )
    for_all = payouts.filter(pl.col("machine").is_null())["to"].max()
    bounded = days.join(lasts, on="machine", how="left").with_columns(
        pl.max_horizontal("own_last", pl.lit(for_all, pl.Date)).alias("last")
    )
    done = covered.select("machine", "day").unique().with_columns(pl.lit(True).alias("done"))
    known = bounded.join(done, on=["machine", "day"], how="left").with_columns(pl.col("done").fill_null(False))
    # Days without any card vend do not part a stretch: only a day that a payout covers does.
    stretches = known.sort("machine", "day").with_columns(pl.col("done").cum_sum().over("machine").alias("stretch"))
    return stretches.filter(~pl.col("done") & (pl.col("day") <= pl.col("last")))
