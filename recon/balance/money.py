"""The money of some machines: what their vends brought, by machine, collection, card day and odd price."""

from datetime import timedelta
from typing import NamedTuple

import polars as pl

from recon.balance.carried import NOTHING, Carried
from recon.balance.cash import Cash, cash_windows, loose_cash
from recon.balance.odd_prices import OddPrices, odd_prices
from recon.balance.payouts import CardDays, card_days, paid_by_card
from recon.balance.summary import totals
from recon.match.states import Layouts
from recon.model.carried_frames import CARDS, LOOSE
from recon.model.frames import Frame
from recon.model.settings import Settings


class Money(NamedTuple):
    """totals, past_totals: as from recon.balance.summary.totals. loose: cash that no two collections enclose, as a
    frame `loose`. days: as from card_days. cards: of days that no payout covers the vends at hand, as a frame `cards`.
    Both have `past` besides, the carried ones among them.
    """

    totals: Frame
    past_totals: Frame
    cash: Cash
    loose: Frame
    days: CardDays
    cards: Frame
    odd: OddPrices


def money_of(
    collections: Frame,
    payouts: Frame,
    priced: Frame,
    layouts: Layouts,
    settings: Settings,
    *,
    past: pl.Series,
    carried: Carried = NOTHING,
) -> Money:
    """Add up the money of priced vends.

    past: which of the vends are to be carried forward. carried: what was, of vends that are not among these.
    """
    near = timedelta(minutes=settings.tolerance.boundary_minutes)
    zone = settings.timezone
    every, before = totals(priced, past, carried.totals)
    days = card_days(payouts, priced, layouts, zone=zone, currency=settings.currency, past=past, carried=carried)
    return Money(
        totals=every,
        past_totals=before,
        cash=cash_windows(collections, priced, layouts, near=near, past=past, carried=carried),
        loose=_with_carried(loose_cash(collections, priced, past), carried.loose, LOOSE.names),
        days=days,
        cards=_with_carried(_cards(days, priced, past, zone), carried.cards, CARDS.names),
        odd=odd_prices(priced, layouts, past, carried),
    )


def _with_carried(vends: Frame, carried: Frame, names: list[str]) -> Frame:
    before = carried.select(*names, pl.lit(True).alias("past"))
    return pl.concat([before, vends.select(*names, "past")])


def _cards(days: CardDays, priced: Frame, past: pl.Series, zone: str) -> Frame:
    """The card vends of uncovered days: those that a finding tells, and past ones that a later one may."""
    span = ("machine", "day", "first_time", "last_time")
    open_ = days.past.select(span).join(days.covered, on=["machine", "day"], how="anti")
    # The same day may be in both, in the second only as far as it is past.
    asked = pl.concat([days.unpaid.select(span), open_]).group_by("machine", "day").agg(
        pl.col("first_time").min(), pl.col("last_time").max()
    )  # fmt: skip
    if asked.height == 0:
        return pl.DataFrame(schema={**CARDS.schema, "past": pl.Boolean})
    vends = priced.select("machine", "time", "file", "row", "tender", "stayed_paid", past.alias("past"))
    inside = pl.col("time").is_between(asked["first_time"].min(), asked["last_time"].max())
    paid = paid_by_card(vends.filter(inside), zone)
    return paid.join(asked, on=["machine", "day"], how="semi", maintain_order="left")
