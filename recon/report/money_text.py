"""Money per machine for a person: sales by tender, what they cost, what is left, and what the card reader brings."""

from collections.abc import Iterator
from typing import Any

import polars as pl

from recon.balance.earnings import Earnings, by_product, by_slot
from recon.model.frames import Frame
from recon.model.money import to_text
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report.asked_lines import many, said, shown, table

_HEAD = ("units", "sales", "fees", "goods", "shrink", "margin")
_SHOWN = ("sales", "fees", "cost_of_goods", "shrink_cost", "margin")


def money_text(done: Reconciliation, earned: Earnings, readers: Frame, *, by: str = "slot") -> str:
    """The figures in plain text of at most 79 columns, ending in a line break. by: the table below each machine, of
    its slots (`slot`) or products (`product`), or none (`machine`).
    """
    lines = [*_head(done, earned)]
    for row in earned.machines.iter_rows(named=True):
        own = earned.parts.filter(pl.col("machine") == row["machine"])
        lines += ["", *_machine(done, row, own, by)]
        lines += _reader(done, readers.filter(pl.col("machine") == row["machine"]))
    lines += ["", *_route(done, earned.machines), "", *_notes(done, earned, readers)]
    return "\n".join(lines) + "\n"


def _head(done: Reconciliation, earned: Earnings) -> Iterator[str]:
    yield f"Money per machine  {shown(done.name, 50)}, {done.currency}"
    spans = [(row["starts"], row["ends"]) for row in earned.machines.iter_rows(named=True) if row["starts"] is not None]
    if not spans:
        yield from said("Time", "the log shows no vend")
        return
    here = zone(done.zone)
    first, last = min(start for start, _ in spans), max(end for _, end in spans)
    yield from said("Time", f"the log shows {first.astimezone(here):%Y-%m-%d} to {last.astimezone(here):%Y-%m-%d}")


def _machine(done: Reconciliation, row: dict[str, Any], own: Frame, by: str) -> Iterator[str]:
    digits = done.digits_of.get(row["machine"], done.digits)

    def money(name: str) -> str:
        return to_text(row[name], digits)

    yield row["machine"]
    used = [name for name in ("cash", "card", "prepaid") if row[f"{name}_sales"]]
    tenders = ", ".join(f"{name} {money(f'{name}_sales')}" for name in used)
    told = f"{money('sales')} of {many(row['vends'], 'paid vend')}"
    yield from said("Sales", f"{told}: {tenders}" if used else told)
    shrink = f"{money('shrink_cost')} shrink ({abs(row['shrink_units'])} short)"
    yield from said(
        "Margin",
        f"{money('margin')} = {money('sales')} - {money('fees')} card fees - {money('cost_of_goods')} goods - {shrink}",
    )
    if row["sales_per_month"] is not None:
        yield from said(
            "Month",
            f"{money('sales_per_month')} sales, {money('margin_per_month')} margin: {row['months']:.2f} months logged",
        )
    if row["open_sales"]:
        yield from said("Open", f"up to {money('open_sales')} more sales: vends whose price is known as a range only")
    if row["uncosted_units"]:
        units = many(row["uncosted_units"], "unit")
        yield from said("Cost", f"{units} without a unit cost: counted as costing nothing")
    if by != "machine":
        yield from _table(own, digits, by)


def _table(own: Frame, digits: int, by: str) -> Iterator[str]:
    frame = by_slot(own) if by == "slot" else by_product(own)
    name = "label" if by == "slot" else "product"
    rows = [
        (shown(row[name] or "none", 24), f"{row['units']:,}", *(to_text(row[column], digits) for column in _SHOWN))
        for row in frame.iter_rows(named=True)
    ]
    if rows:
        yield from table((by, *_HEAD), rows)


def _reader(done: Reconciliation, rows: Frame) -> Iterator[str]:
    if rows.height == 0:
        return
    every = list(rows.iter_rows(named=True))
    first = every[0]
    digits = done.digits_of.get(first["machine"], done.digits)

    def money(name: str) -> str:
        return to_text(first[name], digits)

    yield from said(
        "Reader",
        f"a month: {money('card_sales')} by card for goods of {money('goods')}; {money('fees')} card fees, "
        f"{money('monthly')} monthly",
    )
    for row in every:
        gain = to_text(row["gain"], digits)
        price = to_text(row["reader_cost"], digits)
        months = row["payback_months"]
        paid = f"{price} is never paid back" if months is None else f"{price} is paid back in {months:.1f} months"
        share = f"if {row['extra_percent']:g} % of it is new"
        yield from said("", f"{share}: {gain} a month, so {paid}")
    even = first["break_even_percent"]
    yield from said("", "no share would do" if even is None else f"it breaks even at {even:.1f} %")


def _route(done: Reconciliation, machines: Frame) -> Iterator[str]:
    """All machines below each other, with a total for each currency."""
    laid = done.frames["machines"].select("machine", "currency", "digits")
    every = machines.join(laid, on="machine", how="left", maintain_order="left").with_columns(
        pl.col("currency").fill_null(done.currency), pl.col("digits").fill_null(done.digits)
    )
    rows = []
    for (code,), part in every.group_by("currency", maintain_order=True):
        digits = part.item(0, "digits")
        for row in part.iter_rows(named=True):
            rows.append((row["machine"], f"{row['units']:,}", *(to_text(row[name], digits) for name in _SHOWN)))
        sums = part.select("units", *_SHOWN).sum().row(0, named=True)
        rows.append((f"all, {code}", f"{sums['units']:,}", *(to_text(sums[name], digits) for name in _SHOWN)))
    if rows:
        yield from table(("machine", *_HEAD), rows)


def _notes(done: Reconciliation, earned: Earnings, readers: Frame) -> Iterator[str]:
    cards = done.settings.cards
    yield from said(
        "Fees",
        f"{cards.percent} % and {cards.per_vend} on each card vend, by route.toml; the monthly fee stands under Reader "
        "alone.",
    )
    if readers.height:
        yield from said(
            "Reader",
            "the share of card sales that cash would not have made is assumed, not measured; the rest would have "
            "paid the cash price. A month is 365.25 / 12 days. No interest, no tax, no work.",
        )
    if earned.machines["shrink_units"].sum():
        yield from said("Shrink", "what counts found short, at cost. A variance is never proof of who.")
