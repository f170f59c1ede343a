"""One run: take in, match, price, balance, find. The stages stand in this order, once, from left to right."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from recon.at_once import spans_of, vends_at_once
from recon.balance.payouts import CardMoney, card_money
from recon.balance.stock import Stock
from recon.by_machines import Reckoned, Sheets, Terms, highest, reckon, stacked
from recon.findings import of_history, of_intake, of_matching, of_money
from recon.findings.catalogue.check_kinds import CHECK_KINDS
from recon.findings.draft import Speller, compile_findings, in_order
from recon.findings.layouts import layout_problems
from recon.intake.known import Known
from recon.intake.take_in import Intake, take_in
from recon.ledger.decisions import corrected, corrections_of, decisions_frame, settled
from recon.ledger.history import History, file_changes, history_in
from recon.ledger.parse_cache import CacheDamaged, CachedFiles, parse_cache
from recon.match.hours import suspect_zones
from recon.match.slots import place
from recon.match.states import Layouts, layouts, products
from recon.model.border import guard
from recon.model.errors import ReconError, SettingsError
from recon.model.frames import VENDS, Frame
from recon.model.problem import Problem
from recon.model.reconciliation import Reconciliation
from recon.model.settings import Settings
from recon.model.words import FileKind
from recon.moment import moment_of_run as moment_of_run
from recon.report.results_json import results_json
from recon.route.folder import Route, by_place, read_route
from recon.shown import Shown

if TYPE_CHECKING:
    from recon.model.results import Results

Progress = Callable[[str], None]
"""Told what is being done, in a few words, before it is done."""


@dataclass(frozen=True)
class Run:
    """A finished run: the figures as polars frames, and the results as types.

    problems: what `recon check` has to say of the settings; none of it stopped the run. intake: what the inbox gave,
    before any correction. route: the folder as it was read. stock: how the stock windows came about, where it is at
    hand for pages.
    """

    reconciliation: Reconciliation
    problems: tuple[Problem, ...]
    intake: Intake
    route: Route
    stock: Stock | None

    @cached_property
    def frames(self) -> Mapping[str, Frame]:
        """Every frame by its name (see docs/frames.md)."""
        frames = self.reconciliation.frames
        return {**frames, "vends": guard(frames["priced"].select(VENDS.names), VENDS)}

    @cached_property
    def results(self) -> "Results":
        """The same as results.json, as types."""
        from recon.model.results import Results

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
    with_vends: bool = True,
) -> Run:
    """Reconcile a route folder and write nothing.

    since, until: show the windows that close after `since` and not after `until` (aware times; by default all). now:
    the moment of the run; rows dated later are refused. on_step: told of each step. history: what was decided and
    taken in before; by default what the route's ledger remembers. with_vends: whether the frames `priced` and `vends`
    are handed back; without them a run takes less memory, and both are empty.
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
    shown = Shown(_in_utc(since), _in_utc(until) or moment, moment)
    laid = layouts(route)
    intake = _taken_in(route, shown, on_step)
    on_step("matching and balancing")
    done, parts = _reconcile(route, intake, laid, remembered, shown, on_step, with_vends)
    stock = parts[0].balance if len(parts) == 1 else None
    return Run(done, problems, intake, route, stock)


def _taken_in(route: Route, shown: Shown, on_step: Progress) -> Intake:
    def files(cache: CachedFiles | None) -> Intake:
        return take_in(
            route, now=shown.now, on_file=lambda path: on_step(f"reading {path}"), cache=cache, at_once=vends_at_once()
        )

    try:
        intake = files(parse_cache(route.root, shown.now, Known(route)))
    except CacheDamaged:
        intake = files(None)
    if intake.inputs.height == 0:
        raise ReconError(
            f"{(route.root / 'inbox').as_posix()} holds no files: "
            "put sales logs, count sheets and cash sheets there, then run again"
        )
    return intake


def _in_utc(moment: datetime | None) -> datetime | None:
    """Polars compares moments of one zone only. Raises ReconError for a moment that says no zone."""
    if moment is not None and moment.tzinfo is None:
        raise ReconError(f"{moment} says no time zone: give an aware datetime")
    return None if moment is None else moment.astimezone(UTC)


def _put_right(frames: Mapping[FileKind, Frame], corrections: Frame) -> Mapping[FileKind, Frame]:
    """The same frames with the corrected figures."""
    return corrected(frames, corrections) if corrections.height else frames


class _Placed(NamedTuple):
    """What people wrote, put right where decisions say so, and what the layouts say: `right` by kind of file."""

    corrections: Frame
    laid: Layouts
    right: Mapping[FileKind, Frame]
    sheets: Sheets


def _placed(intake: Intake, laid: Layouts, history: History) -> _Placed:
    corrections = corrections_of(history.decisions, intake.inputs)
    written: dict[FileKind, Frame] = {
        "counts": intake.counts, "loads": intake.loads, "cash": intake.cash, "payouts": intake.payouts
    }  # fmt: skip
    right = _put_right(written, corrections)
    sheets = Sheets(place(right["counts"], laid), place(right["loads"], laid), right["cash"], right["payouts"])
    return _Placed(corrections, laid, right, sheets)


def _reconcile(
    route: Route, intake: Intake, laid: Layouts, history: History, shown: Shown, on_step: Progress, with_vends: bool
) -> tuple[Reconciliation, Sequence[Reckoned]]:
    """What the intake comes to, whole and by parts."""
    settings = route.settings
    placed = _placed(intake, laid, history)
    sheets, corrections = placed.sheets, placed.corrections
    spell = Speller(intake.paths, laid.zones, laid.digits, settings.timezone, settings.exponent)
    terms = Terms(route, spell, shown)

    def work(vends: Frame, sheets: Sheets, laid: Layouts, top: Frame | None = None) -> Reckoned:
        return reckon(terms, _put_right({"vends": vends}, corrections)["vends"], sheets, laid, top)

    parts = _by_parts(intake, Task(work, sheets, laid, on_step, with_vends))
    money = card_money(
        sheets.payouts,
        stacked(part.days.covered for part in parts),
        laid,
        settings.cards,
        zone=settings.timezone,
        currency=settings.currency,
        digits=settings.exponent,
    )
    frames = _frames(route, intake, placed, parts) | {
        "payout_checks": shown.paid(money.checks, settings.timezone),
        "file_changes": file_changes(route.root, intake.inputs, history.taken),
    }
    across = _across(intake, parts, laid, money, frames, settings, spell)
    found = settled(in_order([across, *(part.findings for part in parts)]), history.decisions)
    frames["findings"] = shown.touching(found)
    frames["decisions"] = decisions_frame(history.decisions, found)
    return _told(terms, laid, frames, parts), parts


def _frames(route: Route, intake: Intake, placed: _Placed, parts: Sequence[Reckoned]) -> dict[str, Frame]:
    """The frames of a run, but for those that look across machines."""
    laid = placed.laid
    return {
        "stock": stacked(part.stock for part in parts),
        "cash_windows": stacked(part.cash for part in parts),
        "summaries": stacked(part.summaries for part in parts),
        "corrections": placed.corrections,
        "priced": stacked(part.priced for part in parts),
        "machines": laid.machines,
        "slots": laid.slots,
        "states": laid.states,
        "products": products(route),
        "tests": intake.tests,
        "inputs": intake.inputs,
        "rejects": intake.rejects,
        "notices": intake.notices,
    } | {str(kind): rows for kind, rows in placed.right.items()}


def _told(
    terms: Terms, laid: Layouts, frames: Mapping[str, Frame], parts: Sequence[Reckoned]
) -> Reconciliation:
    settings, shown = terms.route.settings, terms.shown
    ends = [part.shown for part in parts]
    return Reconciliation(
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


class Task(NamedTuple):
    """What is to be done with all vends. work: reckons those of some machines. with_vends: whether these are kept."""

    work: Callable[..., Reckoned]
    sheets: Sheets
    laid: Layouts
    on_step: Progress
    with_vends: bool

    def of(self, vends: Frame, first: str, last: str, top: Frame | None = None) -> Reckoned:
        """The vends of the machines whose ids lie from `first` to `last`, reckoned."""
        return self._done(self.work(vends, self.sheets.of(first, last), self.laid.of(first, last), top))

    def of_all(self, vends: Frame) -> Reckoned:
        """The vends of all machines, reckoned."""
        return self._done(self.work(vends, self.sheets, self.laid))

    def _done(self, part: Reckoned) -> Reckoned:
        return part if self.with_vends else part.without_vends()


def _by_parts(intake: Intake, task: Task) -> list[Reckoned]:
    """Reckon some machines at a time."""
    spans = spans_of(dict.fromkeys(task.laid.zones, 0) | intake.rows.machines, vends_at_once())
    if len(spans) == 1:
        return [task.of_all(intake.rows.all())]
    parts: list[Reckoned] = []
    for at, (first, last) in enumerate(spans):
        task.on_step(f"matching and balancing, part {at + 1} of {len(spans)}")
        parts.append(task.of(intake.rows.of(first, last), first, last))
    top = highest(part.dearest for part in parts)
    for at, (first, last) in enumerate(spans):
        if parts[at].open_range and not parts[at].dearest.sort("currency").equals(top.sort("currency")):
            parts[at] = task.of(intake.rows.of(first, last), first, last, top)
    return parts


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
