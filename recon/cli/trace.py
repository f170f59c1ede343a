"""`recon trace`: every line behind a figure, with file and row, and the balance after each."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from recon.cli import complete


class Format(StrEnum):
    text = "text"
    json = "json"


def trace(
    route: Annotated[Path, typer.Argument(metavar="ROUTE", help="The route folder.")],
    target: Annotated[
        str,
        typer.Argument(
            metavar="TARGET",
            help="A slot (quay-2/110), machine, finding (its id), collection (quay-2@2026-09-14) or payout"
            " (its reference, or payout@2026-09-20).",
            autocompletion=complete.targets,
        ),
    ],
    since: Annotated[
        str | None,
        typer.Option(help="Show windows that close after this day or local time (2026-09-01, 2026-09-01T07:00)."),
    ] = None,
    until: Annotated[
        str | None, typer.Option(help="Show windows that close by the end of this day, or by this local time.")
    ] = None,
    form: Annotated[Format, typer.Option("--format", help="How to print the trace.")] = Format.text,
    every: Annotated[
        bool, typer.Option("--all", help="Print every line, and every original text whole.")
    ] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print the trace alone, no progress and no hints.")
    ] = False,
) -> None:
    """Show every line behind a figure in time order: counts, loads, vends, with file, row, original text and balance.

    Examples:

      recon trace bayside quay-2/110

      recon trace bayside 8717b4c8a412 --all

      recon trace bayside quay-2@2026-09-14 --format json

    Exit codes: 0 the trace was printed; 2 there is no such thing, or a setting or an input could not be used.
    """
    from recon.cli.moments import span_of
    from recon.cli.progress import Progress
    from recon.ledger.trace import trace as trace_of
    from recon.ledger.trace_originals import Inbox
    from recon.ledger.trace_target import target_of
    from recon.reconcile import run
    from recon.route.folder import read_route

    with Progress(quiet=quiet) as progress:
        first, last = span_of(route, since, until)
        done = run(route, since=first, until=last, on_step=progress.step).reconciliation
        progress.step("tracing")
        inbox = Inbox(read_route(route), done)
        found = trace_of(target_of(target, done), done, inbox)
        if form is Format.json:
            from recon.ledger.trace_originals import original_texts
            from recon.report.trace_json import trace_json

            text = trace_json(found, done, original_texts(found.places, inbox))
        else:
            from recon.report.trace_text import trace_text

            text = trace_text(found, done, inbox, every=every)
    typer.echo(text, nl=False)
