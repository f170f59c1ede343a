"""The money of some machines: what their vends brought, by machine, collection, card day and odd price."""

from datetime import timedelta
from typing import NamedTuple

import polars as pl

from recon.balance.cash import cash_vends, cash_windows, loose_cash
from recon.balance.odd_prices import OddPrices, odd_prices
from recon.balance.payouts import CardDays, card_days, paid_by_card
from recon.balance.summary import totals
from recon.match.states import Layouts
from recon.model.frames import Frame
from recon.model.settings import Settings


class Money(NamedTuple):
    """totals: the sums of each machine's vends. cash: the frame `cash_windows`. loose: cash vends that no two
    collections enclose. days: card days, by payout and without one. cards: the vends of days that no payout covers.
    odd: vends whose price is not the layout's.
    """

    totals: Frame
    cash: Frame
    loose: Frame
    days: CardDays
    cards: Frame
    odd: OddPrices


def money_of(collections: Frame, payouts: Frame, priced: Frame, layouts: Layouts, settings: Settings) -> Money:
    """Add up the money of priced vends."""
    near = timedelta(minutes=settings.tolerance.boundary_minutes)
    zone = settings.timezone
    days = card_days(payouts, priced, layouts, zone=zone, currency=settings.currency)
    by_cash = cash_vends(collections, priced, layouts)
    return Money(
        totals=totals(priced),
        cash=cash_windows(collections, by_cash, layouts, near=near),
        loose=loose_cash(collections, by_cash),
        days=days,
        cards=_unpaid_cards(days.unpaid, priced, zone),
        odd=odd_prices(priced, layouts),
    )


def _unpaid_cards(unpaid: Frame, priced: Frame, zone: str) -> Frame:
    """Find the card vends of days that no payout covers: machine, day, time, file, row."""
    vends = priced.select("machine", "time", "file", "row", "tender", "stayed_paid")
    inside = pl.col("time").is_between(unpaid["first_time"].min(), unpaid["last_time"].max())
    paid = paid_by_card(vends.filter(inside) if unpaid.height else vends.clear(), zone)
    own = paid.join(unpaid, on=["machine", "day"], how="semi", maintain_order="left")
    return own.select("machine", "day", "time", "file", "row")
