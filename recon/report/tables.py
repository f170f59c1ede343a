"""The result frames as they are shown: money as decimal text, times as local ISO 8601 text, in the columns promised."""

from collections.abc import Sequence
from typing import Final

import polars as pl

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import ISO, local_text, money_by_machine
from recon.report.json_lines import Group

TERMS: Final = "\0terms"
"""The column of `with_terms`."""


def _money(done: Reconciliation, *names: str) -> list[pl.Expr]:
    return [money_by_machine(pl.col(name), done.digits_of, done.digits).alias(name) for name in names]


def _local(done: Reconciliation, frame: Frame) -> Frame:
    return local_text(frame, ["opened_at", "closed_at"], done.zones, done.zone, ISO)


def inputs_table(done: Reconciliation) -> Frame:
    """One line a file."""
    inputs = done.frames["inputs"]
    rest = [name for name in inputs.columns if name not in ("file", "path", "name", "sheet")]
    return inputs.select(pl.col("path").alias("file"), *rest)


STOCK_GROUPS: Final = (
    Group(("machine", "label", "product")),
    Group(("opened_at",), ("opened_at", TERMS)),
    Group(("closed_at",), ("closed_at", TERMS)),
    Group(
        ("opening", "loaded", "removed", "vended", "expected", "counted"),
        ("opening", "loaded", "removed", "vended", "expected", "counted"),
    ),
    Group(
        ("variance", "variance_low", "variance_high", "retail_value", "cost_value"),
        ("variance", "variance_low", "variance_high", "retail_value", "cost_value", TERMS),
    ),
)
"""The columns of a stock window in their order, and what decides the text of each."""
_STOCK = tuple(name for group in STOCK_GROUPS for name in group.names)


def stock_table(done: Reconciliation, windows: Frame, names: Sequence[str] = _STOCK) -> Frame:
    """Return one line a stock window. windows: of the frame `stock`. names: of its columns, or all."""
    return _shown(done, windows, names, money=("retail_value", "cost_value"))


def with_terms(done: Reconciliation, rows: Frame) -> Frame:
    """Return rows with a column `TERMS`: a number for the zone and the digits of money that are those of their machine.
    """
    known = {(done.zone, done.digits): 0}
    of_machine: dict[str, int] = {}
    for machine in {*done.zones, *done.digits_of}:
        terms = done.zones.get(machine, done.zone), done.digits_of.get(machine, done.digits)
        of_machine[machine] = known.setdefault(terms, len(known))
    if len(known) == 1:
        return rows.with_columns(pl.lit(0, pl.Int64).alias(TERMS))
    stretches = rows["machine"].rle().struct.field("value").to_list()
    numbers = pl.Series([of_machine.get(machine, 0) for machine in stretches], dtype=pl.Int64)
    return rows.with_columns(numbers.gather(rows["machine"].rle_id()).alias(TERMS))


def _shown(done: Reconciliation, rows: Frame, names: Sequence[str], money: Sequence[str]) -> Frame:
    """Return these columns of the rows: those of money as decimal text, moments as local text, and all others as they
    are."""
    moments = [name for name in ("opened_at", "closed_at") if name in names]
    spelled = local_text(rows, moments, done.zones, done.zone, ISO) if moments else rows
    amounts = {name: text for name, text in zip(money, _money(done, *money), strict=True) if name in names}
    return spelled.select(amounts.get(name, name) for name in names)


def cash_table(done: Reconciliation, windows: Frame) -> Frame:
    """Return one line a cash window. windows: of the frame `cash_windows`."""
    money = ("expected", "expected_low", "expected_high", "collected", "tube_change", "over_short")
    return _shown(done, windows, ("machine", "opened_at", "closed_at", "vends", "unpriced_vends", *money), money)


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


def findings_table(done: Reconciliation, findings: Frame) -> Frame:
    """Return one line a finding, worst first; evidence as a list of file and row. findings: of the frame of that name.
    """
    shown = _local(done, findings).with_columns(_money(done, "amount"))
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
