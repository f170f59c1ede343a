"""Each machine over the windows shown: sales, fees, cost of goods, shrink and margin."""

import polars as pl

from recon.balance.payouts import fee
from recon.balance.rounding import COST_UNIT, half_even
from recon.match.sequence import runs_of
from recon.match.states import Layouts
from recon.model.border import guard, ordered
from recon.model.frames import SUMMARIES, Frame
from recon.model.settings import Cards


def totals(priced: Frame) -> Frame:
    """Sum up each machine's vends.

    priced: machine by machine.
    Returns machine, first, last (moments), vends, unmapped_vends, sales, cash_sales, card_sales (minor units),
    card_vends (units), cost_parts (ten-thousandths of a minor unit) and top (the highest price logged); sorted by
    machine.
    """
    paid = pl.when("stayed_paid").then(pl.col("paid_low") * pl.col("quantity")).otherwise(0)

    def by(tender: str) -> pl.Expr:
        return pl.when(pl.col("tender") == tender).then(paid).otherwise(0).sum()

    card_paid = pl.col("stayed_paid") & (pl.col("tender") == "card")
    runs, machines = runs_of(priced["machine"])
    sums = priced.with_columns(runs.alias("run")).group_by("run").agg(
        pl.col("time").min().alias("first"),
        pl.col("time").max().alias("last"),
        pl.len().cast(pl.Int64).alias("vends"),
        pl.col("slot").null_count().cast(pl.Int64).alias("unmapped_vends"),
        paid.sum().alias("sales"),
        by("cash").alias("cash_sales"),
        by("card").alias("card_sales"),
        pl.when(card_paid).then("quantity").otherwise(0).sum().alias("card_vends"),
        (pl.col("units") * pl.col("unit_cost")).sum().alias("cost_parts"),
        pl.col("price").max().alias("top"),
    )
    sums = sums.sort("run").drop("run")
    return ordered(sums.insert_column(0, machines), ("machine",))


def machine_summaries(vends: Frame, windows: Frame, layouts: Layouts, cards: Cards) -> Frame:
    """Sum up the stock windows given, and the vends whose totals are given, machine by machine; margin = sales - fees -
    cost_of_goods - shrink_cost.

    Money that is only known as a range counts at its low end. Shrink adds up the negative variances alone: an over in
    one slot does not pay for a short in another. Each sum is rounded once. Machines come from layouts and from vends.
    """
    vends = vends.drop("first", "last", "top")
    short = (
        windows.filter(pl.col("variance") < 0)
        .group_by("machine")
        .agg(
            pl.col("variance").sum().alias("shrink_units"),
            (-pl.col("variance") * pl.col("price")).sum().alias("shrink_retail"),
            (-pl.col("variance") * pl.col("unit_cost")).sum().alias("shrink_parts"),
        )
    )
    both = layouts.machines.select("machine", "digits").join(vends, on="machine", how="full", coalesce=True)
    both = both.join(short, on="machine", how="left").with_columns(pl.exclude("machine", "digits").fill_null(0))
    digits = layouts.digits
    fees = [
        fee(gross, count, cards, digits.get(machine, 2))
        for machine, gross, count in both.select("machine", "card_sales", "card_vends").iter_rows()
    ]
    out = both.with_columns(
        pl.Series("fees", fees, dtype=pl.Int64),
        half_even(pl.col("cost_parts"), COST_UNIT).alias("cost_of_goods"),
        half_even(pl.col("shrink_parts"), COST_UNIT).alias("shrink_cost"),
    )
    margin = pl.col("sales") - pl.col("fees") - pl.col("cost_of_goods") - pl.col("shrink_cost")
    return guard(out.with_columns(margin.alias("margin")).select(SUMMARIES.names), SUMMARIES)
