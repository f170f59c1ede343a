"""`recon decide`: record what was decided about a finding, by whom and why."""

import json
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recon.cli import complete

if TYPE_CHECKING:
    from recon.deciding import Made


class Format(StrEnum):
    text = "text"
    json = "json"


class Verb(StrEnum):
    accept = "accept"
    write_off = "write-off"
    correct = "correct"
    dispute = "dispute"
    reopen = "reopen"


def decide(
    route: Annotated[Path, typer.Argument(metavar="ROUTE", help="The route folder.")],
    finding: Annotated[
        str,
        typer.Argument(
            metavar="FINDING",
            help="The finding's id, as recon run shows it in [].",
            autocompletion=complete.findings,
        ),
    ],
    verb: Annotated[Verb, typer.Argument(metavar="VERB", help="accept, write-off, correct, dispute or reopen.")],
    by: Annotated[str, typer.Option("--by", envvar="RECON_BY", help="Who decides.")],
    why: Annotated[str, typer.Option("--why", help="The reason, in a sentence.")],
    to: Annotated[str | None, typer.Option("--to", metavar="FIGURE", help="correct: the figure that is right.")] = None,
    row: Annotated[
        str | None,
        typer.Option("--row", metavar="FILE:LINE", help="correct: the row that is wrong, where that is not plain."),
    ] = None,
    field: Annotated[
        str | None,
        typer.Option("--field", help="correct: which figure of it: counted, loaded, removed, collected, price, ..."),
    ] = None,
    attach: Annotated[
        Path | None, typer.Option("--attach", metavar="FILE", help="A file to keep with it: a photograph, a letter.")
    ] = None,
    form: Annotated[Format, typer.Option("--format", help="How to print what was recorded.")] = Format.text,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="No progress and no hints.")] = False,
) -> None:
    """Record what was decided about a finding: it then no longer fails a run, until its figures change.

    accept: it is explained, and nothing is to be done. write-off: the loss is taken. correct: a figure on a sheet or in
    a log is wrong, and --to is right; the file stays as it is. dispute: someone is asked to make it good. reopen: what
    was decided is taken back. Names go into the ledger for good: write what you would say to the person.

    Examples:

      recon decide bayside 1f01824164bc correct --to 9 --by "Ann" --why "Counted again with the site's caretaker"

      recon decide bayside 78ad41c8 write-off --by "Ann" --why "Coil jammed on the 14th, three bags crushed"

    Exit codes: 0 recorded; 2 there is no such finding, or the ledger cannot be written.
    """
    from recon.cli.progress import Progress
    from recon.deciding import Asked, decide

    asked = Asked(verb.value, by, why, to, row, field, attach)
    with Progress(quiet=quiet) as progress:
        made = decide(
            route,
            finding,
            asked,
            on_step=progress.step,
            on_wait=lambda holder: typer.echo(f"waiting for {holder}", err=True),
        )
    typer.echo(_as_json(made) if form is Format.json else "\n".join(_as_text(made)))
    if not quiet:
        typer.echo(f"the figures with it: recon run {route.as_posix()}", err=True)


def _as_json(made: "Made") -> str:
    told = {
        "format": "recon-decision/1",
        "entry": made.decided.entry,
        "at": made.decided.at.isoformat(),
        **made.decided.body,
        "occurs": made.after is not None,
        "ledger": {"entries": made.anchor.entries, "root": made.anchor.root},
    }
    return json.dumps(told, indent=2, ensure_ascii=False)


def _as_text(made: "Made") -> list[str]:
    body = made.decided.body
    lines = [f"{body['message']} [{body['finding']}]", f"{body['state']} by {body['by']}: {body['why']}"]
    correction, attachment = body["correction"], body["attachment"]
    if correction is not None:
        lines.append(f"{correction['file']}:{correction['row']} {correction['field']} {correction['shown']}")
        lines.append("with it: " + ("no longer found" if made.after is None else str(made.after["message"])))
    elif body["state"] == "open":
        lines.append("with it: " + ("not found" if made.after is None else str(made.after["message"])))
    if attachment is not None:
        lines.append(f"kept with it: {attachment['name']}, SHA-256 {attachment['original']}")
    lines.append(f"Ledger  {made.anchor.entries:,} entries, root {made.anchor.root}")
    return lines
