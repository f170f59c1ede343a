"""One run: take in, match, price, balance, find. The stages stand in this order, once, from left to right."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path

import polars as pl

from recon.at_once import spans_of, vends_at_once
from recon.balance.payouts import CardMoney, card_money
from recon.by_machines import Reckoned, Sheets, highest, reckon, stacked
from recon.findings import of_history, of_intake, of_matching, of_money
from recon.findings.catalogue.check_kinds import CHECK_KINDS
from recon.findings.draft import Speller, compile_findings, in_order
from recon.findings.layouts import layout_problems
from recon.intake.known import Known
from recon.intake.take_in import Intake, take_in
from recon.intake.vend_rows import VendRows
from recon.ledger.decisions import corrected, corrections_of, decisions_frame, settled
from recon.ledger.history import History, file_changes, history_in
from recon.ledger.shelf import Shelf
from recon.match.hours import suspect_zones
from recon.match.slots import place
from recon.match.states import Layouts, layouts, products
from recon.model.border import guard
from recon.model.errors import ReconError, SettingsError
from recon.model.frames import VENDS, Frame
from recon.model.problem import Problem
from recon.model.reconciliation import Reconciliation
from recon.model.results import Results
from recon.model.settings import Settings
from recon.model.words import FileKind
from recon.moment import moment_of_run as moment_of_run
from recon.report.results_json import results_json
from recon.route.folder import Route, by_place, read_route
from recon.shown import Shown

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
    whole: bool = True,
) -> Run:
    """Reconcile a route folder and write nothing.

    since, until: show the windows that close after `since` and not after `until` (aware times; by default all). now:
    the moment of the run; rows dated later are refused. on_step: told of each step. history: what was decided and
    taken in before; by default what the route's ledger remembers. whole: hand back every vend (frames `vends` and
    `priced`), though there be too many to be held at once otherwise (see recon.at_once).
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
    intake = take_in(
        route, now=moment, on_file=lambda path: on_step(f"reading {path}"), keeper=shelf, at_once=vends_at_once()
    )
    if intake.inputs.height == 0:
        raise ReconError(
            f"{(route.root / 'inbox').as_posix()} holds no files: "
            "put sales logs, count sheets and cash sheets there, then run again"
        )
    on_step("matching and balancing")
    shown = Shown(_in_utc(since), _in_utc(until) or moment, moment)
    intake, done = _reconcile(route, intake, remembered, shown, on_step, whole)
    return Run(done, problems, intake, route)


def _in_utc(moment: datetime | None) -> datetime | None:
    """Polars compares moments of one zone only. Raises ReconError for a moment that says no zone."""
    if moment is not None and moment.tzinfo is None:
        raise ReconError(f"{moment} says no time zone: give an aware datetime")
    return None if moment is None else moment.astimezone(UTC)


def _put_right(frames: Mapping[FileKind, Frame], corrections: Frame) -> Mapping[FileKind, Frame]:
    """The same frames with the corrected figures."""
    return corrected(frames, corrections) if corrections.height else frames


def _reconcile(
    route: Route, intake: Intake, history: History, shown: Shown, on_step: Progress, whole: bool
) -> tuple[Intake, Reconciliation]:
    """The intake with the account of its files complete, and what it comes to."""
    settings = route.settings
    corrections = corrections_of(history.decisions, intake.inputs)
    laid = layouts(route)
    spell = Speller(intake.paths, laid.zones, laid.digits, settings.timezone, settings.exponent)
    written: dict[FileKind, Frame] = {
        "counts": intake.counts, "loads": intake.loads, "cash": intake.cash, "payouts": intake.payouts
    }  # fmt: skip
    right = _put_right(written, corrections)
    sheets = Sheets(place(right["counts"], laid), place(right["loads"], laid), right["cash"], right["payouts"])

    def work(vends: Frame, sheets: Sheets, laid: Layouts, top: Frame | None = None) -> Reckoned:
        return reckon(route, _put_right({"vends": vends}, corrections)["vends"], sheets, laid, spell, shown, top)

    if intake.rows is None:
        parts = [work(intake.vends, sheets, laid)]
    else:
        intake, parts = _by_parts(intake, intake.rows, work, sheets, laid, on_step, whole)
    money = card_money(
        right["payouts"],
        stacked(part.days.covered for part in parts),
        laid,
        settings.cards,
        zone=settings.timezone,
        currency=settings.currency,
        digits=settings.exponent,
    )
    frames = {
        "stock": stacked(part.stock for part in parts),
        "cash_windows": stacked(part.cash for part in parts),
        "payout_checks": shown.paid(money.checks, settings.timezone),
        "summaries": stacked(part.summaries for part in parts),
        "corrections": corrections,
        "file_changes": file_changes(route.root, intake.inputs, history.taken),
        "vends": _put_right({"vends": intake.vends}, corrections)["vends"],
        "priced": stacked(part.priced for part in parts),
        "machines": laid.machines,
        "slots": laid.slots,
        "states": laid.states,
        "products": products(route),
        "tests": intake.tests,
        "inputs": intake.inputs,
        "rejects": intake.rejects,
        "notices": intake.notices,
    } | {str(kind): rows for kind, rows in right.items()}
    across = _across(intake, parts, laid, money, frames, settings, spell)
    found = settled(in_order([across, *(part.findings for part in parts)]), history.decisions)
    frames["findings"] = shown.touching(found)
    frames["decisions"] = decisions_frame(history.decisions, found)
    ends = [part.shown for part in parts]
    return intake, Reconciliation(
        name=settings.name,
        currency=settings.currency,
        digits=settings.exponent,
        zone=settings.timezone,
        now=shown.now,
        since=shown.since,
        until=shown.until,
        zones=laid.zones,
        digits_of=laid.digits,
        settings=settings,
        frames=frames,
        vends_shown=(
            min((first for first, _ in ends if first is not None), default=None),
            max((last for _, last in ends if last is not None), default=None),
        ),
    )


def _by_parts(
    intake: Intake,
    rows: VendRows,
    work: Callable[..., Reckoned],
    sheets: Sheets,
    laid: Layouts,
    on_step: Progress,
    whole: bool,
) -> tuple[Intake, list[Reckoned]]:
    """Reckon some machines at a time. whole: keep every vend."""
    machines: dict[str, int] = dict.fromkeys(laid.zones, 0)
    spans = spans_of(machines | rows.machines, vends_at_once())
    parts: list[Reckoned] = []
    kept: list[Frame] = []
    notices: list[Frame] = []
    for at, (first, last) in enumerate(spans):
        on_step(f"matching and balancing, part {at + 1} of {len(spans)}")
        vends, repeats = intake.vends_of(first, last)
        part = work(vends, sheets.of(first, last), laid.of(first, last))
        parts.append(part if whole else part.without_vends())
        notices.append(repeats)
        if whole:
            kept.append(vends)
    top = highest(part.dearest for part in parts)
    for at, (first, last) in enumerate(spans):
        if parts[at].open_range and not parts[at].dearest.sort("currency").equals(top.sort("currency")):
            part = work(intake.vends_of(first, last)[0], sheets.of(first, last), laid.of(first, last), top)
            parts[at] = part if whole else part.without_vends()
    every = guard(pl.concat([VENDS.empty(), *kept]), VENDS)
    return intake.told(every, notices), parts


def _across(
    intake: Intake,
    parts: Sequence[Reckoned],
    laid: Layouts,
    money: CardMoney,
    frames: Mapping[str, Frame],
    settings: Settings,
    spell: Speller,
) -> Frame:
    """The findings that are not of one machine."""
    named = {name: getattr(intake, name) for name in ("counts", "loads", "cash", "payouts", "tests")}
    named["vends"] = stacked(part.strangers for part in parts)
    return compile_findings(
        [
            *of_intake.intake_findings(intake, spell),
            of_matching.zones(suspect_zones(stacked(part.hours for part in parts)), spell),
            of_matching.unknown_machines(named, laid, spell),
            *of_money.payout_findings(money, frames["payout_checks"], settings, spell),
            *of_history.history_findings(frames["file_changes"], spell),
        ]
    )
