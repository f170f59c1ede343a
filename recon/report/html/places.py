"""The first screen: where the differences are, machine by machine."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import polars as pl

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.report.html.findings import GRAVE, OPEN
from recon.report.html.spelling import Spelling
from recon.report.html.svg import shortened

NAME, SITE = 40, 60
"""Letters of a machine's name and site that overviews show; the machine's own part has all of them."""


class Where(NamedTuple):
    """One machine (or the route's own payouts) on the first screen: sizes short and over, in its own currency."""

    machine: str
    page: str
    site: str
    open: int
    cells: tuple["Cell", ...]


class Cell(NamedTuple):
    """What one account of one machine comes to. down, up: bar lengths, 0 to 100."""

    short: str
    over: str
    down: int
    up: int


def where(
    done: Reconciliation, spell: Spelling, place: Callable[[str | None], str], most: int
) -> tuple[list[Where], int]:
    """Machines with something open or a difference, the largest shorts first, at most so many, and how many are left
    out. What names no machine stands under `the whole route`."""
    table = _differences(done)
    worst = (pl.col("stock_short") + pl.col("cash_short") + pl.col("card_short")).alias("worst")
    table = table.with_columns(worst).sort("worst", -pl.col("open"), "machine", nulls_last=True)
    names = ("stock", "cash", "card")
    largest = _scale(table, names, spell)
    found = []
    for row in table.head(most).iter_rows(named=True):
        machine = row["machine"]
        scale = largest[spell.laid.get(machine, done.currency)]
        cells = tuple(
            Cell(
                spell.money(row[f"{name}_short"], machine) if row[f"{name}_short"] else "",
                spell.signed(row[f"{name}_over"], machine) if row[f"{name}_over"] else "",
                _share(-row[f"{name}_short"], scale),
                _share(row[f"{name}_over"], scale),
            )
            for name in names
        )
        name, site = shortened(machine or "the whole route", NAME), shortened(row["site"] or "", SITE)
        found.append(Where(name, place(machine), site, row["open"], cells))
    return found, max(table.height - most, 0)


def _share(size: int, scale: int) -> int:
    return 0 if size == 0 else max(2, round(100 * size / scale))


def _scale(table: Frame, names: Sequence[str], spell: Spelling) -> dict[str, int]:
    """The largest difference of each currency: bars are compared within one."""
    codes, own = spell.laid, spell.done.currency
    scale: dict[str, int] = {own: 1}
    for row in table.iter_rows(named=True):
        code = codes.get(row["machine"], own)
        sizes = [abs(row[f"{name}_{side}"]) for name in names for side in ("short", "over")]
        scale[code] = max(scale.get(code, 1), *sizes)
    return scale


def _differences(done: Reconciliation) -> Frame:
    """machine (null: the route), site, open (findings), and short (negative or 0) and over by account, minor units."""
    findings = done.frames["findings"].filter(OPEN & GRAVE)
    unpaid = findings.filter(pl.col("kind") == "unpaid-vends").select("machine", pl.col("amount").alias("difference"))
    checks = done.frames["payout_checks"].select("machine", pl.col("over_short").alias("difference"))
    parts = {
        "stock": done.frames["stock"].select("machine", pl.col("retail_value").alias("difference")),
        "cash": done.frames["cash_windows"].select("machine", pl.col("over_short").alias("difference")),
        "card": pl.concat([checks, unpaid]),
    }
    table = findings.group_by("machine").agg(pl.len().cast(pl.Int64).alias("open"))
    for name, part in parts.items():
        size = pl.col("difference")
        sums = part.group_by("machine").agg(
            size.filter(size < 0).sum().alias(f"{name}_short"), size.filter(size > 0).sum().alias(f"{name}_over")
        )
        table = table.join(sums, on="machine", how="full", coalesce=True, nulls_equal=True)
    figures = [name for name in table.columns if name != "machine"]
    table = table.with_columns(pl.col(name).fill_null(0) for name in figures)
    table = table.filter(pl.any_horizontal(pl.col(name) != 0 for name in figures))
    return table.join(done.frames["machines"].select("machine", "site"), on="machine", how="left")
