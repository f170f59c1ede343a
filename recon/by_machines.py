"""What can be said of some machines by themselves: their vends matched, priced and balanced, and what was found.

A vend of one machine never prices, fills or explains one of another. So machines are the unit by which a long route is
parted, to be reckoned some at a time, and what comes of each part is put together by stacking it.
"""

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import polars as pl

from recon.balance.money import Money, money_of
from recon.balance.payouts import CardDays
from recon.balance.prices import dearest, price_vends
from recon.balance.running import breaches
from recon.balance.silence import silent_spans, stocked
from recon.balance.stock import Stock, stock_windows
from recon.balance.summary import machine_summaries, totals
from recon.findings import of_matching, of_money, of_stock
from recon.findings.draft import Speller, compile_findings
from recon.match.hours import by_hour
from recon.match.slots import match_vends
from recon.match.states import Layouts
from recon.match.unmapped import explain, stray_vends, unmapped_numbers
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

    priced: the frame `priced`. balance: how the stock windows came about, for pages. stock, cash, summaries, findings:
    what is shown, by the specs of those names. days: what card_days returns. hours: what by_hour returns. strangers:
    machine, file and row of vends of machines without a layout. dearest: what recon.balance.prices.dearest returns.
    shown: moments of the first and the last vend shown. open_range: whether the price of any vend is a range, which may
    hang on the dearest price of all machines.
    """

    priced: Frame
    balance: Stock | None
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
        """The same but for `priced`, which is empty, and `balance`."""
        return replace(self, priced=self.priced.clear(), balance=None)


def stacked(frames: Iterable[Frame]) -> Frame:
    """Frames of the parts of a route, in the order of their machines, as one."""
    return pl.concat(list(frames))


def highest(parts: Iterable[Frame]) -> Frame:
    """Of what `dearest` gave for each part, what it gives for all."""
    return stacked(parts).group_by("currency").agg(pl.col("top").max())


@dataclass(frozen=True, slots=True)
class Terms:
    """What vends are reckoned by: the route, how figures are spelled, which part of all is shown."""

    route: Route
    spell: Speller
    shown: Shown

    @property
    def near(self) -> timedelta:
        return timedelta(minutes=self.route.settings.tolerance.boundary_minutes)


def reckon(terms: Terms, vends: Frame, sheets: Sheets, laid: Layouts, top: Frame | None = None) -> Reckoned:
    """Match, price and balance the vends of some machines, and find what is to be found in them.

    vends: the frame `vends`; sheets, laid: of the same machines. top: the dearest prices of all machines, where these
    are not all.
    """
    settings = terms.route.settings
    priced = price_vends(
        match_vends(vends, laid), laid, test_vends=settings.stock.test_vends, currency=settings.currency, top=top
    )
    done = _balanced(terms, priced, sheets, laid)
    money = done.money
    seen = terms.shown.at(priced)
    sums = money.totals if seen.height == priced.height else totals(seen)
    return Reckoned(
        priced=priced,
        balance=done.stock,
        stock=done.windows,
        cash=done.cash,
        summaries=machine_summaries(sums, done.windows, laid, settings.cards),
        findings=_found(terms, done, sheets, laid),
        days=money.days,
        hours=by_hour(priced.select("file", "machine", "time"), terms.spell.zones, settings.timezone),
        strangers=vends.select("machine", "file", "row").join(laid.machines, on="machine", how="anti"),
        dearest=dearest(money.totals, laid, settings.currency, "top"),
        shown=(_moment(sums["first"].min()), _moment(sums["last"].max())),
        open_range=bool((priced["priced"] == "range").any()),
    )


@dataclass(frozen=True, slots=True)
class _Balanced:
    """Priced vends and what they came to. windows, cash: those shown. reach: from when to when each machine's log goes.
    """

    priced: Frame
    stock: Stock
    windows: Frame
    money: Money
    cash: Frame
    reach: Frame


def _balanced(terms: Terms, priced: Frame, sheets: Sheets, laid: Layouts) -> _Balanced:
    settings = terms.route.settings
    with ThreadPoolExecutor(1) as beside:
        # Stock and money know nothing of each other.
        balancing = beside.submit(
            stock_windows, sheets.counts, sheets.loads, priced, laid, near=terms.near,
            count_first=settings.stock.count_when == "before-load",
        )  # fmt: skip
        money = money_of(sheets.cash, sheets.payouts, priced, laid, settings)
        stock = balancing.result()
    reach = money.totals.select("machine", log_start="first", log_end="last")
    return _Balanced(
        priced, stock, terms.shown.closing(stock.windows), money, terms.shown.closing(money.cash), reach
    )


def _moment(found: object) -> datetime | None:
    return found if isinstance(found, datetime) else None


def _found(terms: Terms, done: _Balanced, sheets: Sheets, laid: Layouts) -> Frame:
    """What is to be found in some machines."""
    settings, spell = terms.route.settings, terms.spell
    priced, stock, money, windows = done.priced, done.stock, done.money, done.windows
    strays = stray_vends(priced)
    silences = silent_spans(stocked(stock.spans, done.reach, laid.slots), done.reach, laid.slots)
    numbers = unmapped_numbers(strays)
    explained = explain(numbers, stock.windows, laid, terms.route, priced)
    return compile_findings(
        [
            of_matching.unmapped(numbers, explained, strays, spell, laid),
            of_matching.without_slot(sheets.counts, sheets.loads, laid, spell),
            of_matching.undefined(priced, laid, spell),
            of_matching.silent(silences, stock.windows, spell),
            *of_matching.price_findings(money.odd, spell),
            *of_stock.stock_findings(stock, windows, breaches(stock, laid), sheets.counts, laid, settings, spell),
            *of_money.cash_findings(done.cash, sheets.cash, sheets.counts, money.loose, laid, settings, spell),
            of_money.unpaid_vends(money.days.unpaid, money.cards, spell),
        ]
    )
