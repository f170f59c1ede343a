"""Vends whose number no slot had: what the number may be, by what the layout and the counts say."""

import polars as pl

from recon.match.numbering import numbers
from recon.match.states import Layouts
from recon.model.frames import Frame
from recon.route.folder import Route

WHY = pl.Enum(["short-by-as-many", "had-it-before", "gets-it-later", "out-of-use", "by-the-rule"])
"""Reasons for a likeliest slot, the strongest first."""


def unmapped_numbers(matched: Frame) -> Frame:
    """Vends of machines with a layout whose number or label no slot in use had: one row a machine, number and label.

    Returns machine, bus, label, vends, units, opened_at, closed_at. Undefined numbers (neither bus nor label) are not here.
    """
    strays = matched.filter(pl.col("slot").is_null() & (pl.col("bus").is_not_null() | pl.col("label").is_not_null()))
    named = strays.with_columns(pl.when(pl.col("bus").is_null()).then("label").alias("label"))
    return named.group_by("machine", "bus", "label").agg(
        pl.len().cast(pl.Int64).alias("vends"),
        pl.when(pl.col("outcome").is_in(["vended", "refunded"])).then("quantity").otherwise(0).sum().alias("units"),
        pl.col("time").min().alias("opened_at"), pl.col("time").max().alias("closed_at"),
    ).sort("machine", "bus", "label")  # fmt: skip


def likeliest(strays: Frame, windows: Frame, layouts: Layouts, route: Route) -> Frame:
    """The likeliest slot for each unmapped number: machine, bus, guess (label), why (WHY), since (UTC or null), units.

    strays: as from unmapped_numbers. windows: the stock windows. The strongest reason wins; where one reason speaks for
    two slots alike, it speaks for neither.
    """
    asked = strays.filter(pl.col("bus").is_not_null())
    told = pl.concat([_short_by_as_many(asked, windows), _held(asked, layouts), _by_rule(asked, route)])
    clear = told.filter(pl.col("guess").n_unique().over("machine", "bus", "why") == 1)
    return clear.sort("machine", "bus", pl.col("why").to_physical(), "since").unique(["machine", "bus"], keep="first", maintain_order=True)


_SHAPE: dict[str, pl.DataType | type[pl.DataType]] = {
    "machine": pl.String, "bus": pl.Int32, "guess": pl.String, "why": WHY, "since": pl.Datetime("us", "UTC"), "missing": pl.Int64,
}  # fmt: skip


def _shaped(frame: Frame) -> Frame:
    return frame.select(pl.col(name).cast(dtype) for name, dtype in _SHAPE.items())


def _short_by_as_many(asked: Frame, windows: Frame) -> Frame:
    """A slot that logged nothing in the window that holds all these vends, and is short by just as many units."""
    silent = windows.filter((pl.col("vended") == 0) & (pl.col("variance") < 0)).select(
        "machine", pl.col("label").alias("guess"), pl.col("opened_at").alias("since"), pl.col("closed_at").alias("until"), "variance"
    )
    pairs = asked.join(silent, on="machine", how="inner").filter(
        (pl.col("opened_at") >= pl.col("since")) & (pl.col("closed_at") < pl.col("until")) & (pl.col("variance") == -pl.col("units"))
    )
    return _shaped(pairs.with_columns(pl.lit("short-by-as-many").alias("why"), pl.col("units").alias("missing")))


def _held(asked: Frame, layouts: Layouts) -> Frame:
    """A slot that had the number at another time, or has it and is out of use."""
    states = layouts.states.filter(pl.col("bus").is_not_null()).select("machine", "bus", pl.col("label").alias("guess"), "starts", "ends", "in_use")
    pairs = asked.join(states, on=["machine", "bus"], how="inner")
    before, later = pl.col("ends") <= pl.col("opened_at"), pl.col("starts") > pl.col("closed_at")
    why = (
        pl.when(pl.col("in_use") & before).then(pl.lit("had-it-before"))
        .when(pl.col("in_use") & later).then(pl.lit("gets-it-later"))
        .when(~pl.col("in_use")).then(pl.lit("out-of-use"))
        .otherwise(pl.lit("had-it-before"))
    )  # fmt: skip
    since = pl.when(why == "had-it-before").then("ends").otherwise("starts")
    return _shaped(pairs.with_columns(why.alias("why"), since.alias("since"), pl.lit(None, pl.Int64).alias("missing")))


def _by_rule(asked: Frame, route: Route) -> Frame:
    machines = set(asked["machine"].to_list())
    rows = [
        (entry.layout.machine, number, slot.label)
        for entry in route.layouts if entry.layout.machine in machines
        for slot, number in zip(entry.layout.slots, numbers(entry.layout), strict=True)
        if number is not None and 0 <= number < 2**16
    ]  # fmt: skip
    rule = pl.DataFrame(rows, schema={"machine": pl.String, "bus": pl.Int32, "guess": pl.String}, orient="row")
    pairs = asked.join(rule, on=["machine", "bus"], how="inner")
    none = [pl.lit(None, _SHAPE[name]).alias(name) for name in ("since", "missing")]
    return _shaped(pairs.with_columns(pl.lit("by-the-rule").alias("why"), *none))
