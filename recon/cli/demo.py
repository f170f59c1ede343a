"""recon demo: lay the sample route, run it, say what to open."""

from pathlib import Path
from typing import Annotated

import typer

from recon.cli import exits
from recon.cli.sample_files import lay


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", show_default=True, help="A folder that is new or empty.")
    ] = Path("bayside"),
    clean: Annotated[bool, typer.Option("--clean", help="The same route without any trouble in it.")] = False,
) -> None:
    """Lay the sample route in DIR, run it, and say what to open.

    An invented route of small machines over seven weeks, with each kind of trouble planted once; README.md
    in DIR says where. Exits with 0 where the run itself worked, whatever it found.

    Examples:

      recon demo

      recon demo --clean quiet-route
    """
    lay("clean" if clean else "bayside", folder)
    from recon.cli.run import reconcile_folder

    code = reconcile_folder(folder)
    if code not in (exits.OK, exits.FINDINGS, exits.UNUSABLE):
        raise typer.Exit(code)
    typer.echo(
        f"\nThe sample route is in {folder}. Open {folder / 'reports'} for the reports,\n"
        f"and {folder / 'README.md'} for what is in this route and where trouble was planted.\n"
        f"The same again: recon run {folder} (its exit code is {code}; the demo leaves with 0).",
        err=True,
    )
