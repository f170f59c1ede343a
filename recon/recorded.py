"""A run that is written down: what it met goes into the ledger, what it found into a report, and both say so.

The order keeps every printed root true whenever the command is cut off: first the entries for files, settings and
counts put right are made lasting; then the report is written, with the root over these entries in it; last comes the
entry for the run itself, with the hash of its results.
"""

import json
import platform
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Any

import polars as pl

from recon import __version__
from recon.carrying import Forward
from recon.intake.take_in import Intake
from recon.ledger.carry import PARTS, Packed, Text, clear_carried, keep_carried, packed
from recon.ledger.history import carried_of, history_of
from recon.ledger.journal import Writer, writing
from recon.ledger.record import LINES_HASHED, lines_of_entry, record_files, record_restated, record_run, record_settings
from recon.model.errors import ReconError
from recon.model.reconciliation import Anchor, Reconciliation
from recon.model.versions import version
from recon.reconcile import Progress, Run, Wanted, run
from recon.report.folder import Content, Hashed, write_report
from recon.report.rejects_csv import rejects_csv
from recon.report.results_json import results_pieces
from recon.report.stock_lines import StockLines
from recon.route.folder import read_settings


@dataclass(frozen=True)
class Recorded:
    """A run and the folder of its report."""

    run: Run
    report: Path


def run_and_record(
    folder: Path,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    now: datetime | None = None,
    tables: bool = False,
    page: bool = True,
    on_step: Progress = lambda step: None,
    on_wait: Callable[[str], None] = lambda holder: None,
    wait_seconds: float = 30.0,
) -> Recorded:
    """Reconcile a route folder as `recon.reconcile.run` does, and write ledger and report.

    tables: write report.xlsx and the tables as CSV and Parquet, too. page: draw report.html. on_wait: told once who
    holds the ledger, if somebody does. Raises ReconError too where the ledger or the report cannot be written, or is
    held by another command for longer than `wait_seconds`.
    """
    # A folder that is no route gets no ledger.
    read_settings(folder)
    with writing(folder, who="recon run", wait_seconds=wait_seconds, on_wait=on_wait) as ledger:
        wanted: Wanted = "priced" if page or tables else "sums"
        known = history_of(ledger)
        finished = run(folder, since=since, until=until, now=now, on_step=on_step, history=known, wanted=wanted)
        on_step("writing the ledger and the report")
        return _record(ledger, folder, finished, tables=tables, page=page)


def _record(ledger: Writer, folder: Path, finished: Run, *, tables: bool, page: bool) -> Recorded:
    done = finished.reconciliation
    seen = record_settings(ledger, folder, done.now)
    places = record_files(ledger, folder, finished.route, finished.intake, done.now)
    record_restated(ledger, done.frames["findings"], done.paths, done.now)
    ledger.commit()
    finished = replace(finished, reconciliation=replace(done, anchor=ledger.anchor))
    forward = finished.forward
    lines = StockLines(finished.reconciliation, None if forward is None else forward.reckoned.settled)
    results = _Results(results_pieces(finished.reconciliation, lines))
    files = _files(finished.reconciliation, results, ledger.anchor)
    if page:
        from recon.balance.report_figures import report_figures
        from recon.report.html import report_pages

        figures = report_figures(finished.reconciliation, finished.stock)
        files = chain(files, report_pages(finished.reconciliation, figures))
    if tables:
        files = chain(files, _tables(finished.reconciliation))
    with ThreadPoolExecutor(1) as beside:
        packing = None if forward is None else beside.submit(_packed, forward, finished.intake, places)
        report = write_report(folder, done, files)
        text = Text(report.folder.name, results.digest, lines.spelled)
        carried = carried_of(ledger) if packing is None else _carried_on(folder, packing.result(), text)
    record_run(
        ledger,
        report=report.folder.name,
        sums=report.sums,
        results=results.digest,
        lines=results.lines,
        inputs=done.frames["inputs"],
        seen=seen,
        versions=versions(),
        carried=carried,
        since=done.since,
        until=done.until,
        at=done.now,
    )
    if carried is not None and forward is not None:
        ledger.commit()
        clear_carried(folder, carried)
    return Recorded(finished, report.folder)


def _packed(forward: Forward, intake: Intake, places: Mapping[int, tuple[str, int]]) -> Packed:
    """What is to be carried forward. places: as from record_files."""
    paths = intake.paths
    rows = [(file, paths[file], *place) for file, place in sorted(places.items())]
    return packed(forward.kept(pl.DataFrame(rows, schema=PARTS, orient="row")))


def _carried_on(folder: Path, made: Packed, text: Text) -> str | None:
    """Keep what is to be carried forward. text: the results of this run. Returns its hash."""
    try:
        return keep_carried(folder, made, text)
    except ReconError:
        # It saves the next run some work, and is no part of the record: a run does not fail for it.
        return None


def versions() -> dict[str, str]:
    """Of what reckoned the figures: they are the same for the same versions and inputs."""
    told = {name: version(name) for name in ("polars", "tzdata")}
    return {"recon": __version__, "python": platform.python_version(), **told}


class _Results(Hashed):
    """The text of results.json on its way into its file: what the ledger says of it is known once all has passed."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        super().__init__(pieces)
        self._seen: list[bytes] = []
        self._breaks = 0

    def __iter__(self) -> Iterator[bytes]:
        for data in super().__iter__():
            # Of a long text the lines are not hashed one by one: it need not be kept.
            if self._breaks <= LINES_HASHED:
                self._breaks += data.count(b"\n")
                self._seen = [*self._seen, data] if self._breaks <= LINES_HASHED else []
            yield data

    @property
    def lines(self) -> dict[str, Any] | None:
        """As from lines_of_entry."""
        return lines_of_entry(b"".join(self._seen)) if self._breaks <= LINES_HASHED else None


def _files(done: Reconciliation, results: _Results, anchor: Anchor) -> Iterator[tuple[str, Content]]:
    yield "results.json", results
    yield "rejects.csv", rejects_csv(done)
    digest = results.digest
    told = {"format": "recon-anchor/1", "entries": anchor.entries, "root": anchor.root, "results_sha256": digest}
    yield "ledger.json", json.dumps(told, indent=2) + "\n"


def _tables(done: Reconciliation) -> Iterator[tuple[str, str | bytes]]:
    from recon.report.exports import tables
    from recon.report.workbook import workbook

    yield "report.xlsx", workbook(done)
    yield from tables(done)
