"""`recon run`: take in what is new, match, reconcile, report."""

import os
import shlex
import sys
from collections.abc import Iterator
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated

import typer

from recon.cli import exits

if TYPE_CHECKING:
    from recon.cli.progress import Progress
    from recon.reconcile import Run


class Format(StrEnum):
    text = "text"
    json = "json"


class FailOn(StrEnum):
    error = "error"
    warning = "warning"
    note = "note"


_UNUSABLE_KINDS = ("unreadable-file", "unknown-format", "card-number-present")
"""Findings that say that a whole input could not be used: exit code 2, though the rest was reconciled."""


def run(
    route: Annotated[Path, typer.Argument(help="The route folder.", show_default="this folder")] = Path(),
    since: Annotated[
        str | None,
        typer.Option(help="Show windows that close after this day or local time (2026-09-01, 2026-09-01T07:00)."),
    ] = None,
    until: Annotated[
        str | None, typer.Option(help="Show windows that close by the end of this day, or by this local time.")
    ] = None,
    form: Annotated[Format, typer.Option("--format", help="How to print the results.")] = Format.text,
    fail_on: Annotated[
        FailOn, typer.Option(help="The least severity of a finding that makes the exit code 1.")
    ] = FailOn.error,
    every: Annotated[bool, typer.Option("--all", help="Print every finding, notes included.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Write nothing: no ledger, no report.")] = False,
    tables: Annotated[
        bool, typer.Option("--tables", help="Write report.xlsx, and its tables as CSV and Parquet, too.")
    ] = False,
    page: Annotated[
        bool,
        typer.Option(
            "--page/--no-page",
            help="Draw report.html. Without it a run is quicker, and a weekly one reckons only what is new.",
        ),
    ] = True,
    draw: Annotated[
        bool | None,
        typer.Option(
            "--draw/--no-draw",
            help="Draw the machines whose stock is short or over, tray by tray. Default: at a terminal.",
            show_default=False,
        ),
    ] = None,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print results alone, no progress and no hints.")
    ] = False,
) -> None:
    """Reconcile a route: take in its inbox, match vends to slots, balance stock, cash and card money, and report.

    Examples:

      recon run

      recon run bayside --since 2026-09-21 --format json

      recon run bayside --tables --draw --all

    Exit codes: 0 nothing at or above --fail-on; 1 something is; 2 a setting or an input could not be used.
    """
    if tables and dry_run:
        raise typer.BadParameter("--tables writes files, and --dry-run writes none: leave one of them out")
    code = reconcile_folder(
        route, since=since, until=until, form=form, fail_on=fail_on, every=every, dry_run=dry_run, tables=tables,
        page=page, draw=draw, quiet=quiet,
    )  # fmt: skip
    raise typer.Exit(code)


def reconcile_folder(
    route: Path,
    *,
    since: str | None = None,
    until: str | None = None,
    form: Format = Format.text,
    fail_on: FailOn = FailOn.error,
    every: bool = False,
    dry_run: bool = False,
    tables: bool = False,
    page: bool = True,
    draw: bool | None = None,
    quiet: bool = False,
) -> int:
    """Run, print and write as the command does; returns the exit code."""
    from recon.cli.moments import span_of
    from recon.cli.progress import Progress

    with Progress(quiet=quiet, inbox=route / "inbox") as progress:
        first, last = span_of(route, since, until)
        finished, folder = _run(route, first, last, progress, dry_run=dry_run, tables=tables, page=page)
    if form is Format.json:
        _print_json(finished, folder)
    else:
        _print(finished, every=every, draw=draw)
    if not quiet:
        _hints(route, finished, folder, progress)
    return _exit_code(finished, fail_on)


def _run(
    route: Path, since: datetime | None, until: datetime | None, progress: "Progress", *, dry_run: bool, tables: bool,
    page: bool,
) -> tuple["Run", Path | None]:
    if dry_run:
        from recon.reconcile import run as reconcile

        return reconcile(route, since=since, until=until, on_step=progress.step, with_vends=False), None
    from recon.recorded import run_and_record

    recorded = run_and_record(
        route,
        since=since,
        until=until,
        tables=tables,
        page=page,
        on_step=progress.step,
        on_wait=lambda holder: typer.echo(f"waiting for {holder}", err=True),
    )
    return recorded.run, recorded.report


def _print_json(finished: "Run", folder: Path | None) -> None:
    """results.json, piece by piece: spelled, or read where it has just been written."""
    if folder is None:
        from recon.report.results_json import results_pieces

        for piece in results_pieces(finished.reconciliation):
            typer.echo(piece, nl=False)
        return
    with (folder / "results.json").open("rb") as written:
        if not _sent(written):
            while piece := written.read(1 << 20):
                typer.echo(piece, nl=False)


def _sent(file: IO[bytes]) -> bool:
    """Whether the system itself copied a file to the standard output: a long one need not pass through here. Where it
    does not, or not all of it, the file stands at what is left."""
    begin = 0
    try:
        sys.stdout.flush()
        size = os.fstat(file.fileno()).st_size
        while begin < size:
            begin += os.sendfile(sys.stdout.fileno(), file.fileno(), begin, size - begin)
    except (AttributeError, OSError, ValueError):
        # Not every system has it, nor has it for every kind of output.
        file.seek(begin)
        return False
    return True


def _print(finished: "Run", *, every: bool, draw: bool | None) -> None:
    from rich.console import Console

    from recon.report.text import print_results

    console = Console(highlight=False, emoji=False)
    drawing: Iterator[str] = iter(())
    if draw or (draw is None and sys.stdout.isatty()):
        from recon.report.machine_drawing import drawings, glyphs_for

        # Who asks for no colour, or reads a pipe or a simple terminal, gets plain signs, too.
        plain = not console.is_terminal or console.is_dumb_terminal or console.no_color
        drawing = drawings(finished.reconciliation, glyphs_for(console.encoding, plain=plain), every=every)
    with console.capture() as captured:
        print_results(finished.reconciliation, console, every=every, drawing=drawing)
    # Wrapped text comes padded to the width: nobody wants the blanks in a file or a mail.
    # The console has settled whether there is colour (terminal, NO_COLOR, FORCE_COLOR); echo would settle it anew.
    typer.echo("\n".join(line.rstrip() for line in captured.get().splitlines()), color=True)


def _hints(route: Path, finished: "Run", folder: Path | None, progress: "Progress") -> None:
    from recon.findings.catalogue import check_kind

    counts = finished.frames["findings"]["severity"].value_counts()
    found = sum(count for _, count in counts.iter_rows())
    typer.echo(f"{found} finding{'' if found == 1 else 's'} in {progress.seconds:.1f} s", err=True)
    if folder is not None:
        drawn = folder / "report.html"
        if drawn.exists():
            typer.echo(f"report: {drawn.as_posix()}", err=True)
        workbook = folder / "report.xlsx"
        if workbook.exists():
            typer.echo(f"workbook: {workbook.as_posix()}, and its tables in {folder.as_posix()}/tables", err=True)
        typer.echo(f"results: {folder.as_posix()}/results.json", err=True)
        rejected = finished.frames["rejects"].height
        if rejected:
            typer.echo(f"rejected rows: {folder.as_posix()}/rejects.csv ({rejected})", err=True)
    # A note, such as a price that differs between machines, would be repeated at every run: recon check tells it.
    count = sum(check_kind(problem.kind).severity != "note" for problem in finished.problems)
    if count:
        typer.echo(
            f"{count} remark{'s' if count > 1 else ''} on the settings: recon check {shlex.quote(route.as_posix())}",
            err=True,
        )
    for hint in _next_steps(route, finished):
        typer.echo(hint, err=True)


def _next_steps(route: Path, finished: "Run") -> Iterator[str]:
    """What to run about the first open finding, as it can be typed."""
    import polars as pl

    grave = pl.col("state") == "open", pl.col("severity") != "note"
    first = finished.frames["findings"].filter(*grave).head(1)
    for finding in first["id"].to_list():
        named = f"{shlex.quote(route.as_posix())} {finding}"
        yield f"the rows behind the first finding: recon trace {named}"
        yield f'once it is explained: recon decide {named} accept --by NAME --why "REASON"'


def _exit_code(finished: "Run", fail_on: FailOn) -> int:
    """What was decided no longer fails a run."""
    import polars as pl

    findings = finished.frames["findings"].filter(pl.col("state") == "open")
    if findings["kind"].is_in(_UNUSABLE_KINDS).any():
        return exits.UNUSABLE
    counted = {
        FailOn.error: ["error"],
        FailOn.warning: ["error", "warning"],
        FailOn.note: ["error", "warning", "note"],
    }[fail_on]
    return exits.FINDINGS if findings["severity"].cast(str).is_in(counted).any() else exits.OK
