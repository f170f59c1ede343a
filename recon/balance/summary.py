"""Each machine over the windows shown: sales, fees, cost of goods, shrink and margin."""

from collections.abc import Sequence

import polars as pl

from recon.balance.carried import NOTHING
from recon.balance.payouts import fee
from recon.balance.rounding import COST_UNIT, half_even
from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.carried_frames import TOTALS
from recon.model.frames import SUMMARIES, Frame
from recon.model.settings import Cards


def totals(priced: Frame, past: pl.Series | None = None, carried: Frame = NOTHING.totals) -> tuple[Frame, Frame]:
    """The sums of each machine's vends as frames `totals`: of all of them, and of those to be carried forward.

    past: which vends these are. carried: what was, of vends that are not among these.
    """
    paid = pl.when("stayed_paid").then(pl.col("paid_low") * pl.col("quantity")).otherwise(0)

    def by(tender: str) -> pl.Expr:
        return pl.when(pl.col("tender") == tender).then(paid).otherwise(0).sum()

    card_paid = pl.col("stayed_paid") & (pl.col("tender") == "card")
    own = pl.lit(False) if past is None else past
    sums = priced.with_columns(own.alias("past")).group_by("machine", "past").agg(
        pl.col("time").min().alias("first"),
        pl.col("time").max().alias("last"),
        pl.len().cast(pl.Int64).alias("vends"),
        pl.col("slot").null_count().cast(pl.Int64).alias("unmapped_vends"),
        paid.sum().alias("sales"),
        by("cash").alias("cash_sales"),
        by("card").alias("card_sales"),
        pl.when(card_paid).then("quantity").otherwise(0).sum().alias("card_vends"),
        (pl.col("units") * pl.col("unit_cost")).sum().alias("cost_parts"),
        (pl.col("tender") == "cash").any().alias("logs_cash"),
        pl.col("price").max().alias("top"),
    )  # fmt: skip
    sums = sums.join(_references(priced, past), on=["machine", "past"], how="left")
    before = _added([sums.filter("past"), carried])
    return _added([before, sums.filter(~pl.col("past"))]), before


def _references(priced: Frame, past: pl.Series | None) -> Frame:
    """Of the past vends of each machine the greatest reference of those that are longest. A later vend with a longer
    or a greater one shares it with none of them: so it is with most, for they are numbered."""
    if past is None or not past.any():
        shape = {"machine": pl.String, "past": pl.Boolean, "longest": pl.Int64, "greatest": pl.String}
        return pl.DataFrame(schema=shape)
    size = pl.col("reference").str.len_bytes().cast(pl.Int64)
    named = priced.select("machine", "reference", past.alias("past")).filter("past", pl.col("reference").is_not_null())
    return named.group_by("machine", "past").agg(
        size.max().alias("longest"), pl.col("reference").filter(size == size.max()).max().alias("greatest")
    )


def _added(parts: Sequence[Frame]) -> Frame:
    together = pl.concat([part.select(TOTALS.names) for part in parts])
    if together["machine"].is_duplicated().any():
        sums = pl.exclude("machine", "first", "last", "logs_cash", "top", "longest", "greatest").sum()
        ordered = together.sort("longest", "greatest", nulls_last=False)
        together = ordered.group_by("machine").agg(
            pl.col("first").min(),
            pl.col("last").max(),
            sums,
            pl.col("logs_cash").any(),
            pl.col("top", "longest").max(),
            pl.col("greatest").last(),
        )
    return guard(together.select(TOTALS.names), TOTALS)


def machine_summaries(vends: Frame, windows: Frame, layouts: Layouts, cards: Cards) -> Frame:
    """Sum up the stock windows given, and the vends whose sums are given (a frame `totals`), machine by machine; margin
    = sales - fees - cost_of_goods - shrink_cost.

    Money that is only known as a range counts at its low end. Shrink adds up the negative variances alone: an over in
    one slot does not pay for a short in another. Each sum is rounded once. Machines come from layouts and from vends.
    """
    vends = vends.drop("first", "last", "logs_cash", "top", "longest", "greatest")
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
