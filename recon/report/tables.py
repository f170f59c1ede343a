"""The result frames as they are shown: money as decimal text, times as local ISO 8601 text, in the columns promised."""

import polars as pl

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import ISO, local_text, money_by_machine


def _money(done: Reconciliation, *names: str) -> list[pl.Expr]:
    return [money_by_machine(pl.col(name), done.digits_of, done.digits).alias(name) for name in names]


def _local(done: Reconciliation, frame: Frame) -> Frame:
    return local_text(frame, ["opened_at", "closed_at"], done.zones, done.zone, ISO)


def inputs_table(done: Reconciliation) -> Frame:
    """One line a file."""
    return done.frames["inputs"].drop("file", "name", "sheet").rename({"path": "file"})


def stock_table(done: Reconciliation) -> Frame:
    """One line a stock window."""
    shown = done.frames["stock"].with_columns(_money(done, "retail_value", "cost_value"))
    return _local(done, shown).select(
        "machine",
        "label",
        "product",
        "opened_at",
        "closed_at",
        "opening",
        "loaded",
        "removed",
        "vended",
        "expected",
        "counted",
        "variance",
        "variance_low",
        "variance_high",
        "retail_value",
        "cost_value",
    )


def cash_table(done: Reconciliation) -> Frame:
    """One line a cash window."""
    money = ("expected", "expected_low", "expected_high", "collected", "tube_change", "over_short")
    shown = done.frames["cash_windows"].with_columns(_money(done, *money))
    return _local(done, shown).select("machine", "opened_at", "closed_at", "vends", "unpriced_vends", *money)


def payouts_table(done: Reconciliation) -> Frame:
    """One line a payout; days as ISO 8601 dates."""
    money = ("gross_expected", "gross", "fees_expected", "fees", "net_expected", "net", "over_short")
    shown = (
        done.frames["payout_checks"]
        .sort("paid_on", "from", "machine", "file", "row")
        .with_columns(
            *_money(done, *money), *(pl.col(day).dt.to_string("%Y-%m-%d") for day in ("paid_on", "from", "to"))
        )
    )
    return shown.select("reference", "paid_on", "from", "to", "machine", "vends", *money)


def machines_table(done: Reconciliation) -> Frame:
    """One line a machine."""
    money = ("sales", "cash_sales", "card_sales", "fees", "cost_of_goods", "shrink_retail", "shrink_cost", "margin")
    return done.frames["summaries"].with_columns(_money(done, *money))


def findings_table(done: Reconciliation) -> Frame:
    """One line a finding, worst first; evidence as a list of file and row."""
    shown = _local(done, done.frames["findings"]).with_columns(_money(done, "amount"))
    paths = dict(enumerate(done.paths))
    file = (
        pl.element().struct.field("file").replace_strict(paths, default=None, return_dtype=pl.String)
        if paths
        else pl.lit("")
    )
    row = pl.element().struct.field("row")
    place = pl.struct(file.alias("file"), pl.when(row > 0).then(row).alias("row"))
    return shown.with_columns(pl.col("severity", "state").cast(pl.String), pl.col("evidence").list.eval(place))


def decisions_table(done: Reconciliation) -> Frame:
    """One line a decision, in the order of the ledger."""
    shown = done.frames["decisions"].with_columns(*_money(done, "amount"), pl.col("state").cast(pl.String))
    return local_text(shown, ["at"], done.zones, done.zone, ISO).drop("evidence_count")


def rejects_table(done: Reconciliation) -> Frame:
    """One line a row that could not be used, with the original text."""
    names = done.frames["inputs"].select("file", "path")
    rows = done.frames["rejects"].join(names, on="file", how="left", maintain_order="left")
    return rows.select(pl.col("path").alias("file"), "row", "reason", "text")
