"""Everything behind a figure: `trace` takes a target to its figures, their lines, and the rows that were left out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from recon.findings.catalogue.money_kinds import PAYOUT_KINDS
from recon.ledger.trace_layouts import LAID, laid_where
from recon.ledger.trace_lines import LINES, Figures, Terms
from recon.ledger.trace_money import cash_figures, payout_figures
from recon.ledger.trace_originals import Inbox
from recon.ledger.trace_rejects import refused_rows
from recon.ledger.trace_rows import evidence_rows, machine_rows, refused_lines
from recon.ledger.trace_slots import slot_figures
from recon.ledger.trace_target import Target
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

_KINDS = {
    "slot": ("vends", "counts", "loads"),
    "machine": ("vends", "counts", "loads", "cash"),
    "collection": ("cash",),
}
"""Files whose rejected rows may be missing from a figure."""
_OF_ONE_MOMENT = ("not-counted", "count-restated", "collection-restated", "vend-changed")


@dataclass(frozen=True, slots=True)
class Trace:
    """What stands behind one target.

    stock, cash, payouts: figures with their lines (see slot_figures, cash_figures, payout_figures); None where the
    target has none of the kind. rows: LINES that are in no figure, each with why; their `window` says nothing. untold:
    rejected rows of which nobody can say whether they belong here. more: rows behind a finding that are not among
    these, for it keeps its first ones alone. states: rows of the frame `states` that the lines name, with `layout_file`
    and `layout_line`.
    """

    target: Target
    stock: Figures | None
    cash: Figures | None
    payouts: Figures | None
    rows: Frame
    untold: int
    more: int
    states: Frame

    @property
    def figures(self) -> list[Figures]:
        return [figures for figures in (self.stock, self.cash, self.payouts) if figures is not None]

    @property
    def places(self) -> Frame:
        """File and row of every line."""
        lines = [figures.lines for figures in self.figures]
        return pl.concat([part.select("file", "row") for part in (*lines, self.rows)]).drop_nulls().unique()


def trace(target: Target, done: Reconciliation, inbox: Inbox) -> Trace:
    """Find what stands behind a target. inbox: where rejected rows and layouts are looked up."""
    terms = Terms.of(inbox.route.settings)
    stock = cash = payouts = None
    rows, untold, more = LINES.empty(), 0, 0
    if target.kind == "payout":
        payouts = payout_figures(done, _chosen_payouts(done, target.payouts))
    elif target.kind == "collection":
        cash = cash_figures(done, terms, [str(target.machine)]).only(pl.col("closed_at").is_in(list(target.at)))
    elif target.finding is not None:
        stock, cash, payouts = _of_finding(target.finding, done, terms)
        shown = [figures.lines for figures in (stock, cash, payouts) if figures is not None]
        rows = evidence_rows(target.finding, done, shown)
        more = 0 if shown else max(0, target.finding["evidence_count"] - rows.height)
    else:
        stock = slot_figures(done, terms, _slots(done, target))
        if target.kind == "machine":
            cash = cash_figures(done, terms, [str(target.machine)])
            rows = machine_rows(str(target.machine), done)
    if target.kind in ("slot", "machine", "collection"):
        refused = refused_rows(inbox, _KINDS[target.kind])
        own = _own(refused, target, done)
        untold = refused.filter(pl.col("machine").is_null()).height + _slotless(refused, target)
        rows = pl.concat([rows, refused_lines(own)])
    return _with_layouts(Trace(target, stock, cash, payouts, rows, untold, more, LINES.empty()), done, inbox)


def _slots(done: Reconciliation, target: Target) -> Frame:
    own = pl.col("machine") == target.machine
    return done.frames["slots"].filter(own if target.label is None else own & (pl.col("label") == target.label))


def _chosen_payouts(done: Reconciliation, places: Sequence[tuple[int, int]]) -> Frame:
    wanted = pl.DataFrame(list(places), schema={"file": pl.Int32, "row": pl.Int64}, orient="row")
    return done.frames["payout_checks"].join(wanted, on=["file", "row"], how="semi")


def _of_finding(
    found: dict[str, Any], done: Reconciliation, terms: Terms
) -> tuple[Figures | None, Figures | None, Figures | None]:
    """The figures that a finding speaks of; none for one that speaks of files."""
    machine, label = found["machine"], found["label"]
    if found["kind"] in PAYOUT_KINDS:
        places = [(place["file"], place["row"]) for place in found["evidence"]]
        return None, None, payout_figures(done, _chosen_payouts(done, places))
    if machine is None:
        return None, None, None
    if label is not None:
        own = Target("slot", "", machine, label)
        figures = slot_figures(done, terms, _slots(done, own)).only(_touching(found))
        return (figures if figures.heads.height else None), None, None
    if found["kind"].startswith(("cash-", "collection-")) or found["kind"] in ("no-collection", "boundary-vends"):
        figures = cash_figures(done, terms, [machine]).only(_touching(found))
        return None, (figures if figures.heads.height else None), None
    return None, None, None


def _touching(found: dict[str, Any]) -> pl.Expr:
    """Windows that share time with a finding."""
    begins, ends = found["opened_at"], found["closed_at"]
    if begins is None:
        return pl.lit(True)
    if ends is None and found["kind"] in _OF_ONE_MOMENT:
        return pl.all_horizontal(
            (pl.col("opened_at") <= begins).fill_null(True), (pl.col("closed_at") >= begins).fill_null(True)
        )
    after = (pl.col("closed_at") > begins).fill_null(True)
    before = pl.lit(True) if ends is None else (pl.col("opened_at") < ends) | (pl.col("opened_at") == begins)
    return pl.all_horizontal(after, before.fill_null(True))


def _own(refused: Frame, target: Target, done: Reconciliation) -> Frame:
    """The rejected rows that speak of the target."""
    here = refused.filter(pl.col("machine") == target.machine)
    if target.kind != "slot":
        return here
    states = done.frames["states"].filter((pl.col("machine") == target.machine) & (pl.col("label") == target.label))
    numbers = states["bus"].drop_nulls().unique().to_list()
    return here.filter((pl.col("label") == target.label) | (pl.col("label").is_null() & pl.col("bus").is_in(numbers)))


def _slotless(refused: Frame, target: Target) -> int:
    """Rejected rows of the slot's machine that name no slot at all."""
    if target.kind != "slot":
        return 0
    blank = pl.col("label").is_null() & pl.col("bus").is_null()
    return refused.filter((pl.col("machine") == target.machine) & blank).height


def _with_layouts(found: Trace, done: Reconciliation, inbox: Inbox) -> Trace:
    named = [part["state"] for part in (*(figures.lines for figures in found.figures), found.rows)]
    if found.stock is not None:
        named.append(found.stock.heads["state"])
    numbers = pl.concat([pl.Series("state", [], dtype=pl.Int32), *named]).drop_nulls().unique()
    states = done.frames["states"].filter(pl.col("state").is_in(numbers.to_list()))
    machines = set(states["machine"].to_list())
    places = laid_where(inbox.route, done, machines) if machines else pl.DataFrame(schema=LAID)
    return replace(found, states=states.join(places, on="state", how="left", maintain_order="left"))
