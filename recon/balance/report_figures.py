"""Work out the figures that the report's pages show, for all machines at once, from the frames of a run.

The report formats them; it adds nothing up.
"""

from dataclasses import dataclass

import polars as pl

from recon.balance.earnings import by_slot, earnings
from recon.balance.over_time import slots_as_they_stand, sold_over_time, variance_by_week
from recon.balance.plan import plan
from recon.balance.readers import readers
from recon.balance.selling import selling
from recon.balance.stock import Stock
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation


@dataclass(frozen=True, slots=True)
class DrawnFigures:
    """What is drawn of machines. Each frame has a column `machine` but `counts`."""

    slots: Frame
    """As `slots_as_they_stand` returns it."""
    money: Frame
    """The first frame of `sold_over_time`: sales by week and tender."""
    hours: Frame
    """The second one: vends by weekday and hour."""
    variance: Frame
    """As `variance_by_week` returns it."""
    earnings: Frame
    """The frame `machine_earnings`."""
    slot_earnings: Frame
    """The frame `earnings`, added up by slot."""
    readers: Frame
    """The frame `readers`."""
    visits: Frame
    """The frame `plan_visits`."""
    planned: Frame
    """The frame `plan_slots`."""
    counts: Frame
    """The counts of every slot: slot, time."""


@dataclass(frozen=True, slots=True)
class ReportFigures:
    """Figures of all machines that the pages show."""

    names: tuple[str, ...]
    """The machines of the run: those with a layout, then names that only a log or a finding gives."""
    agreeing: Frame
    """As `agreeing_machines` returns it."""
    drawn: DrawnFigures | None
    """None where all machines agree, so that nothing is drawn."""


def report_figures(done: Reconciliation, stock: Stock | None = None) -> ReportFigures:
    """Work out what the pages show. stock: see `recon.balance.selling.selling`."""
    laid, agreeing = set(done.frames["machines"]["machine"]), agreeing_machines(done)
    named = {name for frame in ("summaries", "findings") for name in done.frames[frame]["machine"].unique() if name}
    # Names that a log gives and no layout knows come last: they are a finding more than a machine.
    names = tuple(sorted(named | laid, key=lambda name: (name not in laid, name)))
    return ReportFigures(names, agreeing, _drawn(done, stock) if len(names) > agreeing.height else None)


def _drawn(done: Reconciliation, stock: Stock | None) -> DrawnFigures:
    money, hours = sold_over_time(done)
    known = selling(done, stock)
    earned, planned = earnings(done, reach=known.reach), plan(done, known=known)
    return DrawnFigures(
        slots=slots_as_they_stand(done),
        money=money,
        hours=hours,
        variance=variance_by_week(done.frames["stock"], done),
        earnings=earned.machines,
        slot_earnings=by_slot(earned.parts),
        readers=readers(done, earned),
        visits=planned.visits,
        planned=planned.slots,
        counts=known.stock.spans.select("slot", "time"),
    )


def agreeing_machines(done: Reconciliation) -> Frame:
    """Return the machines where everything agrees: machine, windows (stock windows shown); sorted by machine.

    Such a machine is laid out and has a stock window. All of its stock windows have a variance of 0, no cash window or
    payout of its own has a difference, and no finding of it is an error or a warning, decided ones included.
    """
    frames, machine = done.frames, pl.col("machine")
    difference = pl.col("over_short").fill_null(0) != 0
    grave = pl.col("severity").cast(pl.String).is_in(["error", "warning"])
    differing = [
        frames["stock"].filter(pl.col("variance") != 0),
        frames["cash_windows"].filter(difference),
        frames["payout_checks"].filter(difference),
        frames["findings"].filter(grave),
    ]
    apart = pl.concat([frame.select("machine") for frame in differing])
    windows = frames["stock"].group_by("machine").agg(pl.len().cast(pl.Int64).alias("windows"))
    return (
        windows.filter(machine.is_in(frames["machines"]["machine"].implode()))
        .join(apart, on="machine", how="anti")
        .sort("machine")
    )
