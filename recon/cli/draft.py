"""`recon draft`: files for a person to finish. Nothing that exists is ever overwritten."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from recon.cli.source_draft import Drafted

app = typer.Typer(
    help="Write files for you to finish: a new route folder, the description of an export.",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback()
def _draft() -> None:
    """Write files for you to finish. Nothing that exists is overwritten."""


@app.command("route")
def route(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Where to write it. Default: this folder.")
    ] = Path(),
    name: Annotated[
        str | None, typer.Option("--name", help="The route's name. Default: the folder's.")
    ] = None,
    currency: Annotated[str, typer.Option("--currency", help="ISO 4217 code, such as CAD.")] = "CAD",
    timezone: Annotated[
        str, typer.Option("--timezone", help="IANA name of the zone whose clock your machines keep.")
    ] = "America/Halifax",
) -> None:
    """Write a new route folder: settings, an invented layout to replace, and the folders your files go in.

    Examples:  recon draft route my-route      recon draft route --currency EUR --timezone Europe/Lisbon
    """
    from recon.cli.route_draft import write_route

    written = write_route(folder, name, currency, timezone)
    typer.echo("\n".join(path.as_posix() for path in written))
    where = "" if folder == Path() else f" {folder}"
    typer.echo(f"Read README.txt, replace the invented layout by yours, then: recon check{where}", err=True)


@app.command("source")
def source(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The export, in the inbox of a route or elsewhere.")],
    route_folder: Annotated[
        Path | None,
        typer.Option("--route", metavar="DIR", help="The route folder. Default: the one that FILE is in."),
    ] = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output", "-o", metavar="PATH", help="Where to write it; - prints it. Default: sources/ of the route."
        ),
    ] = None,
) -> None:
    """Propose the description of an export that nobody described: what its columns and words mean, and why.

    Lines that it cannot settle are marked FILL IN and told on stderr. A file in our own field names needs none.

    Examples:  recon draft source inbox/sales-39.csv      recon draft source export.csv --route my-route --output -
    """
    from recon.cli.source_draft import draft_source, write_draft
    from recon.reconcile import moment_of_run

    found = draft_source(file, route_folder, output, now=moment_of_run())
    if found.draft is None:
        kind = found.proposal.kind
        typer.echo(f"{file} is in our own field names and words ({kind}): it needs no description.", err=True)
        return
    if found.path is None:
        typer.echo(found.draft.text, nl=False)
    else:
        write_draft(found.path, found.draft.text)
        typer.echo(found.path.as_posix())
    _tell(found)


def _tell(found: "Drafted") -> None:
    """On stderr: what is to be filled in, and how the file would be read by the draft as it stands."""
    draft = found.draft
    assert draft is not None
    where = "line " if found.path is None else f"{found.path.as_posix()}:"
    for each in draft.to_fill:
        typer.echo(f"{where}{each.line}  fill in {each.begins}: {each.what}", err=True)
    trial = found.trial
    if trial is not None:
        typer.echo(f"Read by this draft, {trial.read} of {trial.rows} rows would be taken in.", err=True)
        for reason, count in trial.reasons[:5]:
            typer.echo(f"  {count} x {reason}", err=True)
        if len(trial.reasons) > 5:
            typer.echo(f"  and {len(trial.reasons) - 5} more reasons", err=True)
    typer.echo("Look every line over; then: recon check, recon run", err=True)
