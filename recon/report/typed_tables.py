"""The tables of a run with typed columns, as the workbook, the CSV files and the Parquet files show them.

Money stays whole minor units, beside the columns `currency` (ISO 4217) and `digits` (decimal digits of it); times stay
UTC, beside the column `zone` (IANA) of the machine's clock. Whoever shows a table spells both.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

from recon.balance.earnings import SUMS, earnings
from recon.balance.plan import plan
from recon.model.frames import TIME, Frame
from recon.model.reconciliation import Reconciliation

ROUNDED = 6
"""Decimal digits of rates, chances and expected units."""

_STOCK = (
    "machine", "label", "product", "opened_at", "closed_at", "opening", "loaded", "removed", "vended", "expected",
    "counted", "variance", "variance_low", "variance_high", "retail_value", "cost_value",
)  # fmt: skip
_CASH_MONEY = ("expected", "expected_low", "expected_high", "collected", "tube_change", "over_short")
_PAYOUT_MONEY = ("gross_expected", "gross", "fees_expected", "fees", "net_expected", "net", "over_short")
_MACHINE_MONEY = (
    "sales", "cash_sales", "card_sales", "fees", "cost_of_goods", "shrink_retail", "shrink_cost", "margin",
)  # fmt: skip
_FINDING = (
    "id", "severity", "kind", "machine", "label", "bus", "product", "opened_at", "closed_at", "units", "amount",
    "state", "decision", "changed_since", "message", "advice", "evidence", "evidence_count",
)  # fmt: skip
_DECISION = (
    "finding", "entry", "at", "kind", "machine", "label", "state", "by", "why", "message", "units", "amount",
    "corrected", "attachment", "attachment_sha256", "standing", "occurs",
)  # fmt: skip
_PLAN = (
    "machine", "label", "tray", "product", "name", "swap", "capacity", "par", "counted_at", "units", "units_then",
    "next_visit", "until", "level", "carry", "empty_chance", "empty_at", "short_chance", "short_at", "lasts_days",
    "shelf_days", "stale_units", "advice", "sells_at",
)  # fmt: skip
_SOLD = tuple(name for name in SUMS if name not in ("vends", "units", "uncosted_units", "shrink_units"))


@dataclass(frozen=True, slots=True)
class Table:
    """One table. name: of its files, and title: of its sheet. frame: its rows; text comes first. money: its columns of
    minor units. sums: columns whose sum a person would check: a sum over other columns would mean nothing."""

    name: str
    title: str
    frame: Frame
    money: tuple[str, ...] = ()
    sums: tuple[str, ...] = ()


def typed_tables(done: Reconciliation) -> Iterator[Table]:
    """Every table of a run, one by one, in the order of the workbook's sheets."""
    frames = done.frames
    findings = _with_places(done, frames["findings"])
    yield _table(done, "findings", "Findings", findings.select(_FINDING), ("amount",))
    stock = frames["stock"].select(_STOCK)
    values = ("retail_value", "cost_value")
    units = ("loaded", "removed", "vended", "variance")
    yield _table(done, "stock", "Stock windows", stock, values, (*units, *values))
    cash = frames["cash_windows"].select("machine", "opened_at", "closed_at", "vends", "unpriced_vends", *_CASH_MONEY)
    yield _table(done, "cash", "Cash", cash, _CASH_MONEY, ("vends", "unpriced_vends", *_CASH_MONEY))
    paid = frames["payout_checks"].sort("paid_on", "from", "machine", "file", "row")
    paid = paid.select("reference", "paid_on", "from", "to", "machine", "vends", *_PAYOUT_MONEY)
    yield _table(done, "payouts", "Payouts", paid, _PAYOUT_MONEY, ("vends", *_PAYOUT_MONEY))
    sites = frames["machines"].select("machine", "site")
    machines = frames["summaries"].join(sites, on="machine", how="left", maintain_order="left")
    counted = ("vends", "unmapped_vends", "shrink_units")
    machines = machines.select("machine", "site", *counted, *_MACHINE_MONEY)
    yield _table(done, "machines", "Machines", machines, _MACHINE_MONEY, (*counted, *_MACHINE_MONEY))
    yield _table(done, "decisions", "Decisions", frames["decisions"].select(_DECISION), ("amount",))
    files = frames["inputs"].select(
        pl.col("path").alias("file"), "kind", "source", "rows", "accepted", "duplicate", "rejected", "sha256"
    )
    yield _table(done, "inputs", "Inputs", files, sums=("rows", "accepted", "duplicate", "rejected"))
    names = frames["inputs"].select("file", "path")
    rejects = frames["rejects"].join(names, on="file", how="left", maintain_order="left")
    rejects = rejects.select(pl.col("path").alias("file"), "row", "reason", "text")
    yield _table(done, "rejects", "Rejected rows", rejects)
    sold = earnings(done).parts.select("machine", "label", "product", *SUMS)
    yield _table(done, "money", "Money per slot", sold, _SOLD, SUMS)
    yield _table(done, "plan", "Load list", _load_list(done), sums=("carry",))


def _load_list(done: Reconciliation) -> Frame:
    made = plan(done)
    visits = made.visits.select("machine", "next_visit", "until")
    listed = made.slots.join(visits, on="machine", how="left", maintain_order="left").select(_PLAN)
    return listed.with_columns(pl.col(pl.Float64).round(ROUNDED))


def _table(
    done: Reconciliation, name: str, title: str, frame: Frame, money: tuple[str, ...] = (), sums: tuple[str, ...] = ()
) -> Table:
    """Add zone, currency and digits where the table has times or money; words of an Enum become text."""
    if TIME in frame.dtypes:
        zone = pl.lit(done.zone)
        if done.zones:
            zone = pl.col("machine").replace_strict(dict(done.zones), default=done.zone, return_dtype=pl.String)
        frame = frame.with_columns(zone.fill_null(done.zone).alias("zone"))
    if money:
        laid = done.frames["machines"].select("machine", "currency", "digits")
        joined = frame.join(laid, on="machine", how="left", maintain_order="left")
        own = {"currency": done.currency, "digits": done.digits}
        frame = joined.with_columns(pl.col(name).fill_null(known) for name, known in own.items())
    words = [column for column, dtype in frame.schema.items() if isinstance(dtype, pl.Enum)]
    return Table(name, title, frame.with_columns(pl.col(words).cast(pl.String)), money, sums)


def _with_places(done: Reconciliation, findings: Frame) -> Frame:
    """Evidence as file name and line; a line 0, which stands for the whole file, becomes empty."""
    paths = dict(enumerate(done.paths))
    file = pl.element().struct.field("file")
    named = file.replace_strict(paths, default=None, return_dtype=pl.String) if paths else file.cast(pl.String)
    row = pl.element().struct.field("row")
    place = pl.struct(named.alias("file"), pl.when(row > 0).then(row).alias("row"))
    return findings.with_columns(pl.col("evidence").list.eval(place))


def spelled_places(frame: Frame) -> Frame:
    """Evidence as one text: `inbox/a.csv:17; inbox/a.csv:18`, a whole file without a line."""
    if "evidence" not in frame.columns:
        return frame
    file, row = (pl.element().struct.field(name) for name in ("file", "row"))
    place = pl.concat_str(file, pl.when(row.is_not_null()).then(pl.concat_str(pl.lit(":"), row)).otherwise(pl.lit("")))
    return frame.with_columns(pl.col("evidence").list.eval(place).list.join("; "))
