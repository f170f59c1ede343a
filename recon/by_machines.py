"""What can be said of some machines by themselves: their vends matched, priced and balanced, and what was found.

A vend of one machine never prices, fills or explains one of another. So machines are the unit by which a long route is
parted, to be reckoned some at a time, and what comes of each part is put together by stacking it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import polars as pl

from recon.balance.cash import cash_windows
from recon.balance.payouts import CardDays, card_days
from recon.balance.prices import dearest, price_vends
from recon.balance.running import breaches
from recon.balance.silence import silent_spans
from recon.balance.stock import stock_windows
from recon.balance.summary import machine_summaries
from recon.findings import of_matching, of_money, of_stock
from recon.findings.draft import Speller, compile_findings
from recon.match.hours import by_hour
from recon.match.slots import match_vends
from recon.match.states import Layouts
from recon.match.unmapped import explain, unmapped_numbers
from recon.model.frames import Frame
from recon.route.folder import Route
from recon.shown import Shown


@dataclass(frozen=True, slots=True)
class Sheets:
    """What people and the processor wrote: counts and loads with their slots, collections, payouts."""

    counts: Frame
    loads: Frame
    cash: Frame
    payouts: Frame

    def of(self, first: str, last: str) -> "Sheets":
        """Those of the machines whose ids lie from `first` to `last`; payouts, which may be for all, as they are."""
        own = pl.col("machine").is_between(pl.lit(first), pl.lit(last))
        return Sheets(self.counts.filter(own), self.loads.filter(own), self.cash.filter(own), self.payouts)


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What came of the vends of some machines.

    priced: the frame `priced`. stock, cash, summaries, findings: what is shown, by the specs of those names. days: as
    from card_days. hours: as from by_hour. strangers: machine, file and row of vends of machines without a layout.
    dearest: as from recon.balance.prices.dearest. shown: moments of the first and the last vend shown. open_range:
    whether the price of any vend is a range, which may hang on the dearest price of all machines.
    """

    priced: Frame
    stock: Frame
    cash: Frame
    summaries: Frame
    findings: Frame
    days: CardDays
    hours: Frame
    strangers: Frame
    dearest: Frame
    shown: tuple[datetime | None, datetime | None]
    open_range: bool

    def without_vends(self) -> "Reckoned":
        """The same but for `priced`, which is empty."""
        return replace(self, priced=self.priced.clear())


def stacked(frames: Iterable[Frame]) -> Frame:
    """Frames of the parts of a route, in the order of their machines, as one."""
    return pl.concat(list(frames))


def highest(parts: Iterable[Frame]) -> Frame:
    """Of what `dearest` gave for each part, what it gives for all."""
    return stacked(parts).group_by("currency").agg(pl.col("top").max())


def reckon(
    route: Route, vends: Frame, sheets: Sheets, laid: Layouts, spell: Speller, shown: Shown, top: Frame | None = None
) -> Reckoned:
    """Match, price and balance the vends of some machines, and find what is to be found in them.

    vends: the frame `vends`; sheets, laid: of the same machines. top: the dearest prices of all machines, where these
    are not all.
    """
    settings = route.settings
    near = timedelta(minutes=settings.tolerance.boundary_minutes)
    matched = match_vends(vends, laid)
    priced = price_vends(
        matched, laid, test_vends=settings.stock.test_vends, currency=settings.currency, top=top
    )
    first = settings.stock.count_when == "before-load"
    stock = stock_windows(sheets.counts, sheets.loads, priced, laid, near=near, count_first=first)
    windows = shown.closing(stock.windows)
    cash = shown.closing(cash_windows(sheets.cash, priced, laid, near=near))
    days = card_days(sheets.payouts, priced, laid, zone=settings.timezone, currency=settings.currency)
    strays = unmapped_numbers(priced)
    explained = explain(strays, stock.windows, laid, route, priced)
    silences = silent_spans(stock.spans, priced.select("machine", "time"), laid.slots)
    findings = compile_findings(
        [
            of_matching.unmapped(strays, explained, priced, spell, laid),
            of_matching.without_slot(sheets.counts, sheets.loads, laid, spell),
            of_matching.undefined(priced, laid, spell),
            of_matching.silent(silences, stock.windows, spell),
            *of_matching.price_findings(priced, laid, spell),
            *of_stock.stock_findings(stock, windows, breaches(stock, laid), sheets.counts, laid, settings, spell),
            *of_money.cash_findings(cash, sheets.cash, sheets.counts, priced, laid, settings, spell),
            of_money.unpaid_vends(days.unpaid, priced, settings.timezone, spell),
        ]
    )
    seen = shown.at(priced)
    span = seen.select(pl.col("time").min().alias("first"), pl.col("time").max().alias("last")).row(0)
    return Reckoned(
        priced=priced,
        stock=windows,
        cash=cash,
        summaries=machine_summaries(seen, windows, laid, settings.cards),
        findings=findings,
        days=days,
        hours=by_hour(priced, spell.zones, settings.timezone),
        strangers=vends.select("machine", "file", "row").join(laid.machines, on="machine", how="anti"),
        dearest=dearest(priced, laid, settings.currency),
        shown=span,
        open_range=bool((priced["priced"] == "range").any()),
    )
