"""The first screen: is everything accounted for, and how much is not, account by account."""


from typing import NamedTuple

import polars as pl

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.report.html.findings import GRAVE, OPEN
from recon.report.html.spelling import Spelling, how_many


class Account(NamedTuple):
    """One of the accounts that have to come out even. state: agrees, differs or none (nothing to hold it against)."""

    name: str
    state: str
    head: str
    lines: tuple[str, ...]


def answer(done: Reconciliation) -> tuple[str, str]:
    """The sentence on top, and one that tells what it rests on."""
    findings = done.frames["findings"].filter(GRAVE)
    open_ = findings.filter(OPEN)
    decided = findings.height - open_.height
    behind = f"{how_many(decided, 'finding')} {'is' if decided == 1 else 'are'} decided."
    if open_.height:
        counts = dict(open_.group_by(pl.col("severity").cast(pl.String)).len().iter_rows())
        told = [how_many(counts[name], name) for name in ("error", "warning") if name in counts]
        rest = f"{' and '.join(told)} {'is' if open_.height == 1 else 'are'} open."
        return "Not everything is accounted for.", f"{rest} {behind}" if decided else rest
    if not any(done.frames[name].height for name in ("stock", "cash_windows", "payout_checks")):
        return "Nothing was reconciled yet.", "No stock window, cash window or payout closes in what is shown."
    if decided:
        return "Everything is accounted for, or decided.", behind
    return "Everything is accounted for.", "No error and no warning is open."


def accounts(done: Reconciliation, spell: Spelling) -> list[Account]:
    """Stock, cash, cards and files, each by itself: what is short in one may be what is over in another, so they are
    never added up."""
    return [_stock(done, spell), _cash(done, spell), _cards(done, spell), _files(done)]


def _stock(done: Reconciliation, spell: Spelling) -> Account:
    stock = done.frames["stock"]
    if stock.height == 0:
        return Account("Stock", "none", "no window yet", ("Two counts of a slot make a window.",))
    short, over = stock.filter(pl.col("variance") < 0), stock.filter(pl.col("variance") > 0)
    lines = [f"{stock.height - short.height - over.height:,} of {how_many(stock.height, 'window')} agree"]
    for name, part in (("short", short), ("over", over)):
        if part.height:
            unknown = part["retail_value"].null_count()
            unpriced = f", {unknown} of them without a price" if unknown else ""
            units = how_many(abs(int(part["variance"].sum())), "unit")
            lines.append(f"{units} {name} in {how_many(part.height, 'window')}{unpriced}")
    if short.height + over.height:
        lines.append("valued at retail")
    return _account("Stock", spell, short, over, "retail_value", lines)


def _cash(done: Reconciliation, spell: Spelling) -> Account:
    windows = done.frames["cash_windows"]
    known = windows.filter(pl.col("over_short").is_not_null())
    if windows.height == 0:
        return Account("Cash", "none", "no window yet", ("Two collections of a machine make a window.",))
    lines = [f"{spell.total(known, 'expected')} expected in {how_many(known.height, 'collection')}"]
    if windows.height > known.height:
        lines.append(f"{how_many(windows.height - known.height, 'collection')} of machines that log no cash")
    short, over = known.filter(pl.col("over_short") < 0), known.filter(pl.col("over_short") > 0)
    if short.height + over.height == 0 and known.height == 0:
        return Account("Cash", "none", "no log to hold it against", tuple(lines[1:]))
    return _account("Cash", spell, short, over, "over_short", lines)


def _cards(done: Reconciliation, spell: Spelling) -> Account:
    checks = done.frames["payout_checks"].filter(pl.col("over_short").is_not_null())
    unpaid = done.frames["findings"].filter(OPEN & (pl.col("kind") == "unpaid-vends"))
    if checks.height + unpaid.height == 0:
        return Account("Cards", "none", "no payout yet", ("A statement of the processor closes it.",))
    lines = [f"{spell.total(checks, 'net_expected')} net expected in {how_many(checks.height, 'payout')}"]
    short, over = checks.filter(pl.col("over_short") < 0), checks.filter(pl.col("over_short") > 0)
    paid = _account("Cards", spell, short, over, "over_short", lines)
    if unpaid.height == 0:
        return paid
    told = "payouts agree" if paid.state == "agrees" else f"payouts {paid.head}"
    return Account("Cards", "differs", f"{spell.total(unpaid, 'amount')} not paid out", (told, *lines))


def _account(name: str, spell: Spelling, short: Frame, over: Frame, column: str, lines: list[str]) -> Account:
    told = [f"{spell.total(part, column)} {word}" for word, part in (("short", short), ("over", over)) if part.height]
    if not told:
        return Account(name, "agrees", "agrees", tuple(lines))
    return Account(name, "differs", ", ".join(told), tuple(lines))


def _files(done: Reconciliation) -> Account:
    inputs = done.frames["inputs"]
    rows, accepted, duplicate, rejected = inputs.select("rows", "accepted", "duplicate", "rejected").sum().row(0)
    lines = [f"{rows:,} rows = {accepted:,} used + {duplicate:,} duplicate + {rejected:,} rejected"]
    left_out = inputs.filter((pl.col("accepted") == 0) & (pl.col("duplicate") == 0) & (pl.col("rejected") > 0)).height
    if left_out:
        lines.append(f"{how_many(left_out, 'file')} of which no row was used")
    head = f"{how_many(rejected, 'row')} rejected" if rejected else f"{how_many(inputs.height, 'file')} read in full"
    return Account("Files", "differs" if rejected else "agrees", head, tuple(lines))
