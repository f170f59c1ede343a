"""Findings about stock: windows that do not agree, balances that cannot be, counts that are missing."""

from collections.abc import Iterator
from datetime import timedelta

import polars as pl

from recon.balance.stock import Stock
from recon.findings.draft import NOTHING, Draft, Speller, evidence_of, how_many, if_any, numbered
from recon.match.states import Layouts, product_changes
from recon.model.border import ordered, those
from recon.model.frames import Frame
from recon.model.settings import Settings


def stock_findings(
    stock: Stock, windows: Frame, breaches: Frame, counts: Frame, layouts: Layouts, settings: Settings, spell: Speller
) -> Iterator[Draft]:
    """Everything that stock windows have to say. windows: those shown. counts: with their slots."""
    units = settings.tolerance.units
    near = timedelta(minutes=settings.tolerance.boundary_minutes)
    short = those(windows, windows["variance_high"] < -units)
    over = those(windows, windows["variance_low"] > units)
    variance = windows["variance"]
    outside = those(windows, (variance > units) | (variance < -units))
    told = _beside(windows) if short.height or over.height else windows
    moves = _moves_of([short, over, outside], stock)
    yield _variance(short, "stock-short", told, moves, spell)
    yield _variance(over, "stock-over", told, moves, spell)
    if outside.height:
        sure = pl.concat([short, over]).select("slot", "opened_at")
        outside = outside.join(sure, on=["slot", "opened_at"], how="anti")
    yield _boundary(outside, settings, moves, spell)
    if breaches.height:
        for kind in ("below-zero", "above-capacity"):
            yield _breach(breaches.filter(pl.col("kind") == kind), kind, stock, layouts, spell)
    yield _no_opening(stock.early, layouts, spell)
    yield _not_counted(counts, layouts, spell)
    yield _restated(stock.restated, layouts, spell)
    yield _product_changed(windows, layouts, near, spell)


def _beside(windows: Frame) -> Frame:
    """What else speaks for each variance: the window next to it with the same figure the other way round; undecided
    vends.
    """
    # Windows stand slot by slot, in the order of their times, none left out between two.
    beside = pl.col("slot") == pl.col("slot").shift(-1)
    nxt = pl.when(beside).then(pl.col("variance").shift(-1))
    before = pl.when(beside.shift(1)).then(pl.col("variance").shift(1))
    opposite = pl.col("variance") != 0
    return ordered(windows, ("slot", "opened_at")).select(
        "slot",
        "opened_at",
        pl.when(opposite & (nxt == -pl.col("variance")))
        .then(pl.lit(" The next window is off by as many the other way: the count between them may be wrong."))
        .when(opposite & (before == -pl.col("variance")))
        .then(pl.lit(" The window before is off by as many the other way: the count between them may be wrong."))
        .otherwise(pl.lit(""))
        .alias("neighbour"),
        (pl.col("variance_high") - pl.col("variance")).alias("spare_up"),
        (pl.col("variance") - pl.col("variance_low")).alias("spare_down"),
    )


@if_any
def _variance(rows: Frame, kind: str, told: Frame, moves: Frame, spell: Speller) -> Draft:
    rows = numbered(rows.join(told, on=["slot", "opened_at"], how="left", maintain_order="left"))
    spare = pl.col("spare_up" if kind == "stock-short" else "spare_down")
    doubt = (
        pl.when(spare > 0)
        .then(pl.format(" Vends near the counts could explain {} of them.", spare))
        .otherwise(pl.lit(""))
    )
    rows = spell.local(rows, opened="opened_at", closed="closed_at").with_columns(
        pl.col("variance").alias("units"),
        pl.col("retail_value").alias("amount"),
        pl.col("variance").abs().alias("size"),
        pl.when(pl.col("retail_value").is_not_null())
        .then(pl.format(", {} at retail", spell.money(pl.col("retail_value").abs())))
        .otherwise(pl.lit(""))
        .alias("at_retail"),
        (doubt + pl.col("neighbour")).alias("also"),
    )
    return Draft(kind, rows, _window_evidence(rows, moves))


def _moves_of(parts: list[Frame], stock: Stock) -> Frame:
    """Return every load, removal and vend of these windows: slot, opened_at, time, file and row. Looked up once for
    all."""
    keys = ["slot", "opened_at"]
    if not any(part.height for part in parts):
        return NOTHING.rows
    windows = pl.concat([part.select(keys) for part in parts if part.height]).unique()
    marks = stock.spans.select("slot", pl.col("time").alias("opened_at"), pl.col("mark").alias("window"))
    asked = windows.join(marks, on=keys)
    return stock.moves_of(asked["window"]).drop("slot").join(asked, on="window").select(*keys, "time", "file", "row")


def _window_evidence(rows: Frame, moves: Frame) -> Frame:
    """Return both counts, then every load, removal and vend of the window in time order. moves: what _moves_of
    returns."""
    opening = rows.select(
        "n",
        pl.lit(0).alias("rank"),
        pl.col("opened_at").alias("time"),
        pl.col("open_file").alias("file"),
        pl.col("open_row").alias("row"),
    )
    closing = rows.select(
        "n",
        pl.lit(1).alias("rank"),
        pl.col("closed_at").alias("time"),
        pl.col("close_file").alias("file"),
        pl.col("close_row").alias("row"),
    )
    inside = moves.join(rows.select("n", "slot", "opened_at"), on=["slot", "opened_at"]).select(
        "n", pl.lit(2).alias("rank"), "time", "file", "row"
    )
    both = pl.concat([opening, closing, inside], how="vertical_relaxed").unique(
        ["n", "file", "row"], keep="first", maintain_order=True
    )
    return evidence_of(both.sort("n", "rank", "time", "file", "row"))


@if_any
def _boundary(rows: Frame, settings: Settings, moves: Frame, spell: Speller) -> Draft:
    rows = spell.local(numbered(rows), opened="opened_at", closed="closed_at").with_columns(
        pl.format(" {}", "label").alias("slot_text"),
        pl.lit(str(settings.tolerance.boundary_minutes)).alias("minutes"),
        pl.col("variance").alias("units"),
        pl.col("retail_value").alias("amount"),
        pl.when(pl.col("variance") < 0)
        .then(pl.format("{} short", -pl.col("variance")))
        .otherwise(pl.format("{} over", "variance"))
        .alias("said"),
    )
    proof = _window_evidence(rows, moves)
    return Draft(
        "boundary-vends", rows.drop("slot", "variance").rename({"slot_text": "slot", "said": "variance"}), proof
    )


@if_any
def _breach(rows: Frame, kind: str, stock: Stock, layouts: Layouts, spell: Speller) -> Draft:
    opening = stock.spans.select(
        pl.col("mark").alias("window"), "opening", pl.col("file").alias("open_file"), pl.col("row").alias("open_row")
    )
    rows = numbered(
        rows.join(opening, on="window", how="left", maintain_order="left").join(
            layouts.slots, on="slot", how="left", maintain_order="left"
        )
    )
    rows = spell.local(rows.drop("kind"), opened="opened_at", when="time").with_columns(
        pl.col("balance").alias("units")
    )
    here = rows.select("n", "file", "row")
    start = rows.select("n", pl.col("open_file").alias("file"), pl.col("open_row").alias("row"))
    return Draft(
        kind, rows, evidence_of(pl.concat([here, start]).unique(maintain_order=True).sort("n", maintain_order=True))
    )


@if_any
def _no_opening(early: Frame, layouts: Layouts, spell: Speller) -> Draft:
    groups = (
        early.group_by("slot", maintain_order=True)
        .agg(
            (pl.col("units") > 0).sum().alias("sold"),
            (pl.col("units") == 0).sum().alias("put"),
            (-pl.col("units").sum()).alias("units"),
            pl.col("time").min().alias("opened_at"),
            pl.col("first_count").first().alias("closed_at"),
        )
        .join(layouts.slots, on="slot", how="left", maintain_order="left")
    )
    vends, loads = how_many(pl.col("sold"), "vend"), how_many(pl.col("put"), "load")
    rows = spell.local(numbered(groups), first="closed_at").with_columns(
        pl.when(pl.col("put") == 0)
        .then(vends)
        .when(pl.col("sold") == 0)
        .then(loads)
        .otherwise(pl.concat_str(vends, pl.lit(" and "), loads))
        .alias("moved"),
        pl.when(pl.col("first").is_null())
        .then(pl.lit("any count of it"))
        .otherwise(pl.format("its first count on {}", "first"))
        .alias("until"),
    )
    return Draft(
        "no-opening-count",
        rows,
        evidence_of(early.join(rows.select("n", "slot"), on="slot").sort("n", "time", "file", "row")),
    )


def _not_counted(counts: Frame, layouts: Layouts, spell: Speller) -> Draft:
    if counts["counted"].null_count() == 0:
        return NOTHING
    blank = counts.filter(pl.col("counted").is_null() & pl.col("slot").is_not_null())
    if blank.height == 0:
        return NOTHING
    counted = counts.filter(pl.col("counted").is_not_null()).select("slot", "time")
    blank = blank.join(counted, on=["slot", "time"], how="anti")
    blank = blank.sort("slot", "time", "file", "row").unique(["slot", "time"], keep="first", maintain_order=True)
    rows = numbered(blank.drop("machine", "label").join(layouts.slots, on="slot", how="left", maintain_order="left"))
    rows = spell.local(rows.with_columns(pl.col("time").alias("opened_at")), opened="opened_at")
    return Draft("not-counted", rows, evidence_of(rows))


@if_any
def _restated(restated: Frame, layouts: Layouts, spell: Speller) -> Draft:
    last = restated.unique(["slot", "time"], keep="last", maintain_order=True)
    rows = numbered(last.join(layouts.slots, on="slot", how="left", maintain_order="left"))
    rows = spell.local(rows.with_columns(pl.col("time").alias("opened_at")), opened="opened_at").with_columns(
        pl.col("counted").alias("was"),
        pl.format("{}:{}", spell.path(pl.col("file")), "row").alias("first"),
        pl.format("{}:{}", spell.path(pl.col("final_file")), "final_row").alias("last"),
        (pl.col("final") - pl.col("counted")).alias("units"),
    )
    earlier = restated.join(rows.select("n", "slot", "time"), on=["slot", "time"]).select("n", "file", "row")
    later = rows.select("n", pl.col("final_file").alias("file"), pl.col("final_row").alias("row"))
    return Draft("count-restated", rows, evidence_of(pl.concat([earlier, later]).sort("n", "file", "row")))


def _product_changed(windows: Frame, layouts: Layouts, near: timedelta, spell: Speller) -> Draft:
    """Layout changes of the product more than `near` from either count of the window that they fall into."""
    changes = product_changes(layouts)
    if changes.height == 0:
        return NOTHING
    hits = (
        windows.join(changes, on="slot", how="inner")
        .filter(
            (pl.col("changed_at") - pl.col("opened_at") > near) & (pl.col("closed_at") - pl.col("changed_at") > near)
        )
    )
    if hits.height == 0:
        return NOTHING
    hits = hits.sort("slot", "opened_at", "changed_at")
    rows = spell.local(numbered(hits), opened="opened_at", closed="closed_at", changed="changed_at")
    opening = rows.select("n", pl.col("open_file").alias("file"), pl.col("open_row").alias("row"))
    closing = rows.select("n", pl.col("close_file").alias("file"), pl.col("close_row").alias("row"))
    return Draft(
        "product-changed-without-count", rows, evidence_of(pl.concat([opening, closing]).sort("n", maintain_order=True))
    )
