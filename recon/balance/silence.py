"""Slots that hold stock and ought to have sold by now, and have not.

For a slot that sold n times in a stocked time E, the chance of no vend in a further time T is (E / (E + T))^n: the
negative binomial predictive distribution of a Poisson count whose rate has the posterior Gamma(n, E). For one that
never sold, a quarter of the machine's median rate stands in, and the chance is exp(-rate x T).
"""

import polars as pl

from recon.model.frames import Frame

UNLIKELY = 0.001
"""A silence is pointed out where its chance is below this: about one false alarm a slot in twenty years of weekly
counts.
"""
CAUTIOUS_SHARE = 0.25
"""Of the machine's median rate, for a slot without sales of its own."""


def silent_spans(own: Frame, reach: Frame, slots: Frame) -> Frame:
    """Windows of stocked slots without a vend, where a vend was to be expected.

    own: what `stocked` returns. reach: from when to when the log of each machine goes (machine, log_start, log_end): a
    window is judged only as far as that, and only if the machine sold something in it. Returns slot, machine, label,
    opened_at, closed_at (null while open), units (in stock), expected_vends (Float64, at the slot's rate), chance
    (Float64), file, row. Sorted by slot and time.
    """
    placed = slots.join(reach, on="machine", how="inner")
    sums = own.group_by("slot").agg(pl.col("events", "exposure").sum().name.suffix("_of_slot"))
    # A window in which the whole machine logged nothing tells of its reader, not of one slot.
    idle = (pl.col("events") == 0) & (pl.col("stock") > 0) & (pl.col("exposure") > 0)
    quiet = _while_others_sold(own.filter(idle).join(placed, on="slot", how="inner"), own, placed)
    quiet = quiet.join(sums, on="slot", how="left").join(_median_rates(sums, placed), on="machine", how="left")
    quiet = quiet.with_columns(
        (pl.col("events_of_slot") - pl.col("events")).alias("sold_else"),
        (pl.col("exposure_of_slot") - pl.col("exposure")).alias("stocked_else"),
    )
    alone = pl.col("sold_else") == 0
    own_rate = pl.col("sold_else") / pl.col("stocked_else").clip(1)
    pooled = pl.col("median_rate").fill_null(0.0) * CAUTIOUS_SHARE
    chance = (
        pl.when(alone)
        .then((-pooled * pl.col("exposure")).exp())
        .otherwise((pl.col("stocked_else") / (pl.col("stocked_else") + pl.col("exposure"))).pow(pl.col("sold_else")))
    )
    rate = pl.when(alone).then(pooled).otherwise(own_rate)
    judged = quiet.with_columns(chance.alias("chance"), (rate * pl.col("exposure")).alias("expected_vends"))
    return (
        judged.filter(pl.col("chance") < UNLIKELY)
        .select(
            "slot",
            "machine",
            "label",
            pl.col("time").alias("opened_at"),
            pl.col("next_time").alias("closed_at"),
            (pl.col("stock") + pl.col("loaded")).alias("units"),
            "expected_vends",
            "chance",
            "file",
            "row",
        )
        .sort("slot", "opened_at")
    )


def stocked(spans: Frame, reach: Frame, slots: Frame) -> Frame:
    """The windows in which there was something to sell, with `stock` (units at first) and `exposure` (seconds for which
    it could sell and the log tells of it).

    spans: windows with opening, loaded, removed, events, last_vend, time, next_time (open ones included). reach: as for
    `silent_spans`.
    """
    placed = slots.join(reach, on="machine", how="inner")
    here = spans.join(placed.select("slot", "log_start", "log_end"), on="slot", how="inner")
    ends = pl.min_horizontal(pl.col("next_time").fill_null(pl.col("log_end")), "log_end")
    starts = pl.max_horizontal("time", "log_start")
    stock = pl.col("opening") - pl.col("removed")
    emptied = pl.col("expected") <= 0
    until = pl.when(emptied & pl.col("last_vend").is_not_null()).then("last_vend").otherwise(ends)
    here = here.with_columns((until - starts).dt.total_seconds().clip(0).alias("exposure"), stock.alias("stock"))
    return here.filter(pl.col("stock") + pl.col("loaded") > 0)


def _while_others_sold(quiet: Frame, own: Frame, placed: Frame) -> Frame:
    """Of these windows those that opened together with one of the same machine in which something was sold."""
    sold = own.filter((pl.col("events") > 0) & pl.col("time").is_in(quiet["time"].unique().implode()))
    together = sold.select("slot", "time").join(placed.select("slot", "machine"), on="slot", how="inner")
    return quiet.join(together.select("machine", "time"), on=["machine", "time"], how="semi")


def _median_rates(sums: Frame, placed: Frame) -> Frame:
    """machine, median_rate: of its slots that sold at all, vends in a second of exposure."""
    rate = pl.col("events_of_slot") / pl.col("exposure_of_slot").clip(1)
    rates = sums.join(placed, on="slot", how="inner").select("machine", rate.alias("rate"))
    return rates.filter(pl.col("rate") > 0).group_by("machine").agg(pl.col("rate").median().alias("median_rate"))
