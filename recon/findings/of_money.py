"""Findings about money: the box against the log, and the card money against the log."""

from collections.abc import Iterator, Mapping
from datetime import timedelta

import polars as pl

from recon.balance.cash import collection_ends, restated_collections
from recon.balance.payouts import CardMoney
from recon.findings.draft import NOTHING, Draft, Speller, evidence_of, how_many, if_any, numbered
from recon.match.states import Layouts
from recon.model.border import those
from recon.model.frames import Frame
from recon.model.money import round_minor
from recon.model.settings import Settings


def _tolerance(settings: Settings, digits_of: Mapping[str, int]) -> pl.Expr:
    """The cash tolerance in the minor units of each row's machine."""
    own = settings.exponent
    amount = pl.lit(round_minor(settings.tolerance.cash.scaleb(own)), pl.Int64)
    for digits in sorted(set(digits_of.values()) - {own}):
        machines = [machine for machine, count in digits_of.items() if count == digits]
        other = round_minor(settings.tolerance.cash.scaleb(digits))
        amount = pl.when(pl.col("machine").is_in(machines)).then(pl.lit(other, pl.Int64)).otherwise(amount)
    return amount


def cash_findings(
    windows: Frame,
    collections: Frame,
    counts: Frame,
    loose: Frame,
    layouts: Layouts,
    settings: Settings,
    spell: Speller,
) -> Iterator[Draft]:
    """Cash windows outside the tolerance, and machines whose cash cannot be reconciled. windows: those shown. loose: as
    from recon.balance.cash.loose_cash."""
    got = pl.col("collected") + pl.col("tube_change").fill_null(0)
    tolerance = _tolerance(settings, spell.digits)
    is_so = windows.select(
        (got - pl.col("expected_low") < -tolerance).alias("short"),
        (got - pl.col("expected_high") > tolerance).alias("over"),
        (pl.col("over_short").abs() > tolerance).alias("outside"),
    )
    short, over = those(windows, is_so["short"]), those(windows, is_so["over"])
    yield _cash(short, "cash-short", collections, spell)
    yield _cash(over, "cash-over", collections, spell)
    undecided = those(windows, is_so["outside"])
    if undecided.height:
        sure = pl.concat([short, over]).select("machine", "opened_at")
        undecided = undecided.join(sure, on=["machine", "opened_at"], how="anti")
        undecided = undecided.filter(pl.col("unpriced_vends") == 0)
    yield _cash_boundary(undecided, collections, settings, spell)
    yield _not_logged(those(windows, ~windows["logs_cash"]), collections, spell)
    near = timedelta(minutes=settings.tolerance.boundary_minutes)
    yield _no_collection(collections, counts, loose, layouts, near, spell)
    known = collections.join(layouts.machines.select("machine"), on="machine", how="semi")
    yield _collection_restated(restated_collections(known), known, spell)


@if_any
def _cash(rows: Frame, kind: str, collections: Frame, spell: Speller) -> Draft:
    ranged = pl.col("unpriced_vends") > 0
    rows = spell.local(numbered(rows), opened="opened_at", closed="closed_at")
    span = pl.format("{} to {}", spell.money(pl.col("expected_low")), spell.money(pl.col("expected_high")))
    rows = rows.with_columns(
        pl.col("over_short").alias("amount"),
        spell.money(pl.col("over_short").abs()).alias("size"),
        pl.when(ranged).then(span).otherwise(spell.money(pl.col("expected"))).alias("expected"),
        spell.money(pl.col("collected")).alias("collected"),
        spell.money(pl.col("tube_change")).fill_null("not noted").alias("tubes"),
        pl.when(ranged)
        .then(pl.format(" {} of its cash vends have no certain price.", "unpriced_vends"))
        .otherwise(pl.lit(""))
        .alias("also"),
    )
    return Draft(kind, rows, _both_sheets(rows, collections))


def _both_sheets(windows: Frame, collections: Frame) -> Frame:
    """Every row of the collections that open and close the windows of each `n`, of the sheets that count."""
    ends = [
        windows.select("n", "machine", pl.col(time).alias("time"), pl.col(file).alias("file"))
        for time, file in (("opened_at", "open_file"), ("closed_at", "file"))
    ]
    # One collection closes a window and opens the next.
    told = pl.concat(ends).unique().join(
        collections.select("machine", "time", "file", "row"), on=["machine", "time", "file"]
    )
    return evidence_of(told.sort("n", "time", "file", "row"))


@if_any
def _cash_boundary(rows: Frame, collections: Frame, settings: Settings, spell: Speller) -> Draft:
    size = spell.money(pl.col("over_short").abs())
    rows = spell.local(numbered(rows), opened="opened_at", closed="closed_at").with_columns(
        pl.lit("").alias("slot"),
        pl.lit(str(settings.tolerance.boundary_minutes)).alias("minutes"),
        pl.col("over_short").alias("amount"),
        pl.when(pl.col("over_short") < 0)
        .then(pl.format("cash {} short", size))
        .otherwise(pl.format("cash {} over", size))
        .alias("variance"),
    )
    return Draft("boundary-vends", rows, _both_sheets(rows, collections))


@if_any
def _not_logged(windows: Frame, collections: Frame, spell: Speller) -> Draft:
    taken = windows.filter(pl.col("collected") > 0).sort("machine", "opened_at")
    groups = taken.group_by("machine", maintain_order=True).agg(
        how_many(pl.len(), "collection").alias("collections"),
        pl.col("collected").sum(),
        (pl.col("collected") + pl.col("tube_change").fill_null(0)).sum().alias("amount"),
        pl.col("opened_at").min(),
        pl.col("closed_at").max(),
    )
    rows = numbered(groups).with_columns(spell.money(pl.col("collected")).alias("collected"))
    taken = taken.join(rows.select("n", "machine"), on="machine")
    return Draft("cash-not-logged", rows, _both_sheets(taken, collections))


def _no_collection(
    collections: Frame, counts: Frame, loose: Frame, layouts: Layouts, near: timedelta, spell: Speller
) -> Draft:
    """Cash vends that no two collections enclose: before the first, or behind the last though the machine was visited
    since.
    """
    if loose.height == 0:
        return NOTHING
    visits = counts.group_by("machine").agg(pl.col("time").max().alias("visited"))
    machines = layouts.machines.select("machine")
    ends = machines.join(collection_ends(collections), on="machine", how="left")
    paid = loose.join(ends.join(visits, on="machine", how="left"), on="machine", how="inner")
    gap = (
        pl.when(pl.col("first").is_null())
        .then(pl.lit("none"))
        .when(pl.col("time") < pl.col("first"))
        .then(pl.lit("before"))
        .when(
            (pl.col("time") >= pl.col("last"))
            & (pl.col("time") < pl.col("visited") - near)
            & (pl.col("visited") - near > pl.col("last"))
        )
        .then(pl.lit("since"))
    )
    open_cash = (
        paid.with_columns(gap.alias("gap"))
        .filter(pl.col("gap").is_not_null())
        .sort("machine", "gap", "time", "file", "row")
    )
    if open_cash.height == 0:
        return NOTHING
    groups = open_cash.group_by("machine", "gap", maintain_order=True).agg(
        how_many(pl.len(), "vend").alias("vends"),
        (pl.col("paid_low") * pl.col("quantity")).sum().alias("low"),
        pl.col("time").min().alias("opened_at"),
        pl.col("time").max().alias("closed_at"),
        pl.col("first", "last", "visited").first(),
    )
    rows = spell.local(numbered(groups), first_text="first", last_text="last", visited_text="visited").with_columns(
        pl.col("low").alias("amount"),
        spell.money(pl.col("low")).alias("worth"),
        pl.when(pl.col("gap") == "before")
        .then(pl.format("before the first collection in the books, on {}", "first_text"))
        .when(pl.col("gap") == "since")
        .then(
            pl.format(
                "since the last collection in the books, on {}, though it was visited on {}",
                "last_text",
                "visited_text",
            )
        )
        .otherwise(pl.lit("and no collection in the books"))
        .alias("where"),
    )
    proof = open_cash.join(rows.select("n", "machine", "gap"), on=["machine", "gap"])
    return Draft("no-collection", rows, evidence_of(proof.sort("n", "time", "file", "row")))


@if_any
def _collection_restated(restated: Frame, collections: Frame, spell: Speller) -> Draft:
    last = restated.unique(["machine", "time"], keep="last", maintain_order=True)
    rows = spell.local(numbered(last.with_columns(pl.col("time").alias("opened_at"))), opened="opened_at")

    def sheet(collected: str, tubes: str) -> pl.Expr:
        return pl.format(
            "{} (tubes {})", spell.money(pl.col(collected)), spell.money(pl.col(tubes)).fill_null("not noted")
        )

    rows = rows.with_columns(
        sheet("collected", "tubes").alias("was"),
        sheet("final", "final_tubes").alias("now"),
        pl.format("{}:{}", spell.path(pl.col("file")), "row").alias("first"),
        pl.format("{}:{}", spell.path(pl.col("final_file")), "final_row").alias("last"),
        (pl.col("final") - pl.col("collected")).alias("amount"),
    )
    proof = collections.join(rows.select("n", "machine", "time"), on=["machine", "time"]).sort("n", "file", "row")
    return Draft("collection-restated", rows, evidence_of(proof))


def payout_findings(money: CardMoney, checks: Frame, settings: Settings, spell: Speller) -> Iterator[Draft]:
    """Payouts that do not agree with the card vends, and fees that do not agree with the terms. checks: those shown."""
    tolerance = _tolerance(settings, spell.digits)
    # What the processor accounts for is what it paid and what it kept: that holds whether the fault lies in the
    # gross, or in a net that is not the gross less the fees. Fees of their own are a question of their own.
    accounted = pl.col("net") + pl.coalesce("fees", "fees_on_gross", "fees_expected")
    # A monthly fee may have been kept unsaid where no fees are stated.
    slip = pl.when(pl.col("fees").is_null()).then(-pl.col("monthly")).otherwise(0)
    dated = pl.col("gross_expected").is_not_null()
    compared = checks.with_columns(
        accounted.alias("accounted"),
        (dated & (accounted - pl.col("gross_expected") < slip - tolerance)).alias("short"),
        (dated & (accounted - pl.col("gross_high") > tolerance)).alias("over"),
    )
    for kind in ("short", "over"):
        yield _payout(those(compared, compared[kind]), f"payout-{kind}", spell)
    yield _fees(checks, tolerance, spell)
    yield _overlap(money.overlaps, checks, spell)
    if checks["from"].null_count() or checks["to"].null_count():
        yield _undated(checks.filter(pl.col("from").is_null() | pl.col("to").is_null()), spell)


@if_any
def _undated(checks: Frame, spell: Speller) -> Draft:
    rows = numbered(_named(checks, spell))
    told = rows.with_columns(pl.col("net").alias("amount"), spell.money(pl.col("net")).alias("net"))
    return Draft("payout-undated", told, evidence_of(rows))


def _named(checks: Frame, spell: Speller) -> Frame:
    days = pl.format("{} to {}", "from", "to").fill_null("days that it does not name")
    return checks.with_columns(
        _name().alias("named"),
        days.alias("span"),
        pl.col("starts").alias("opened_at"),
        pl.col("ends").alias("closed_at"),
    )


def _name(which: str = "") -> pl.Expr:
    """What a payout is called. which: what stands before the names of its columns."""
    label = pl.coalesce(f"{which}reference", pl.format("of {}", f"{which}paid_on"))
    machine = pl.col(f"{which}machine")
    return pl.concat_str(label, pl.when(machine.is_not_null()).then(pl.format(" ({})", machine)).otherwise(pl.lit("")))


@if_any
def _overlap(overlaps: Frame, checks: Frame, spell: Speller) -> Draft:
    """Pairs of payouts that count the same card vends, where either is shown."""
    shown = pl.struct(pl.col("file"), pl.col("row"))
    places = checks.select(shown.alias("place"))["place"].implode()
    either = [pl.struct(file=f"{which}_file", row=f"{which}_row").is_in(places) for which in ("first", "second")]
    rows = numbered(overlaps.filter(pl.any_horizontal(either)))
    one_day = pl.col("first_day") == pl.col("last_day")
    low, high = spell.money(pl.col("low")), spell.money(pl.col("high"))
    rows = rows.with_columns(
        _name("first_").alias("named"),
        _name("second_").alias("other"),
        pl.when(one_day).then(pl.format("{}", "first_day")).otherwise(pl.format("{} to {}", "first_day", "last_day"))
        .alias("span"),
        how_many(pl.col("vends"), "vend").alias("vends"),
        pl.when(pl.col("low") == pl.col("high")).then(low).otherwise(pl.format("between {} and {}", low, high))
        .alias("worth"),
        pl.col("low").alias("amount"),
    )  # fmt: skip
    ends = [
        rows.select("n", pl.col(f"{which}_file").alias("file"), pl.col(f"{which}_row").alias("row"))
        for which in ("first", "second")
    ]
    return Draft("payout-overlap", rows, evidence_of(pl.concat(ends).sort("n", "file", "row")))


@if_any
def _payout(rows: Frame, kind: str, spell: Speller) -> Draft:
    rows = numbered(_named(rows.with_columns((pl.col("accounted") - pl.col("gross_expected")).alias("amount")), spell))
    kept = pl.col("accounted") - pl.col("net")
    figures = pl.format(
        "paid {} and fees {}, {} expected together",
        spell.money(pl.col("net")),
        spell.money(kept),
        spell.money(pl.col("gross_expected")),
    )
    rows = rows.with_columns(
        spell.money(pl.col("amount").abs()).alias("size"),
        figures.alias("figures"),
        how_many(pl.col("vends"), "vend").alias("vends"),
    )
    return Draft(kind, rows, evidence_of(rows))


@if_any
def unpaid_vends(unpaid: Frame, cards: Frame, spell: Speller) -> Draft:
    """Card vends without a payout: days that no paid day parts become one finding. unpaid: what card_days returns.
    cards: the vends of these days, and maybe others."""
    groups = unpaid.group_by("machine", "stretch", maintain_order=True).agg(
        pl.col("vends").sum().alias("count"),
        pl.col("low").sum(),
        pl.col("day").min().alias("first"),
        pl.col("day").max().alias("last"),
        pl.col("first_time").min().alias("opened_at"),
        pl.col("last_time").max().alias("closed_at"),
    )
    rows = numbered(groups).with_columns(
        how_many(pl.col("count"), "vend").alias("vends"),
        (-pl.col("low")).alias("amount"),
        spell.money(pl.col("low")).alias("worth"),
        pl.col("first").alias("from_day"),
    )
    days = unpaid.join(rows.select("n", "machine", "stretch"), on=["machine", "stretch"]).select("n", "machine", "day")
    proof = cards.join(days, on=["machine", "day"]).sort("n", "time", "file", "row")
    return Draft("unpaid-vends", rows, evidence_of(proof))


def _fees(checks: Frame, tolerance: pl.Expr, spell: Speller) -> Draft:
    """Fees other than agreed for the stated gross; a processor that rounds each vend may be off by half a minor unit
    for each.
    """
    basis = pl.coalesce("fees_on_gross", "fees_expected")
    off = pl.col("fees") - basis
    slack = pl.max_horizontal(tolerance, (pl.col("vends").fill_null(0) + 1) // 2)
    with_monthly = (off - pl.col("monthly")).abs() <= slack
    if checks["fees"].null_count() == checks.height:
        return NOTHING
    odd = checks.filter(pl.col("fees").is_not_null() & basis.is_not_null() & (off.abs() > slack) & ~with_monthly)
    if odd.height == 0:
        return NOTHING
    rows = numbered(_named(odd.with_columns((-off).alias("amount"), basis.alias("basis"), off.alias("off")), spell))
    more = pl.when(pl.col("off") >= 0).then(pl.lit("more")).otherwise(pl.lit("less"))
    rows = rows.with_columns(
        spell.money(pl.coalesce("gross", "gross_expected")).alias("gross"),
        spell.money(pl.col("fees")).alias("fees"),
        spell.money(pl.col("basis")).alias("fees_expected"),
        pl.concat_str(spell.money(pl.col("off").abs()), pl.lit(" "), more).alias("difference"),
    )
    return Draft("fee-differs", rows, evidence_of(rows))
