"""Money of one machine: where its margin comes from, slot by slot, and what its card reader costs and brings."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from recon.model.frames import Frame
from recon.report.html.spelling import Spelling, how_many


class Money(NamedTuple):
    """rows: label, units, sales, fees, goods, shrink, margin. remarks: what the figures leave open. reader:
    sentences about the card reader, its assumptions among them; none where nothing was sold by card."""

    rows: tuple[tuple[str, ...], ...]
    month: str
    remarks: tuple[str, ...]
    reader: tuple[str, ...]


SLOT_MONEY = ("sales", "fees", "cost_of_goods", "shrink_cost", "margin")
"""What a slot's row shows of the frame `earnings`, beside its units."""


def money(spell: Spelling, machine: str, sums: Frame, slots: Frame, readers: Frame) -> Money:
    """sums: the machine's row of `machine_earnings`. slots: its rows of `earnings` by slot. readers: those of
    `readers`."""
    rows = tuple(
        (
            row["label"] or "no slot has the number",
            f"{row['units']:,}",
            *(spell.money(row[name], machine) for name in SLOT_MONEY),
        )
        for row in slots.rows(named=True)
    )
    if sums.height == 0:
        return Money(rows, "", (), ())
    whole = sums.row(0, named=True)
    month = ""
    if whole["sales_per_month"] is not None:
        sales, margin = (spell.money(whole[f"{name}_per_month"], machine) for name in ("sales", "margin"))
        month = f"A month: {sales} sales, {margin} margin, from {whole['months']:.2f} months logged."
    return Money(rows, month, tuple(_remarks(spell, machine, whole)), tuple(_reader(spell, machine, readers)))


def _remarks(spell: Spelling, machine: str, whole: Mapping[str, Any]) -> list[str]:
    told = []
    if whole["open_sales"]:
        more = spell.money(whole["open_sales"], machine)
        told.append(f"Sales may be up to {more} more: some prices are known as a range only.")
    if whole["uncosted_units"]:
        told.append(f"{how_many(whole['uncosted_units'], 'unit')} without a unit cost count as costing nothing.")
    return told


def _reader(spell: Spelling, machine: str, readers: Frame) -> list[str]:
    if readers.height == 0:
        return []
    every = list(readers.iter_rows(named=True))
    first = every[0]
    sold, goods, fees, fee, cost = (
        spell.money(first[name], machine) for name in ("card_sales", "goods", "fees", "monthly", "reader_cost")
    )
    told = [f"A month of card sales: {sold}, for goods of {goods}; fees {fees}, monthly fee {fee}."]
    for row in every:
        gain = spell.signed(row["gain"], machine)
        paid = "never" if row["payback_months"] is None else f"in {row['payback_months']:.1f} months"
        told.append(
            f"If {row['extra_percent']:g} % of it would not have been made with cash: {gain} a month, "
            f"so the {cost} of a reader is paid back {paid}."
        )
    even = first["break_even_percent"]
    told.append("At no share does it bring a gain." if even is None else f"It breaks even at {even:.1f} %.")
    told.append("That share is assumed, not measured. No interest, no tax, no work.")
    return told
