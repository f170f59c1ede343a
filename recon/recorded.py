"""A run that is written down: what it met goes into the ledger, what it found into a report, and both say so.

The order keeps every printed root true whenever the command is cut off: first the entries for files, settings and
counts put right are made lasting; then the report is written, with the root over these entries in it; last comes the
entry for the run itself, with the hash of its results.
"""

import json
import platform
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Any

from recon import __version__
from recon.intake.known import Known
from recon.ledger.cache_update import update_cache
from recon.ledger.history import history_of
from recon.ledger.journal import Writer, writing
from recon.ledger.lines import line_tree_of_file
from recon.ledger.lock import held_since
from recon.ledger.parse_cache import CachedFiles
from recon.ledger.record import record_files, record_restated, record_run
from recon.ledger.settings import record_settings
from recon.model.errors import ReconError
from recon.model.reconciliation import Anchor, Reconciliation
from recon.model.versions import version
from recon.reconcile import Progress, Run, run
from recon.report.folder import Content, Hashed, write_report
from recon.report.rejects_csv import rejects_csv
from recon.report.results_json import results_pieces
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
        finished = run(
            folder, since=since, until=until, now=now, on_step=on_step, history=history_of(ledger),
            with_vends=page or tables,
        )  # fmt: skip
        on_step("writing the ledger and the report")
        return _record(ledger, folder, finished, tables=tables, page=page)


def _record(ledger: Writer, folder: Path, finished: Run, *, tables: bool, page: bool) -> Recorded:
    done = finished.reconciliation
    seen = record_settings(ledger, folder, done.now)
    record_files(ledger, folder, finished.intake, done.now)
    record_restated(ledger, done.frames["findings"], done.paths, done.now)
    ledger.commit()
    cached = CachedFiles(folder, done.now, Known(finished.route))
    update_cache(folder, finished.intake, cached, held_since(folder))
    finished = replace(finished, reconciliation=replace(done, anchor=ledger.anchor))
    results = Hashed(results_pieces(finished.reconciliation))
    files = _files(finished.reconciliation, results, ledger.anchor)
    if page:
        from recon.balance.report_figures import report_figures
        from recon.report.html import report_pages

        figures = report_figures(finished.reconciliation, finished.stock)
        files = chain(files, report_pages(finished.reconciliation, figures))
    if tables:
        files = chain(files, _tables(finished.reconciliation))
    report = write_report(folder, done, files)
    record_run(
        ledger,
        report=report.folder.name,
        sums=report.sums,
        results=results.digest,
        lines=_lines(report.folder / "results.json", results),
        inputs=done.frames["inputs"],
        seen=seen,
        versions=versions(),
        since=done.since,
        until=done.until,
        at=done.now,
    )
    return Recorded(finished, report.folder)


def versions() -> dict[str, str]:
    """Of what reckoned the figures: they are the same for the same versions and inputs."""
    told = {name: version(name) for name in ("polars", "tzdata")}
    return {"recon": __version__, "python": platform.python_version(), **told}


def _lines(path: Path, results: Hashed) -> dict[str, Any]:
    """Build the tree over the lines of a results.json that was written. It is read again in pieces: a long one need not
    be in memory."""
    try:
        return line_tree_of_file(path, results.sha256)
    except OSError as error:
        raise ReconError(
            f"{path.as_posix()} was written and cannot be read: {error.strerror}. Run again once it can"
        ) from error


def _files(done: Reconciliation, results: Hashed, anchor: Anchor) -> Iterator[tuple[str, Content]]:
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
