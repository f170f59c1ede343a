"""Rows that stand in no figure, as lines: of no slot, rejected, or evidence of a finding that is about files."""

from collections.abc import Sequence
from typing import Any

import polars as pl

from recon.ledger.trace_lines import LINES, shaped, vend_lines
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

_ROW_OF = {"vends": "vend", "counts": "count", "loads": "load", "cash": "collection", "payouts": "payout"}


def machine_rows(machine: str, done: Reconciliation) -> Frame:
    """Vends, counts and loads of a machine that no slot had, in time order."""
    here = pl.col("machine") == machine
    vends = _told_vends(done.frames["priced"].filter(here & pl.col("slot").is_null()), done)
    lines = [vends, *(_on_paper(done, name, here) for name in ("counts", "loads"))]
    return pl.concat([LINES.empty(), *lines]).sort("time", "file", "row", nulls_last=True)


def _told_vends(vends: Frame, done: Reconciliation) -> Frame:
    """Vends as lines; why those without a slot have none."""
    laid = done.frames["machines"]["machine"].to_list()
    slotless = (
        pl.when(~pl.col("machine").is_in(laid))
        .then(pl.lit("the machine has no layout"))
        .when(pl.col("bus").is_not_null())
        .then(pl.format("no slot had number {} at that time", "bus"))
        .when(pl.col("label").is_not_null())
        .then(pl.format("no slot in use had the label {} at that time", "label"))
        .otherwise(pl.lit("the log gives no number"))
    )
    own = pl.col("slot").is_null()
    names = done.frames["slots"].select("slot", pl.col("label").alias("laid"))
    lines = vend_lines(vends.join(names, on="slot", how="left", maintain_order="left")).with_columns(
        pl.coalesce("laid", "label").alias("label"),
        pl.lit(False).alias("in_figure"),
        pl.when(own).then(slotless).when(pl.col("units") == 0).then("left_out").alias("why"),
    )
    return shaped(lines)


def _on_paper(done: Reconciliation, name: str, here: pl.Expr) -> Frame:
    """Counts or loads that name no slot of the layout: by a label that it lacks, or by a number that no slot had."""
    from recon.match.slots import place
    from recon.match.states import Layouts

    laid = Layouts(*(done.frames[frame].filter(here) for frame in ("machines", "slots", "states")))
    rows = place(done.frames[name].filter(here), laid).filter(pl.col("slot").is_null())
    what = "count" if name == "counts" else "load"
    figure = pl.col("counted") if name == "counts" else pl.col("loaded") - pl.col("removed")
    return shaped(
        rows.with_columns(
            pl.lit(what).alias("what"),
            figure.alias("figure"),
            pl.lit(False).alias("in_figure"),
            pl.when(pl.col("label").is_not_null())
            .then(pl.format("the layout has no slot {}", "label"))
            .otherwise(pl.format("no slot had number {} at that time", "bus"))
            .alias("why"),
        )
    )


def refused_lines(refused: Frame) -> Frame:
    """Rejected rows (see refused_rows) as lines, each with its reason."""
    what = pl.col("kind").replace_strict(_ROW_OF, default="row", return_dtype=pl.String)
    return shaped(
        refused.with_columns(
            what.alias("what"),
            pl.lit(False).alias("in_figure"),
            pl.format("rejected: {}", "reason").alias("why"),
        )
    )


def _behind(found: dict[str, Any], done: Reconciliation) -> Frame:
    """File and row of all that a finding about vends without a slot or a payout rests on; else of its evidence."""
    every = pl.col("machine").eq_missing(pl.lit(found["machine"], pl.String))
    vends = done.frames["priced"].sort("time", "file", "row")
    slotless = pl.col("slot").is_null() & every
    if found["kind"] == "unmapped-number":
        name = "label" if found["bus"] is None else "bus"
        named = pl.col(name).eq_missing(pl.lit(found[name]))
        return vends.filter(slotless & named).select("file", "row")
    if found["kind"] == "undefined-number":
        return vends.filter(slotless & pl.col("bus").is_null() & pl.col("label").is_null()).select("file", "row")
    if found["kind"] == "unpaid-vends":
        inside = pl.col("time").is_between(found["opened_at"], found["closed_at"])
        return vends.filter(every & inside & (pl.col("tender") == "card") & pl.col("stayed_paid")).select("file", "row")
    places = [(place["file"], place["row"]) for place in found["evidence"]]
    return pl.DataFrame(places, {"file": pl.Int32, "row": pl.Int64}, orient="row")


def evidence_rows(found: dict[str, Any], done: Reconciliation, shown: Sequence[Frame]) -> Frame:
    """The rows behind a finding as lines, as far as no figure has them. shown: the lines of its figures.

    A finding keeps its first rows alone: of vends that no slot had, and of those that no payout covers, all are found
    again. Row 0 of a finding stands for a whole file, and is left empty here.
    """
    evidence = _behind(found, done).unique(maintain_order=True).with_row_index("at")
    for lines in shown:
        evidence = evidence.join(lines.select("file", "row"), on=["file", "row"], how="anti", maintain_order="left")
    vends = _told_vends(done.frames["priced"].join(evidence, on=["file", "row"], how="semi"), done)
    rest = evidence.join(vends, on=["file", "row"], how="anti", maintain_order="left")
    kinds = done.frames["inputs"].select("file", "kind")
    timed = pl.concat(
        done.frames[name].select("file", "row", "machine", "time") for name in ("counts", "loads", "cash")
    )
    reasons = done.frames["rejects"].select("file", "row", "reason")
    told = rest.join(kinds, on="file", how="left", maintain_order="left")
    for part in (timed, reasons):
        told = told.join(part, on=["file", "row"], how="left", maintain_order="left")
    whole = pl.col("row") == 0
    others = refused_lines(told).with_columns(
        pl.when(whole).then(pl.lit("the whole file")).otherwise("why").alias("why"),
        pl.when(~whole).then("row").alias("row"),
    )
    order = evidence.select("file", pl.when(pl.col("row") > 0).then("row").alias("row"), "at")
    every = pl.concat([vends, others])
    return every.join(order, on=["file", "row"], how="left", nulls_equal=True).sort("at").drop("at")
