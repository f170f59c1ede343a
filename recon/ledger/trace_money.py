"""The lines behind collections and payouts: the vends whose money they hold, with the money after each."""

from collections.abc import Sequence
from typing import Any

import polars as pl

from recon.ledger.trace_corrected import with_corrections
from recon.ledger.trace_lines import (
    COUNT_FIRST,
    LINES,
    Figures,
    Terms,
    must_agree,
    outside,
    place_text,
    repeats,
    shaped,
    sides,
    vend_lines,
)
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

_COLUMNS = [
    "machine", "label", "time", "file", "row", "what", "rank", "bus", "state", "tender", "outcome", "quantity",
    "priced", "least", "most", "note", "change", "in_figure", "why",
]  # fmt: skip


def cash_figures(done: Reconciliation, terms: Terms, machines: Sequence[str]) -> Figures:
    """The cash windows of some machines with the lines behind them: their collections and their vends by cash.

    The balance is the money of the cash vends that stayed paid, a range taken at its low end, and begins at 0 with each
    collection. Heads: window, machine, nth (0: before the first collection), kind (`closed`, `open`, `early`),
    opened_at, closed_at, vends, unpriced_vends, expected, expected_low, expected_high, collected, tube_change,
    over_short (minor units; all but expected are null unless closed, and of an open window `expected` is what ought to
    have been taken since); sorted by machine and time. Machines without a layout have none.
    """
    laid = done.frames["machines"].filter(pl.col("machine").is_in(machines)).select("machine")
    lines = _bounded(_cash_lines(done, laid), terms)
    sums = lines.group_by("machine", "nth", maintain_order=True).agg(
        pl.col("balance").drop_nulls().last().alias("worked_out"),
        pl.col("opened_at", "closed_at").max(),
        pl.col("time").min().alias("first_line"),
        (pl.col("in_figure") & (pl.col("what") == "vend")).any().alias("has_vends"),
    )
    heads = _cash_heads(sums, done)
    closing = lines.filter(pl.col("what") == "collection").with_columns(pl.col("nth") - 1).drop("balance")
    closing = closing.join(
        sums.select("machine", "nth", pl.col("worked_out").alias("balance")), on=["machine", "nth"], how="left"
    ).with_columns(pl.when("in_figure").then("balance").alias("balance"))
    words = {"late": "before the collection that opens this", "early": "after this collection"}
    beyond = outside(lines, "machine", terms.near, **words)
    whole = pl.concat([lines, closing.select(lines.columns), *beyond])
    ordered = whole.join(heads.select("machine", "nth", "window"), on=["machine", "nth"], how="inner")
    lines = ordered.sort("window", "time", "rank", "file", "row", maintain_order=True)
    return with_corrections(Figures(heads, shaped(lines)), done)


def _cash_lines(done: Reconciliation, laid: Frame) -> Frame:
    """Collections and cash vends of the machines, in no order. Of several sheets of one moment the last one counts,
    whose rows add up."""
    collections = done.frames["cash"].join(laid, on="machine", how="semi").sort("machine", "time", "file", "row")
    holds = pl.col("file") == pl.col("file").max().over("machine", "time")
    final = place_text(done.paths, "last_file", "last_row")
    told = collections.with_columns(
        pl.col("file").max().over("machine", "time").alias("last_file"),
        pl.col("row").last().over("machine", "time").alias("last_row"),
    ).select(
        "machine", "time", "file", "row", "note", "tubes", pl.col("collected").alias("figure"),
        pl.lit("collection").alias("what"),
        pl.lit(COUNT_FIRST).alias("rank"),
        holds.alias("in_figure"),
        pl.when(~holds).then(pl.format("a later sheet gives this collection otherwise: {}", final)).alias("why"),
        pl.struct("machine", "time").is_first_distinct().alias("mark"),
    )  # fmt: skip
    vends = done.frames["priced"].filter(pl.col("tender") == "cash").join(laid, on="machine", how="semi")
    sold = _paid_lines(done, vends)
    used = pl.concat([told, sold], how="diagonal")
    again = repeats(done.frames["notices"].join(laid, on="machine", how="semi"), used, done.paths)
    again = again.with_columns(pl.lit(None, pl.Int64).alias("change"), pl.lit(False).alias("mark"))
    empty = LINES.empty().drop("window").with_columns(
        pl.lit(None, pl.Int32).alias("rank"), pl.lit(None, pl.Boolean).alias("mark"),
        pl.col("what", "side").cast(pl.String),
    )  # fmt: skip
    return pl.concat([empty, used, again], how="diagonal_relaxed").with_columns(pl.col("mark").fill_null(False))


def _paid_lines(done: Reconciliation, vends: Frame) -> Frame:
    """Vends as lines of money: what stayed paid counts. The label is that of the slot, else that of the log."""
    kept = pl.col("stayed_paid")
    refunded = pl.lit("refunded: the money was given back, by the machine or otherwise")
    why = pl.when(pl.col("outcome") == "refunded").then(refunded).otherwise("left_out")
    laid = done.frames["slots"].select("slot", pl.col("label").alias("laid"))
    named = vends.join(laid, on="slot", how="left", maintain_order="left")
    return vend_lines(named.with_columns(pl.coalesce("laid", "label").alias("label"))).with_columns(
        pl.when(kept).then("least").alias("change"),
        kept.alias("in_figure"),
        pl.when(~kept).then(why).alias("why"),
    ).select(_COLUMNS)


def _bounded(lines: Frame, terms: Terms) -> Frame:
    """In order, with the number and the two ends of each line's window, its balance, and on which other side a vend
    near an end may lie."""
    ordered = lines.sort("machine", "time", "rank", "file", "row", nulls_last=True, maintain_order=True)
    ordered = ordered.with_columns(pl.col("mark").cum_sum().over("machine").cast(pl.Int64).alias("nth"))
    marks = ordered.filter("mark").select("machine", "nth", pl.col("time").alias("opened_at"))
    ordered = ordered.join(marks, on=["machine", "nth"], how="left", maintain_order="left").join(
        marks.select("machine", pl.col("nth") - 1, pl.col("opened_at").alias("closed_at")),
        on=["machine", "nth"], how="left", maintain_order="left",
    )  # fmt: skip
    sold = (pl.col("what") == "vend") & pl.col("in_figure")
    near_open = (sold & (pl.col("time") - pl.col("opened_at") <= terms.near)).fill_null(False)
    near_close = (sold & (pl.col("closed_at") - pl.col("time") <= terms.near)).fill_null(False)
    sure = pl.when(sold).then(pl.col("change")).otherwise(0)
    return ordered.with_columns(
        pl.when(pl.col("in_figure")).then(sure.cum_sum().over("machine", "nth")).alias("balance"),
        near_open.alias("near_open"),
        near_close.alias("near_close"),
        sides(near_open, near_close).alias("side"),
    )


def _cash_heads(sums: Frame, done: Reconciliation) -> Frame:
    told = done.frames["cash_windows"].select(
        "machine", "opened_at", "vends", "unpriced_vends", "expected", "expected_low", "expected_high", "collected",
        "tube_change", "over_short", "logs_cash", pl.lit(True).alias("shown"),
    )  # fmt: skip
    early = pl.col("nth") == 0
    joined = sums.join(told, on=["machine", "opened_at"], how="left").with_columns(
        pl.when(early).then(pl.lit("early")).when(pl.col("closed_at").is_null()).then(pl.lit("open"))
        .otherwise(pl.lit("closed")).alias("kind"),
    )  # fmt: skip
    begun = pl.col("has_vends") & (pl.col("first_line") <= done.until)
    since = done.since
    if since is not None:
        begun &= (pl.col("closed_at") > since).fill_null(True)
    now = pl.lit(done.until >= done.now)
    shown = joined.filter(
        pl.col("shown").fill_null(False)
        | (begun & (pl.col("kind") == "early"))
        | (begun & (pl.col("kind") == "open") & now)
    )
    must_agree(shown.filter(pl.col("expected").is_not_null()), "worked_out", "expected", "cash window")
    closed = pl.col("kind") == "closed"
    return shown.sort("machine", "nth").with_row_index("window").select(
        pl.col("window").cast(pl.Int64), "machine", "nth", "kind", "opened_at", "closed_at", "vends", "unpriced_vends",
        pl.when(closed).then("expected").otherwise("worked_out").alias("expected"),
        "expected_low", "expected_high", "collected", "tube_change", "over_short", "logs_cash",
    )  # fmt: skip


def payout_figures(done: Reconciliation, payouts: Frame) -> Figures:
    """Payouts with the card vends behind them, then the fees, then the payment itself.

    payouts: rows of the frame `payout_checks`. The balance is the money of the card vends that stayed paid, a range
    taken at its low end, less the fees agreed. Heads: the columns of `payout_checks`, and `window`; sorted by day,
    file and row. A payout that names no days has no line but its own.
    """
    heads = payouts.sort("paid_on", "file", "row").with_row_index("window")
    heads = heads.with_columns(pl.col("window").cast(pl.Int64))
    foreign = done.frames["machines"].filter(pl.col("currency") != done.currency)["machine"].to_list()
    cards = done.frames["priced"].filter(pl.col("tender") == "card")
    day = pl.col("time").dt.convert_time_zone(done.zone).dt.date()
    parts: list[Frame] = []
    for head in heads.iter_rows(named=True):
        covered = cards.clear()
        if head["gross_expected"] is not None:
            machine = head["machine"]
            whose = ~pl.col("machine").is_in(foreign) if machine is None else pl.col("machine") == machine
            covered = cards.filter(whose & (day >= head["from"]) & (day <= head["to"]))
        parts.append(_payout_lines(done, covered, head))
    lines = pl.concat([LINES.empty(), *parts])
    worked_out = lines.filter(pl.col("what") == "payout").select("window", pl.col("balance").alias("worked_out"))
    must_agree(heads.join(worked_out, on="window", how="left"), "worked_out", "net_expected", "payout")
    return with_corrections(Figures(heads, lines), done)


def _payout_lines(done: Reconciliation, covered: Frame, head: dict[str, Any]) -> Frame:
    """The lines of one payout. head: its row of `payout_checks`, with `window`."""
    sold = _paid_lines(done, covered)
    again = repeats(done.frames["notices"], sold, done.paths).with_columns(pl.lit(None, pl.Int64).alias("change"))
    vends = pl.concat([sold, again], how="diagonal_relaxed").sort("time", "rank", "file", "row", maintain_order=True)
    known = head["gross_expected"] is not None
    fees = {"what": "fees", "change": -head["fees_expected"] if known else None, "in_figure": True}
    own = {"what": "payout", "in_figure": True, "figure": head["net"], "note": head["reference"]}
    own |= {name: head[name] for name in ("machine", "file", "row")}
    own |= {} if known else {"why": "names no days: what it pays for cannot be told"}
    last = pl.DataFrame([fees, own] if known else [own], schema=LINES.schema)
    lines = pl.concat([shaped(vends), last])
    sure = pl.when("in_figure").then(pl.col("change").fill_null(0)).otherwise(0)
    return lines.with_columns(
        pl.lit(head["window"], pl.Int64).alias("window"),
        pl.when(pl.col("in_figure") & pl.lit(known)).then(sure.cum_sum()).alias("balance"),
    )
