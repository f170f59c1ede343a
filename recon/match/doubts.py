"""What the customers' own vends say against a rule: numbers that it gives to no slot, prices that are another slot's.

What was logged before the first test may be another reader's: numbers are asked from that test on, prices as far back
as every number is one that the rule gives.
"""

from collections.abc import Collection, Mapping
from datetime import UTC, datetime

import polars as pl

from recon.model.frames import Frame

LEAST_VENDS = 2
"""Vends at another price, and none at the layout's, before a slot's number is doubted."""


def stray_numbers(logged: Frame, since: datetime, given: Collection[int | None]) -> tuple[int, ...]:
    """Numbers logged from `since` on that no slot is given: a slot is missing from the layout, or the rule is wrong.

    logged: vends of the machine. given: the numbers of all slots.
    """
    numbers = logged.filter(pl.col("time") >= since.astimezone(UTC))["bus"].drop_nulls().unique().to_list()
    return tuple(sorted(set(numbers) - set(given)))


def other_prices(logged: Frame, since: datetime, given: Mapping[str, int], states: Frame) -> tuple[str, ...]:
    """Labels whose number vended for cash, each time at another price than the layout's.

    since: the first test; vends before it count too, back to the last whose number no slot is given. given: label to
    number. states: the machine's slots over time. Where most labels that can be compared are so, the
    layout's prices are not the machine's and say nothing: none is returned.
    """
    numbered = pl.DataFrame(list(given.items()), schema={"label": pl.String, "bus": pl.Int32}, orient="row")
    earlier = logged.filter((pl.col("time") < since.astimezone(UTC)) & ~pl.col("bus").is_in(list(given.values())))
    other_reader = earlier["time"].max() if earlier.height else datetime.min.replace(tzinfo=UTC)
    paid = logged.filter(
        (pl.col("time") > other_reader) & (pl.col("tender") == "cash") & (pl.col("price") > 0)
    ).select("time", "bus", pl.col("price").alias("paid"), pl.int_range(pl.len()).alias("vend"))
    asked = paid.join(numbered, on="bus").join(states.select("label", "starts", "price"), on="label")
    in_force = asked.filter(pl.col("starts") <= pl.col("time")).sort("vend", "starts").unique("vend", keep="last")
    told = in_force.filter(pl.col("price").is_not_null()).group_by("label").agg(
        (pl.col("paid") == pl.col("price")).any().alias("agrees"), pl.len().alias("vends")
    )  # fmt: skip
    doubtful = told.filter(~pl.col("agrees") & (pl.col("vends") >= LEAST_VENDS))["label"].to_list()
    if 2 * len(doubtful) > told.height:
        return ()
    return tuple(label for label in given if label in doubtful)
