"""`recon draft`: files for a person to finish. Nothing that exists is ever overwritten."""

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    help="Write files for you to finish: a new route folder.",
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
