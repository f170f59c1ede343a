"""Payouts: the card money that came against the card vends logged.

A payout covers the card vends from the start of its first day to the end of its last, days in the route's zone. Fees
are a percentage of each vend and an amount for each; the monthly fee may stand in any payout, so it is shown beside.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import polars as pl

from recon.balance.local_times import local_days
from recon.match.sequence import runs_of
from recon.match.states import Layouts
from recon.model.border import guard, ordered
from recon.model.frames import PAYOUT_CHECKS, PAYOUTS, TIME, Frame
from recon.model.money import round_minor
from recon.model.settings import Cards

_DAYS = 2**32
"""What a machine takes of an integer that stands for machine and day: as many before 1970 as after it."""


@dataclass(frozen=True, slots=True)
class CardDays:
    """Days on which cards were used. covered: a row a payout, machine and day that it covers (file, row, machine, day,
    vends, low, high, ...). unpaid: machine and day with card vends that no payout covers though later days are paid out
    (machine, day, stretch, vends, low, first_time, last_time).
    """

    covered: Frame
    unpaid: Frame


@dataclass(frozen=True, slots=True)
class CardMoney:
    """checks: the frame `payout_checks`. overlaps: pairs of payouts that cover card vends of the same machine and day,
    what _overlaps returns.
    """

    checks: Frame
    overlaps: Frame


def fee(gross: int, vends: int, cards: Cards, digits: int) -> int:
    """Percent and per-vend fees on `gross` minor units from `vends` vends, rounded once, half to even."""
    return round_minor(Decimal(gross) * cards.percent / 100 + cards.per_vend.scaleb(digits) * vends)


def midnight(day: pl.Expr, zone: str) -> pl.Expr:
    """The first moment of a day (Date) in `zone`, UTC.

    Some zones change their clocks at midnight: one that does not exist is the first moment behind the gap, one that
    happens twice the earlier.
    """
    local = day.cast(pl.Datetime("us"))

    def here(moment: pl.Expr) -> pl.Expr:
        placed = moment.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
        return placed.dt.convert_time_zone("UTC")

    # A gap begins at its midnight by the clocks of the day before.
    moved = here(local - pl.duration(days=1)) + pl.duration(hours=24)
    return pl.coalesce(here(local), moved).cast(TIME)


def card_days(payouts: Frame, priced: Frame, layouts: Layouts, *, zone: str, currency: str) -> CardDays:
    """Find for the card vends of some machines the payouts that cover them. zone, currency: of the route."""
    alike = layouts.machines.select("machine", (pl.col("currency") != currency).alias("foreign"))
    days = _days(priced, zone).join(alike, on="machine", how="left", maintain_order="left")
    days = days.with_columns(pl.col("foreign").fill_null(False))
    covered = _covered_days(payouts, days)
    return CardDays(covered, _unpaid(days, payouts, covered))


def paid_by_card(priced: Frame, zone: str) -> Frame:
    """The card vends that stayed paid, each with its day in `zone` (`day`)."""
    return priced.filter((pl.col("tender") == "card") & pl.col("stayed_paid")).with_columns(_day(zone))


def _day(zone: str) -> pl.Expr:
    return pl.col("time").dt.convert_time_zone(zone).dt.date().alias("day")


def card_money(
    payouts: Frame, covered: Frame, layouts: Layouts, cards: Cards, *, zone: str, currency: str, digits: int
) -> CardMoney:
    """Set every payout beside the card vends that it covers. covered: what card_days returns, of all machines. layouts:
    all.
    zone, currency, digits: of the route.

    A payout that names no machine is for all whose layout names no other currency: yen and cents are never added up.
    One that names a machine is in that machine's currency.
    """
    # Some statements write fees with a minus: the net tells that they were taken off, not added.
    signed = (pl.col("fees") < 0) & (pl.col("net") == pl.col("gross") + pl.col("fees"))
    payouts = payouts.with_columns(pl.when(signed).then(-pl.col("fees")).otherwise("fees").alias("fees"))
    sums = covered.group_by("file", "row").agg(
        pl.col("vends").sum(), pl.col("low").sum(), pl.col("high").sum(), pl.col("machine").n_unique().alias("machines")
    )
    joined = payouts.join(sums, on=["file", "row"], how="left", maintain_order="left")
    dated = pl.col("from").is_not_null() & pl.col("to").is_not_null()
    joined = joined.with_columns(
        pl.when(dated).then(pl.col(name).fill_null(0)).alias(name) for name in ("vends", "low", "high", "machines")
    )
    for_all = int((layouts.machines["currency"] == currency).sum())
    checks = _checked(joined, cards, layouts.digits, for_all, zone, digits)
    checks = guard(checks, PAYOUT_CHECKS)
    return CardMoney(checks, _overlaps(checks, covered, zone))


def _days(priced: Frame, zone: str) -> Frame:
    """Add up the card vends that stayed paid, by machine and local day of the route; sorted by both.

    priced: machine by machine, in the order of their times: a day of a machine is one stretch of them.
    """
    vends = priced.select("machine", "time", "tender", "stayed_paid", "quantity", "paid_low", "paid_high")
    paid = vends.filter((pl.col("tender") == "card") & pl.col("stayed_paid"))
    runs, machines = runs_of(paid["machine"])
    day = local_days(paid["time"], zone).cast(pl.Int64) + _DAYS // 2
    stretches, keys = runs_of(runs.cast(pl.Int64) * _DAYS + day)
    sums = paid.with_columns(stretches.alias("stretch")).group_by("stretch").agg(
        pl.col("quantity").sum().alias("vends"),
        (pl.col("paid_low") * pl.col("quantity")).sum().alias("low"),
        (pl.col("paid_high") * pl.col("quantity")).sum().alias("high"),
        pl.col("time").min().alias("first_time"),
        pl.col("time").max().alias("last_time"),
    )
    day = (keys % _DAYS - _DAYS // 2).cast(pl.Int32).cast(pl.Date)
    sums = sums.sort("stretch").drop("stretch")
    sums = sums.insert_column(0, machines.gather(keys // _DAYS)).insert_column(1, day.alias("day"))
    if keys.n_unique() < keys.len():
        # Clocks set back across midnight part a day in two.
        amounts = pl.col("vends", "low", "high").sum()
        sums = sums.group_by("machine", "day").agg(amounts, pl.col("first_time").min(), pl.col("last_time").max())
    return ordered(sums, ("machine", "day"))


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
    every = spread.filter(pl.col("machine").is_null()).drop("machine").join(
        days.filter(~pl.col("foreign")), on="day", how="inner"
    )
    return pl.concat([one, every.select(one.columns)])


def _checked(
    joined: Frame, cards: Cards, digits_of: Mapping[str, int], for_all: int, zone: str, default_digits: int
) -> Frame:
    """for_all: how many machines a payout is for that names none."""
    digits = [digits_of.get(machine, default_digits) for machine in joined["machine"].to_list()]
    fees = [
        None if low is None else fee(low, vends, cards, own)
        for (low, vends), own in zip(joined.select("low", "vends").iter_rows(), digits, strict=True)
    ]
    on_gross = [
        None if gross is None else fee(gross, vends or 0, cards, own)
        for (gross, vends), own in zip(joined.select("gross", "vends").iter_rows(), digits, strict=True)
    ]
    # Monthly fees are kept exact until here: one a machine that the payout speaks for, all of them where it names none.
    each = pl.Series("each", [round_minor(cards.monthly.scaleb(own)) for own in digits], dtype=pl.Int64)
    machines = (
        pl.when(pl.col("machine").is_not_null())
        .then(1)
        .otherwise(pl.max_horizontal(pl.col("machines").fill_null(0), pl.lit(for_all)))
    )

    out = joined.with_columns(
        pl.Series("fees_expected", fees, dtype=pl.Int64),
        pl.Series("fees_on_gross", on_gross, dtype=pl.Int64),
        midnight(pl.col("from"), zone).alias("starts"),
        midnight(pl.col("to") + pl.duration(days=1), zone).alias("ends"),
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
        pl.max_horizontal("own_last", pl.when(~pl.col("foreign")).then(pl.lit(for_all, pl.Date))).alias("last")
    )
    done = covered.select("machine", "day").unique().with_columns(pl.lit(True).alias("done"))
    known = bounded.join(done, on=["machine", "day"], how="left").with_columns(pl.col("done").fill_null(False))
    unpaid = ~pl.col("done") & (pl.col("day") <= pl.col("last"))
    if not known.select(unpaid.any()).item():
        return known.clear().with_columns(pl.lit(0, pl.UInt32).alias("stretch"))
    # Days without any card vend do not part a stretch: only a day that a payout covers does.
    stretches = known.sort("machine", "day").with_columns(pl.col("done").cum_sum().over("machine").alias("stretch"))
    return stretches.filter(unpaid)


PAYOUT_KEY = ("paid_on", "from", "to", "machine", "reference")
"""What a payout is known by, where two are told apart or put in order."""


def _overlap_shape() -> dict[str, Any]:
    names = ("file", "row", *PAYOUT_KEY)
    own = {f"{which}_{name}": PAYOUTS.schema[name] for which in ("first", "second") for name in names}
    sums = dict.fromkeys(("vends", "low", "high"), pl.Int64)
    days, moments = dict.fromkeys(("first_day", "last_day"), pl.Date), dict.fromkeys(("opened_at", "closed_at"), TIME)
    return {**sums, **own, "machine": pl.String, **days, **moments}


def _overlaps(checks: Frame, covered: Frame, zone: str) -> Frame:
    """Pairs of payouts that cover the same card vends: each counts them in full, so that one of the two must be off.

    Returns one row a pair: for the one first by PAYOUT_KEY (file and row decide among equals) `first_file`, `first_row`
    and `first_` before each name of PAYOUT_KEY, the same with `second_` for the other; machine (the one that both speak
    of; null where both are for all), first_day, last_day (of the days shared, with card vends or not), opened_at,
    closed_at (the moments at which these begin and end), vends, low, high (minor units).
    """
    # Few days are paid for twice: only they are paired.
    twice = covered.filter(covered.select("machine", "day").hash_rows().is_duplicated())
    if twice.height == 0:
        return pl.DataFrame(schema=_overlap_shape())
    numbered = checks.sort(*PAYOUT_KEY, "file", "row").select("file", "row", *PAYOUT_KEY).with_row_index("at")
    placed = twice.join(numbered.select("file", "row", "at"), on=["file", "row"])
    both = placed.join(placed.select("machine", "day", pl.col("at").alias("other")), on=["machine", "day"])
    both = both.filter(pl.col("at") < pl.col("other"))
    pairs = both.group_by("at", "other").agg(pl.col("vends", "low", "high").sum())
    first, second = (
        numbered.select(pl.col(name).alias(f"{which}_{name}") for name in numbered.columns)
        for which in ("first", "second")
    )
    told = pairs.join(first, left_on="at", right_on="first_at").join(second, left_on="other", right_on="second_at")
    told = told.sort("at", "other").drop("at", "other").with_columns(
        pl.coalesce("first_machine", "second_machine").alias("machine"),
        pl.max_horizontal("first_from", "second_from").alias("first_day"),
        pl.min_horizontal("first_to", "second_to").alias("last_day"),
    )
    return told.with_columns(
        midnight(pl.col("first_day"), zone).alias("opened_at"),
        midnight(pl.col("last_day") + pl.duration(days=1), zone).alias("closed_at"),
    )
