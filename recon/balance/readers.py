"""What a card reader costs and brings: payback in months, under stated assumptions.

Of the card sales of a month a share would not have been made with cash alone: they bring their sales less the cost of
what was sold. The others would have been made anyway, at the cash price: they bring what cards pay above it. Both cost
fees. Payback is the price of the reader over the gain of a month, without interest; where there is no gain, never.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

import polars as pl

from recon.balance.earnings import Earnings, half_even_of, monthly, price_of_reader
from recon.balance.rounding import COST_UNIT
from recon.model.asked_frames import READERS
from recon.model.border import guard
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

EXTRA_PERCENT = (20, 60)
"""Assumed where nothing else is said: from 20 to 60 percent of the card sales would not have been made with cash
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class CardMonth:
    """One machine's card sales of a month, exact, in minor units; goods: what was sold cost; markup: what cards paid
    above the cash price; fees: percent and per vend; fee: the monthly one."""

    sales: Fraction
    goods: Fraction
    markup: Fraction
    fees: Fraction
    fee: Fraction

    def gain(self, extra: Fraction) -> Fraction:
        """What the reader brings in a month if that share (0 to 1) of the card sales is new."""
        return extra * (self.sales - self.goods) + (1 - extra) * self.markup - self.fees - self.fee

    def break_even(self) -> Fraction | None:
        """The share from which there is no loss; None where not even all of it would do."""
        if self.gain(Fraction(0)) >= 0:
            return Fraction(0)
        slope = self.gain(Fraction(1)) - self.gain(Fraction(0))
        return None if self.gain(Fraction(1)) < 0 else -self.gain(Fraction(0)) / slope


def payback(cost: int, gain: Fraction) -> Fraction | None:
    """Months until the gains of equal months have paid for the cost (investment / net cash flow); None: never."""
    return Fraction(cost) / gain if gain > 0 else None


def readers(done: Reconciliation, earned: Earnings, extra: Sequence[int | Fraction] = EXTRA_PERCENT) -> Frame:
    """The frame `readers`: each machine that sold by card for at least a day of its log, at each of these percentages.

    The amounts of [cards] are taken in the machine's own currency.
    """
    cards = done.settings.cards
    rows: list[tuple[object, ...]] = []
    machines = earned.machines.filter(pl.col("card_sales") > 0).join(earned.by_card, on="machine", how="left")
    for row in machines.iter_rows(named=True):
        micros = 0 if row["ends"] is None else (row["ends"] - row["starts"]) // timedelta(microseconds=1)
        if micros < timedelta(days=1) // timedelta(microseconds=1):
            continue
        digits = done.digits_of.get(row["machine"], done.digits)
        fixed, cost = price_of_reader(cards.monthly, digits), price_of_reader(cards.reader_cost, digits)
        month = CardMonth(
            sales=monthly(row["card_sales"], micros),
            goods=monthly(Fraction(row["card_cost_parts"], COST_UNIT), micros),
            markup=monthly(row["markup"], micros),
            fees=monthly(row["fees"], micros),
            fee=Fraction(fixed),
        )
        shown = [half_even_of(each) for each in (month.sales, month.goods, month.markup, month.fees)]
        even = month.break_even()
        for percent in extra:
            gain = month.gain(Fraction(percent) / 100)
            months = payback(cost, gain)
            rows.append(
                (row["machine"], float(percent), *shown, fixed, half_even_of(gain), cost,
                 None if months is None else float(months), None if even is None else float(even * 100))
            )  # fmt: skip
    return guard(pl.DataFrame(rows, schema=READERS.schema, orient="row"), READERS)
