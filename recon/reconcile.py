"""One run: take in, match, price, balance, find. The stages stand in this order, once, from left to right."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path

import polars as pl

from recon.balance.cash import cash_windows
from recon.balance.payouts import CardMoney, card_money, midnight
from recon.balance.prices import price_vends
from recon.balance.running import breaches
from recon.balance.silence import silent_spans
from recon.balance.stock import Stock, stock_windows
from recon.balance.summary import machine_summaries
from recon.findings import of_history, of_intake, of_matching, of_money, of_stock
from recon.findings.catalogue.check_kinds import CHECK_KINDS
from recon.findings.catalogue.money_kinds import PAYOUT_KINDS
from recon.findings.draft import Speller, compile_findings
from recon.findings.layouts import layout_problems
from recon.intake.known import Known
from recon.intake.take_in import Intake, take_in
from recon.ledger.decisions import corrected, corrections_of, decisions_frame, settled
from recon.ledger.history import History, file_changes, history_in
from recon.ledger.shelf import Shelf
from recon.match.hours import suspect_zones
from recon.match.slots import match_vends, place
from recon.match.states import Layouts, layouts, products
from recon.match.unmapped import explain, unmapped_numbers
from recon.model.errors import ReconError, SettingsError
from recon.model.frames import Frame
from recon.model.problem import Problem
from recon.model.reconciliation import Reconciliation
from recon.model.results import Results
from recon.model.words import FILE_KINDS
from recon.moment import moment_of_run as moment_of_run
from recon.report.results_json import results_json
from recon.route.folder import Route, by_place, read_route

Progress = Callable[[str], None]
"""Told what is being done, in a few words, before it is done."""


@dataclass(frozen=True)
class Run:
    """A finished run: the figures as polars frames, and the results as types.

    frames: every frame by its name (see docs/frames.md). problems: what `recon check` has to say of the settings; none
    of it stopped the run. intake: what the inbox gave, before any correction.
    route: the folder as it was read.
    """

    reconciliation: Reconciliation
    problems: tuple[Problem, ...]
    intake: Intake
    route: Route

    @property
    def frames(self) -> Mapping[str, Frame]:
        return self.reconciliation.frames

    @cached_property
    def results(self) -> Results:
        """The same as results.json, as types."""
        return Results.model_validate_json(self.json())

    def json(self) -> str:
        """The results as JSON text, byte for byte what `recon run --format json` prints."""
        return results_json(self.reconciliation)


def run(
    folder: str | Path,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    now: datetime | None = None,
    on_step: Progress = lambda step: None,
    history: History | None = None,
) -> Run:
    """Reconcile a route folder and write nothing.

    since, until: show the windows that close after `since` and not after `until` (aware times; by default all). now:
    the moment of the run; rows dated later are refused. on_step: told of each step. history: what was decided and
    taken in before; by default what the route's ledger remembers.
    Raises ReconError where the folder cannot be used, SettingsError where its settings cannot.
    """
    on_step("reading the route folder")
    route = read_route(Path(folder))
    problems = tuple(sorted([*route.problems, *layout_problems(route)], key=by_place))
    stopping = [problem for problem in problems if CHECK_KINDS[problem.kind].stops_run]
    if stopping:
        raise SettingsError(stopping)
    moment = _in_utc(now) or moment_of_run()
    remembered = history_in(route.root) if history is None else history
    shelf = Shelf(route.root, remembered.taken, moment, Known(route)) if remembered.taken else None
    intake = take_in(route, now=moment, on_file=lambda path: on_step(f"reading {path}"), keeper=shelf)
    if intake.inputs.height == 0:
        raise ReconError(
            f"{(route.root / 'inbox').as_posix()} holds no files: "
            "put sales logs, count sheets and cash sheets there, then run again"
        )
    on_step("matching and balancing")
    done = _reconcile(route, intake, remembered, moment, _in_utc(since), _in_utc(until) or moment)
    return Run(done, problems, intake, route)


def _in_utc(moment: datetime | None) -> datetime | None:
    """Polars compares moments of one zone only. Raises ReconError for a moment that says no zone."""
    if moment is not None and moment.tzinfo is None:
        raise ReconError(f"{moment} says no time zone: give an aware datetime")
    return None if moment is None else moment.astimezone(UTC)


def _put_right(intake: Intake, corrections: Frame) -> Intake:
    """The same intake with the corrected figures."""
    if corrections.height == 0:
        return intake
    right = corrected({kind: getattr(intake, kind) for kind in FILE_KINDS}, corrections)
    return replace(
        intake, vends=right["vends"], counts=right["counts"], loads=right["loads"], cash=right["cash"],
        payouts=right["payouts"],
    )  # fmt: skip


def _reconcile(
    route: Route,
    intake: Intake,
    history: History,
    now: datetime,
    since: datetime | None,
    until: datetime,
) -> Reconciliation:
    settings = route.settings
    corrections = corrections_of(history.decisions, intake.inputs)
    intake = _put_right(intake, corrections)
    near = timedelta(minutes=settings.tolerance.boundary_minutes)
    laid = layouts(route)
    matched = match_vends(intake.vends, laid)
    priced = price_vends(matched, laid, test_vends=settings.stock.test_vends, currency=settings.currency)
    counts, loads = place(intake.counts, laid), place(intake.loads, laid)
    stock = stock_windows(
        counts, loads, priced, laid, near=near, count_first=settings.stock.count_when == "before-load"
    )
    cash = cash_windows(intake.cash, priced, laid, near=near)
    money = card_money(
        intake.payouts,
        priced,
        laid,
        settings.cards,
        zone=settings.timezone,
        currency=settings.currency,
        digits=settings.exponent,
    )
    shown = _Shown(since, until, now)
    frames = {
        "stock": shown.closing(stock.windows),
        "cash_windows": shown.closing(cash),
        "payout_checks": shown.paid(money.checks, settings.timezone),
        "corrections": corrections,
        "file_changes": file_changes(route.root, intake.inputs, history.taken),
    }
    frames["summaries"] = machine_summaries(shown.at(priced), frames["stock"], laid, settings.cards)
    found = settled(_find(route, intake, laid, priced, counts, loads, stock, money, frames), history.decisions)
    frames["findings"] = shown.touching(found)
    frames["decisions"] = decisions_frame(history.decisions, found)
    every = {"priced": priced, "machines": laid.machines, "slots": laid.slots, "states": laid.states}
    every["products"] = products(route)
    taken = {
        name: getattr(intake, name)
        for name in ("inputs", "rejects", "notices", "vends", "counts", "loads", "cash", "payouts", "tests")
    }
    return Reconciliation(
        name=settings.name,
        currency=settings.currency,
        digits=settings.exponent,
        zone=settings.timezone,
        now=now,
        since=since,
        until=until,
        zones=laid.zones,
        digits_of=laid.digits,
        settings=settings,
        frames=taken | every | frames,
    )


def _find(
    route: Route,
    intake: Intake,
    laid: Layouts,
    priced: Frame,
    counts: Frame,
    loads: Frame,
    stock: Stock,
    money: CardMoney,
    shown: Mapping[str, Frame],
) -> Frame:
    settings = route.settings
    spell = Speller(intake.paths, laid.zones, laid.digits, settings.timezone, settings.exponent)
    strays = unmapped_numbers(priced)
    explained = explain(strays, stock.windows, laid, route, priced)
    silences = silent_spans(stock.spans, priced.select("machine", "time"), laid.slots)
    named = {name: getattr(intake, name) for name in ("vends", "counts", "loads", "cash", "payouts", "tests")}
    return compile_findings(
        [
            *of_intake.intake_findings(intake, spell),
            of_matching.zones(suspect_zones(priced, laid.zones, settings.timezone), spell),
            of_matching.unknown_machines(named, laid, spell),
            of_matching.unmapped(strays, explained, priced, spell, laid),
            of_matching.without_slot(counts, loads, laid, spell),
            of_matching.undefined(priced, laid, spell),
            of_matching.silent(silences, stock.windows, spell),
            *of_matching.price_findings(priced, laid, spell),
            *of_stock.stock_findings(stock, shown["stock"], breaches(stock, laid), counts, laid, settings, spell),
            *of_money.cash_findings(shown["cash_windows"], intake.cash, counts, priced, laid, settings, spell),
            *of_money.payout_findings(money, shown["payout_checks"], priced, settings, spell),
            *of_history.history_findings(shown["file_changes"], spell),
        ]
    )


_OF_ONE_MOMENT = ("not-counted", "count-restated", "collection-restated", "vend-changed")


@dataclass(frozen=True, slots=True)
class _Shown:
    """Which part of everything is shown: what closes after `since` and not after `until`, and what happens meanwhile.

    A vend of the very moment of a count is of the window that it opens, so that one at `since` is shown, and one at
    `until` is not; nor is a payout of the day that begins then. `until` is not cut so where it is the moment of the
    run: that shows all.
    """

    since: datetime | None
    until: datetime
    now: datetime

    def closing(self, windows: Frame) -> Frame:
        closed = pl.col("closed_at")
        inside = closed <= self.until
        return windows.filter(inside if self.since is None else inside & (closed > self.since))

    def _happening(self, moment: pl.Expr) -> pl.Expr:
        inside = moment <= self.until if self.until >= self.now else moment < self.until
        return inside if self.since is None else inside & (moment >= self.since)

    def at(self, vends: Frame) -> Frame:
        return vends.filter(self._happening(pl.col("time")))

    def paid(self, checks: Frame, zone: str) -> Frame:
        return checks.filter(self._happening(midnight(pl.col("paid_on"), zone)))

    def touching(self, findings: Frame) -> Frame:
        """Findings whose time reaches into what is shown; those without a time always.

        A payout is shown by the day on which it was paid, though the days that it covers lie before: its findings
        are made of the payouts shown, and go with them.
        """
        begins_in_time = pl.col("opened_at").fill_null(pl.col("closed_at")) <= self.until
        # Without an end a finding lasts, but for those that speak of one moment.
        lasting = pl.when(pl.col("kind").is_in(_OF_ONE_MOMENT)).then("opened_at").otherwise(self.until)
        ends = pl.coalesce("closed_at", lasting)
        ends_in_time = pl.lit(True) if self.since is None else (ends > self.since).fill_null(True)
        with_payout = pl.col("kind").is_in(PAYOUT_KINDS)
        return findings.filter(with_payout | (begins_in_time.fill_null(True) & ends_in_time))
