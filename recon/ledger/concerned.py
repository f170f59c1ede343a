"""What of a run concerns one machine, slot, finding, collection or payout, over a span: which rows of which files, and
which records of the results."""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl

from recon.ledger.lines import lines_of
from recon.ledger.trace import Trace
from recon.ledger.trace_target import Target
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

TIMED = {"vends": "priced", "counts": "counts", "loads": "loads", "cash": "cash"}
"""Kinds of rows that have a moment, with the frame that holds them."""

OF_NO_SLOT = ("unmapped-number", "undefined-number")
"""Findings about vends that no slot had."""

_SECTION = re.compile(rb'  "(\w+)": \[')
_PLACES = {"file": pl.Int32, "row": pl.Int64}
Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Concerned:
    """places: file and row of every row (columns `file`, `row`). machines: whose layouts held. findings: ids. windows:
    keys of stock windows, collections and payouts, as `key_of` makes them from a record of the results. paths: files as
    the results name them."""

    places: Frame
    machines: frozenset[str]
    findings: frozenset[str]
    windows: frozenset[tuple[Any, ...]]
    paths: frozenset[str]
    summaries: frozenset[str]

    @property
    def files(self) -> list[int]:
        """Numbers of the files that rows come from."""
        return sorted(self.places["file"].unique().to_list())

    def rows_of(self, file: int) -> list[int]:
        """The lines of a file that rows begin on."""
        return self.places.filter(pl.col("file") == file)["row"].unique().sort().to_list()

    def wants(self, section: str, record: Record) -> bool:
        """Whether a record of the results concerns it."""
        if section in ("stock", "cash", "payouts"):
            return key_of(section, record) in self.windows
        if section == "inputs":
            return record["file"] in self.paths
        if section == "machines":
            return record["machine"] in self.summaries
        if section in ("findings", "decisions"):
            return record["id" if section == "findings" else "finding"] in self.findings
        return False


def key_of(section: str, record: Record) -> tuple[Any, ...]:
    """What a window or payout of the results is known by."""
    if section == "payouts":
        return section, record["reference"], str(record["paid_on"]), str(record["from"]), record["machine"]
    closed = record["closed_at"]
    moment = datetime.fromisoformat(closed) if isinstance(closed, str) else closed
    return section, record["machine"], record.get("label"), moment


def shown_records(results: bytes, wants: Callable[[str, Record], bool]) -> tuple[set[int], dict[str, list[Record]]]:
    """The lines of results.json to be shown: its frame, and the records that are wanted; and these by section."""
    shown: set[int] = set()
    records: dict[str, list[Record]] = {}
    section = ""
    for number, line in enumerate(lines_of(results), start=1):
        if not line.startswith(b"    {"):
            begun = _SECTION.match(line)
            section = begun[1].decode() if begun else section
            shown.add(number)
            continue
        record = json.loads(line.strip().rstrip(b","))
        if wants(section, record):
            shown.add(number)
            records.setdefault(section, []).append(record)
    return shown, records


def all_concerned(done: Reconciliation) -> Concerned:
    """Everything that a run shows: the windows within its span, and the rows from the first opening of them on."""
    frames = done.frames
    findings = frames["findings"]
    places = pl.concat([_within(done), _evidence(findings)]).unique()
    return Concerned(
        places,
        frozenset(frames["machines"]["machine"].to_list()),
        frozenset(findings["id"].to_list()),
        _windows(frames["stock"], frames["cash_windows"], frames["payout_checks"]),
        _paths(done, places) if done.since is not None or done.until < done.now else frozenset(done.paths),
        frozenset(frames["summaries"]["machine"].to_list()),
    )


def _within(done: Reconciliation) -> Frame:
    """Rows of the span that a run shows. Its windows may have opened before."""
    opened = [done.frames[name]["opened_at"].drop_nulls() for name in ("stock", "cash_windows")]
    first = pl.concat(opened).min() if done.since is not None else None
    begin = done.since if first is None or done.since is None else min(done.since, first)
    parts = [pl.DataFrame(schema=_PLACES)]
    for frame in TIMED.values():
        inside = pl.col("time") <= done.until
        inside = inside if begin is None else inside & (pl.col("time") >= begin)
        parts.append(done.frames[frame].filter(inside).select("file", "row"))
    parts.append(done.frames["payout_checks"].select("file", "row"))
    if done.since is None and done.until >= done.now:
        parts += [done.frames[name].select("file", "row") for name in ("tests", "rejects", "payouts")]
    return pl.concat([part.cast(_PLACES) for part in parts])  # type: ignore[arg-type]


def concerned(trace: Trace, done: Reconciliation) -> Concerned:
    """What concerns the target of a trace."""
    findings = _findings(trace.target, done)
    places = pl.concat([trace.places.cast(_PLACES), _evidence(findings)]).unique()  # type: ignore[arg-type]
    target = trace.target
    named = {target.machine} if target.finding is None else {target.finding["machine"]}
    heads = [None if figures is None else figures.heads for figures in (trace.stock, trace.cash, trace.payouts)]
    return Concerned(
        places,
        frozenset(machine for machine in named if machine is not None),
        frozenset(findings["id"].to_list()),
        _windows(*heads),
        _paths(done, places),
        frozenset({str(target.machine)} if target.kind == "machine" else ()),
    )


def _findings(target: Target, done: Reconciliation) -> Frame:
    """Findings about the target."""
    every = done.frames["findings"]
    if target.finding is not None:
        itself = pl.col("id") == target.finding["id"]
        of_stock = target.finding["label"] is not None
        return every.filter(itself | _of_no_slot(target.finding["machine"]) if of_stock else itself)
    if target.kind == "payout":
        rows = pl.DataFrame(list(target.payouts), schema=_PLACES, orient="row")
        places = every.select("id", "kind", "evidence").explode("evidence").unnest("evidence")
        ids = places.filter(pl.col("kind").cast(pl.String).str.contains("pay|fee")).join(
            rows, on=["file", "row"], how="semi"
        )
        return every.filter(pl.col("id").is_in(ids["id"].to_list()))
    own = every.filter(pl.col("machine") == target.machine)
    if target.kind == "slot":
        return own.filter((pl.col("label") == target.label) | _of_no_slot(target.machine))
    if target.kind == "collection":
        return own.filter(pl.col("label").is_null() & pl.col("closed_at").is_in(list(target.at)))
    return own


def _of_no_slot(machine: str | None) -> pl.Expr:
    """Vends of the machine that no slot had: any of them may be what a slot is short of, so that to show a slot without
    them would leave out what speaks for somebody."""
    return pl.col("kind").cast(pl.String).is_in(OF_NO_SLOT) & (pl.col("machine") == machine)


def _evidence(findings: Frame) -> Frame:
    told = findings.select("evidence").explode("evidence", empty_as_null=False).unnest("evidence")
    return told.filter(pl.col("row") > 0).select("file", "row").cast(_PLACES)  # type: ignore[arg-type]


def _windows(stock: Frame | None, cash: Frame | None, payouts: Frame | None) -> frozenset[tuple[Any, ...]]:
    told: set[tuple[Any, ...]] = set()
    for section, frame in (("stock", stock), ("cash", cash), ("payouts", payouts)):
        if frame is None:
            continue
        closed = frame if section == "payouts" else frame.filter(pl.col("closed_at").is_not_null())
        told |= {key_of(section, record) for record in closed.to_dicts()}
    return frozenset(told)


def _paths(done: Reconciliation, places: Frame) -> frozenset[str]:
    paths = done.paths
    return frozenset(paths[file] for file in places["file"].unique().to_list())
