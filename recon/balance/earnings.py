"""Money per machine, slot and product: sales by tender, cost of goods, fees, shrink, margin.

A machine's figures are those of the frame `summaries`: each sum is rounded once, half to even. Its slots and products
share each of them so that they add up to it exactly: every share is the exact figure rounded down, and the minor units
still missing go, one each, to those with the largest rests (the method of largest remainders). No share is a whole
minor unit or more away from its exact figure.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import groupby
from math import lcm
from operator import itemgetter

import polars as pl

from recon.balance.payouts import fee
from recon.balance.rounding import COST_UNIT
from recon.balance.selling import log_reach
from recon.model.asked_frames import EARNINGS, MACHINE_EARNINGS
from recon.model.border import guard
from recon.model.frames import Frame
from recon.model.money import round_minor
from recon.model.reconciliation import Reconciliation

MONTH = timedelta(days=365.25) / 12
_KEYS = ("machine", "slot", "product")
_EXACT = ("vends", "units", "sales", "open_sales", "cash_sales", "card_sales", "prepaid_sales", "uncosted_units",
          "card_vends", "cost_parts", "card_cost_parts", "markup")  # fmt: skip
_SHRINK = ("shrink_units", "shrink_retail", "shrink_parts")
SUMS = tuple(column.name for column in EARNINGS.columns if column.name not in (*_KEYS, "label"))
"""The columns of `earnings` that may be added up."""


@dataclass(frozen=True, slots=True)
class Earnings:
    """parts, machines: the frames `earnings` and `machine_earnings`. by_card: what the payback check needs, by machine:
    cost of what was sold by card (`card_cost`) and what cards paid above the cash price (`markup`), minor units.
    """

    parts: Frame
    machines: Frame
    by_card: Frame


def earnings(done: Reconciliation, *, machines: Collection[str] = (), reach: Frame | None = None) -> Earnings:
    """Sum up the vends and stock windows that the run shows (its `since` and `until`), for these machines or for all.

    The machines' sales, fees, cost_of_goods, shrink and margin are those of `summaries`. reach: as from `log_reach` of
    all vends, where it is worked out already.
    """
    parts = _parts(done)
    if machines:
        parts = parts.filter(pl.col("machine").is_in(list(machines)))
    if parts.height == 0:
        every = parts.select(*_KEYS, "label", *_EXACT, *_SHRINK)
        return Earnings(EARNINGS.empty(), MACHINE_EARNINGS.empty(), _by_card(every))
    margin = pl.col("sales") - pl.col("fees") - pl.col("cost_of_goods") - pl.col("shrink_cost")
    every = _shared(parts, done).with_columns(margin.alias("margin"))
    return Earnings(
        guard(every.select(EARNINGS.names), EARNINGS),
        guard(_machines(every, done, reach).select(MACHINE_EARNINGS.names), MACHINE_EARNINGS),
        _by_card(every),
    )


def by_product(parts: Frame) -> Frame:
    """The rows of `earnings` added up by machine and product."""
    return parts.group_by("machine", "product").agg(pl.col(SUMS).sum()).sort("machine", "product")


def by_slot(parts: Frame) -> Frame:
    """The rows of `earnings` added up by slot; the one without a slot holds the vends of numbers that no slot has."""
    return parts.group_by("machine", "slot", "label").agg(pl.col(SUMS).sum()).sort("machine", "slot")


def shown_vends(done: Reconciliation) -> Frame:
    """The vends that the run's summaries count."""
    inside = pl.col("time") <= done.until if done.until >= done.now else pl.col("time") < done.until
    if done.since is not None:
        inside &= pl.col("time") >= done.since
    return done.frames["priced"].filter(inside)


def _parts(done: Reconciliation) -> Frame:
    """One row a machine, slot and product: exact sums, costs in ten-thousandths of a minor unit."""
    vends = _alike(done)
    kept, times = pl.col("stayed_paid"), pl.col("times")
    paid = pl.when(kept).then(pl.col("paid_low") * pl.col("quantity") * times).otherwise(0)
    by_card = kept & (pl.col("tender") == "card")
    units = pl.col("units") * times
    cost = units * pl.col("unit_cost")

    def of(tender: str) -> pl.Expr:
        return pl.when(pl.col("tender") == tender).then(paid).otherwise(0).sum()

    above = (pl.col("paid_low") - pl.col("cash_price")) * pl.col("quantity") * times
    open_ = (pl.col("paid_high") - pl.col("paid_low")) * pl.col("quantity") * times
    sold = vends.group_by(_KEYS).agg(
        pl.when(kept).then(times).otherwise(0).sum().alias("vends"),
        units.sum().alias("units"),
        paid.sum().alias("sales"),
        pl.when(kept).then(open_).otherwise(0).sum().alias("open_sales"),
        of("cash").alias("cash_sales"),
        of("card").alias("card_sales"),
        of("prepaid").alias("prepaid_sales"),
        pl.when(pl.col("unit_cost").is_null()).then(units).otherwise(0).sum().alias("uncosted_units"),
        pl.when(by_card).then(pl.col("quantity") * times).otherwise(0).sum().alias("card_vends"),
        cost.sum().alias("cost_parts"),
        pl.when(by_card).then(cost).otherwise(0).sum().alias("card_cost_parts"),
        pl.when(by_card).then(above).otherwise(0).sum().alias("markup"),
    )
    lost = done.frames["stock"].filter(pl.col("variance") < 0).group_by(_KEYS).agg(
        pl.col("variance").sum().alias("shrink_units"),
        (-pl.col("variance") * pl.col("price")).sum().alias("shrink_retail"),
        (-pl.col("variance") * pl.col("unit_cost")).sum().alias("shrink_parts"),
    )  # fmt: skip
    both = sold.join(lost, on=list(_KEYS), how="full", coalesce=True, nulls_equal=True)
    quiet = done.frames["machines"].select("machine").join(both, on="machine", how="anti")
    both = pl.concat([both, quiet], how="diagonal")
    labels = done.frames["slots"].select("slot", "label")
    filled = both.with_columns(pl.col(name).fill_null(0) for name in (*_EXACT, *_SHRINK))
    return filled.join(labels, on="slot", how="left").sort(_KEYS)


_ALIKE = ("tender", "stayed_paid", "paid_low", "paid_high", "quantity", "units")


def _alike(done: Reconciliation) -> Frame:
    """The vends, those alike taken together: machine, slot, product, unit_cost, cash_price, _ALIKE and `times`.

    What a state of the layout sells comes to few prices and tenders: sums over these are far cheaper than over vends.
    """
    # A vend without a state has no slot and no product: its machine stands in for them, as a number below 0.
    where = pl.coalesce(pl.col("state").cast(pl.Int64), -1 - pl.col("machine").rle_id().cast(pl.Int64))
    vends = shown_vends(done).select("machine", "state", *_ALIKE)
    runs = vends.select(pl.col("machine").rle().struct.field("value"))
    strangers = runs.select(
        (-1 - pl.int_range(pl.len(), dtype=pl.Int64)).alias("where"), pl.col("value").alias("machine")
    )
    states = done.frames["states"].select(
        pl.col("state").cast(pl.Int64).alias("where"), "machine", "slot", "product", "unit_cost",
        pl.col("price").alias("cash_price"),
    )  # fmt: skip
    sums = vends.group_by(where.alias("where"), *_ALIKE).agg(pl.len().cast(pl.Int64).alias("times"))
    return sums.join(pl.concat([states, strangers], how="diagonal"), on="where", how="left")


def _shared(parts: Frame, done: Reconciliation) -> Frame:
    """The parts with the fees, cost of goods and cost of shrink of each machine shared among its own."""
    cards = done.settings.cards
    found: dict[str, list[int]] = {"fees": [], "cost_of_goods": [], "shrink_cost": []}
    rows = parts.select("machine", "card_sales", "card_vends", "cost_parts", "shrink_parts").iter_rows()
    for machine, own in groupby(rows, itemgetter(0)):
        digits = done.digits_of.get(machine, 2)
        _, sales, counts, goods, shrink = zip(*own, strict=True)
        exact, unit = _exact_fees(sales, counts, Fraction(cards.percent) / 100, Fraction(cards.per_vend) * 10**digits)
        found["fees"] += _shares(exact, unit, fee(sum(sales), sum(counts), cards, digits))
        for name, costs in (("cost_of_goods", goods), ("shrink_cost", shrink)):
            found[name] += _shares(costs, COST_UNIT, half_even_of(Fraction(sum(costs), COST_UNIT)))
    return parts.with_columns(pl.Series(name, values, dtype=pl.Int64) for name, values in found.items())


def _exact_fees(
    sales: Sequence[int], counts: Sequence[int], share: Fraction, each: Fraction
) -> tuple[list[int], int]:
    """`share` of sales and `each` for a vend, exactly: whole numbers, and the unit of which they are so many parts."""
    unit = lcm(share.denominator, each.denominator)
    of_sales, of_vends = int(share * unit), int(each * unit)
    return [gross * of_sales + count * of_vends for gross, count in zip(sales, counts, strict=True)], unit


def half_even_of(exact: Fraction) -> int:
    """The whole minor units nearest to an exact figure, half to even (as Python's round does)."""
    return round(exact)


def shares(exact: Sequence[Fraction], total: int) -> list[int]:
    """Whole minor units for each exact figure, adding up to `total`, which is their sum rounded: each rounded down,
    and one more for those with the largest rests, the first among equals (the method of largest remainders).
    """
    unit = lcm(*(figure.denominator for figure in exact))
    return _shares([int(figure * unit) for figure in exact], unit, total)


def _shares(parts: Sequence[int], unit: int, total: int) -> list[int]:
    """`shares` of exact figures that are given as so many parts of `unit`."""
    down = [part // unit for part in parts]
    order = sorted(range(len(parts)), key=lambda at: (-(parts[at] % unit), at))
    for at in order[: total - sum(down)]:
        down[at] += 1
    return down


def _machines(every: Frame, done: Reconciliation, reach: Frame | None) -> Frame:
    """The sums of each machine, and what they come to in a month of the time that the log shows."""
    sums = every.group_by("machine").agg(pl.col(SUMS).sum(), pl.col("card_vends").sum()).sort("machine")
    if reach is None:
        reach = log_reach(done.frames["priced"], done.frames["states"])
    reach = reach.with_columns(
        pl.min_horizontal("log_end", pl.lit(done.until)).alias("ends"),
        (pl.col("log_start") if done.since is None else pl.max_horizontal("log_start", pl.lit(done.since))).alias(
            "starts"
        ),
    )
    joined = sums.join(reach.select("machine", "starts", "ends"), on="machine", how="left")
    span = (pl.col("ends") - pl.col("starts")).dt.total_microseconds().fill_null(0).clip(0)
    joined = joined.with_columns(span.alias("span"))
    spans = joined["span"].to_list()
    return joined.with_columns(
        pl.Series("months", [micros / (MONTH / timedelta(microseconds=1)) for micros in spans], dtype=pl.Float64),
        *(
            pl.Series(f"{name}_per_month", list(map(_a_month, joined[name].to_list(), spans)), dtype=pl.Int64)
            for name in ("sales", "margin")
        ),
    )


def _a_month(amount: int, micros: int) -> int | None:
    return None if micros < timedelta(days=1) // timedelta(microseconds=1) else half_even_of(monthly(amount, micros))


def monthly(amount: int | Fraction, micros: int) -> Fraction:
    """What `amount` in so many microseconds comes to in a month of 365.25 / 12 days, exactly."""
    return Fraction(amount) * (MONTH // timedelta(microseconds=1)) / micros


def _by_card(every: Frame) -> Frame:
    cost = pl.col("card_cost_parts").sum()
    return every.group_by("machine").agg(cost, pl.col("markup").sum()).sort("machine")


def price_of_reader(amount: Decimal, digits: int) -> int:
    """An amount of [cards] in minor units of that many digits."""
    return round_minor(amount.scaleb(digits))
