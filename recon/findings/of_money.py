"""Findings about money: the box against the log, and the card money against the log."""

from collections.abc import Iterator

import polars as pl

from recon.balance.payouts import CardMoney
from recon.findings.draft import NO_EVIDENCE, Draft, Speller, evidence_of, how_many, numbered
from recon.match.states import Layouts
from recon.model.frames import Frame
from recon.model.money import round_minor
from recon.model.settings import Settings


def _tolerance(settings: Settings, layouts: Layouts) -> pl.Expr:
    """The cash tolerance in the minor units of each row's machine."""
    own = settings.exponent
    amount = pl.lit(round_minor(settings.tolerance.cash.scaleb(own)), pl.Int64)
    for digits in sorted(set(layouts.digits.values()) - {own}):
        machines = [machine for machine, count in layouts.digits.items() if count == digits]
        other = round_minor(settings.tolerance.cash.scaleb(digits))
        amount = pl.when(pl.col("machine").is_in(machines)).then(pl.lit(other, pl.Int64)).otherwise(amount)
    return amount


def cash_findings(windows: Frame, collections: Frame, priced: Frame, layouts: Layouts, settings: Settings, spell: Speller) -> Iterator[Draft]:
    """Cash windows outside the tolerance, and machines whose cash cannot be reconciled. windows: those shown."""
    got = pl.col("collected") + pl.col("tube_change").fill_null(0)
    judged = windows.with_columns(
        _tolerance(settings, layouts).alias("tolerance"), (got - pl.col("expected_high")).alias("least"), (got - pl.col("expected_low")).alias("most")
    )
    short = judged.filter(pl.col("most") < -pl.col("tolerance"))
    over = judged.filter(pl.col("least") > pl.col("tolerance"))
    yield _cash("cash-short", short, spell)
    yield _cash("cash-over", over, spell)
    undecided = judged.filter(pl.col("over_short").abs() > pl.col("tolerance"))
    undecided = undecided.join(pl.concat([short, over]).select("machine", "opened_at"), on=["machine", "opened_at"], how="anti")
    yield _cash_boundary(undecided.filter(pl.col("unpriced_vends") == 0), settings, spell)
    yield _not_logged(windows.filter(~pl.col("logs_cash")), spell)
    yield _no_collection(collections, priced, layouts, spell)


def _cash(kind: str, rows: Frame, spell: Speller) -> Draft:
    ranged = pl.col("unpriced_vends") > 0
    rows = spell.local(numbered(rows), opened="opened_at", closed="closed_at")
    span = pl.format("{} to {}", spell.money(pl.col("expected_low")), spell.money(pl.col("expected_high")))
    rows = rows.with_columns(
        pl.col("over_short").alias("amount"), spell.money(pl.col("over_short").abs()).alias("size"),
        pl.when(ranged).then(span).otherwise(spell.money(pl.col("expected"))).alias("expected"),
        spell.money(pl.col("collected")).alias("collected"),
        spell.money(pl.col("tube_change")).fill_null("not noted").alias("tubes"),
        pl.when(ranged).then(pl.format(" {} of its cash vends have no certain price.", "unpriced_vends")).otherwise(pl.lit("")).alias("also"),
    )  # fmt: skip
    return Draft(kind, rows, _both_sheets(rows))


def _both_sheets(rows: Frame) -> Frame:
    opening = rows.select("n", pl.col("open_file").alias("file"), pl.col("open_row").alias("row"))
    return evidence_of(pl.concat([opening, rows.select("n", "file", "row")]).sort("n", maintain_order=True))


def _cash_boundary(rows: Frame, settings: Settings, spell: Speller) -> Draft:
    size = spell.money(pl.col("over_short").abs())
    rows = spell.local(numbered(rows), opened="opened_at", closed="closed_at").with_columns(
        pl.lit("").alias("slot"), pl.lit(str(settings.tolerance.boundary_minutes)).alias("minutes"), pl.col("over_short").alias("amount"),
        pl.when(pl.col("over_short") < 0).then(pl.format("cash {} short", size)).otherwise(pl.format("cash {} over", size)).alias("variance"),
    )  # fmt: skip
    return Draft("boundary-vends", rows, _both_sheets(rows))


def _not_logged(windows: Frame, spell: Speller) -> Draft:
    taken = windows.filter(pl.col("collected") > 0).sort("machine", "opened_at")
    groups = taken.group_by("machine", maintain_order=True).agg(
        how_many(pl.len(), "collection").alias("collections"), pl.col("collected").sum().alias("amount"),
        pl.col("opened_at").min(), pl.col("closed_at").max(),
    )  # fmt: skip
    rows = numbered(groups).with_columns(spell.money(pl.col("amount")).alias("collected"))
    return Draft("cash-not-logged", rows, evidence_of(taken.join(rows.select("n", "machine"), on="machine").sort("n", "opened_at")))


def _no_collection(collections: Frame, priced: Frame, layouts: Layouts, spell: Speller) -> Draft:
    moments = collections.group_by("machine").agg(pl.col("time").n_unique().alias("count"))
    paid = priced.filter((pl.col("tender") == "cash") & pl.col("stayed_paid")).join(layouts.machines.select("machine"), on="machine", how="semi")
    paid = paid.sort("machine", "time", "file", "row")
    groups = paid.group_by("machine", maintain_order=True).agg(
        how_many(pl.len(), "vend").alias("vends"), (pl.col("paid_low") * pl.col("quantity")).sum().alias("low"),
        pl.col("time").min().alias("opened_at"), pl.col("time").max().alias("closed_at"),
    ).join(moments, on="machine", how="left", maintain_order="left")  # fmt: skip
    rows = numbered(groups.filter(pl.col("count").fill_null(0) < 2)).with_columns(
        pl.col("low").alias("amount"), spell.money(pl.col("low")).alias("worth"),
        pl.when(pl.col("count").fill_null(0) == 0).then(pl.lit("no collection")).otherwise(pl.lit("only one collection")).alias("collections"),
    )  # fmt: skip
    return Draft("no-collection", rows, evidence_of(paid.join(rows.select("n", "machine"), on="machine").sort("n", "time", "file", "row")))


def payout_findings(money: CardMoney, checks: Frame, layouts: Layouts, settings: Settings, spell: Speller) -> Iterator[Draft]:
    """Payouts that do not agree with the card vends, fees that do not agree with the terms, days without a payout. checks: those shown."""
    tolerance = pl.lit(round_minor(settings.tolerance.cash.scaleb(settings.exponent)), pl.Int64)
    dated = checks.filter(pl.col("gross_expected").is_not_null())
    stated = pl.col("gross").is_not_null()
    # Where the statement gives a gross the fees are a question of their own; where it does not, they are in the net.
    slack = pl.when(stated).then(0).otherwise(pl.col("gross_high") - pl.col("gross_expected"))
    compared = dated.with_columns(
        pl.when(stated).then(pl.col("gross") - pl.col("gross_high")).otherwise(pl.col("over_short") - slack).alias("least"),
        pl.when(stated).then(pl.col("gross") - pl.col("gross_expected")).otherwise("over_short").alias("most"),
        (-pl.when(stated).then(0).otherwise("monthly")).alias("slip"),
    )  # fmt: skip
    yield _payout("payout-short", compared.filter(pl.col("most") < pl.col("slip") - tolerance), spell)
    yield _payout("payout-over", compared.filter(pl.col("least") > tolerance), spell)
    yield _unpaid(money.unpaid, spell)
    yield _fees(checks, tolerance, spell)
    undated = numbered(_named(checks.filter(pl.col("from").is_null() | pl.col("to").is_null()), spell))
    yield Draft("payout-undated", undated.with_columns(pl.col("net").alias("amount"), spell.money(pl.col("net")).alias("net")), evidence_of(undated))


def _named(checks: Frame, spell: Speller) -> Frame:
    label = pl.coalesce("reference", pl.format("of {}", "paid_on"))
    of = pl.when(pl.col("machine").is_not_null()).then(pl.format(" ({})", "machine")).otherwise(pl.lit(""))
    return checks.with_columns(
        pl.concat_str(label, of).alias("named"), pl.format("{} to {}", "from", "to").alias("span"),
        pl.col("starts").alias("opened_at"), pl.col("ends").alias("closed_at"),
    )  # fmt: skip


def _payout(kind: str, rows: Frame, spell: Speller) -> Draft:
    stated = pl.col("gross").is_not_null()
    off = pl.when(stated).then(pl.col("gross") - pl.col("gross_expected")).otherwise("over_short")
    rows = numbered(_named(rows.with_columns(off.alias("amount")), spell))
    figures = pl.when(stated).then(
        pl.format("gross {}, {} expected", spell.money(pl.col("gross")), spell.money(pl.col("gross_expected")))
    ).otherwise(pl.format("net {}, {} expected", spell.money(pl.col("net")), spell.money(pl.col("net_expected"))))  # fmt: skip
    rows = rows.with_columns(
        spell.money(pl.col("amount").abs()).alias("size"), figures.alias("figures"), how_many(pl.col("vends"), "vend").alias("vends")
    )
    return Draft(kind, rows, evidence_of(rows))


def _unpaid(unpaid: Frame, spell: Speller) -> Draft:
    """Days in a row become one finding."""
    ordered = unpaid.sort("machine", "day").with_columns(
        (pl.col("day").diff().over("machine") > pl.duration(days=1)).fill_null(True).cum_sum().over("machine").alias("run")
    )
    groups = ordered.group_by("machine", "run", maintain_order=True).agg(
        pl.col("vends").sum().alias("count"), pl.col("low").sum(), pl.col("day").min().alias("first"), pl.col("day").max().alias("last"),
        pl.col("first_time").min().alias("opened_at"), pl.col("last_time").max().alias("closed_at"),
    )  # fmt: skip
    rows = numbered(groups).with_columns(
        how_many(pl.col("count"), "vend").alias("vends"), (-pl.col("low")).alias("amount"), spell.money(pl.col("low")).alias("worth"),
        pl.col("first").alias("from_day"),
    )  # fmt: skip
    return Draft("unpaid-vends", rows, NO_EVIDENCE)


def _fees(checks: Frame, tolerance: pl.Expr, spell: Speller) -> Draft:
    """Fees other than agreed for the stated gross; a processor that rounds each vend may be off by half a minor unit for each."""
    basis = pl.coalesce("fees_on_gross", "fees_expected")
    off = pl.col("fees") - basis
    slack = pl.max_horizontal(tolerance, (pl.col("vends").fill_null(0) + 1) // 2)
    with_monthly = (off - pl.col("monthly")).abs() <= slack
    odd = checks.filter(pl.col("fees").is_not_null() & basis.is_not_null() & (off.abs() > slack) & ~with_monthly)
    rows = numbered(_named(odd.with_columns((-off).alias("amount"), basis.alias("basis"), off.alias("off")), spell))
    more = pl.when(pl.col("off") >= 0).then(pl.lit("more")).otherwise(pl.lit("less"))
    rows = rows.with_columns(
        spell.money(pl.coalesce("gross", "gross_expected")).alias("gross"), spell.money(pl.col("fees")).alias("fees"),
        spell.money(pl.col("basis")).alias("fees_expected"), pl.concat_str(spell.money(pl.col("off").abs()), pl.lit(" "), more).alias("difference"),
    )  # fmt: skip
    return Draft("fee-differs", rows, evidence_of(rows))
