"""`recon pack`: an evidence bundle that someone else can verify without this program."""

import os
from pathlib import Path
from typing import Annotated

import typer

from recon.cli import complete


def pack(
    route: Annotated[Path, typer.Argument(metavar="ROUTE", help="The route folder.")],
    target: Annotated[
        str | None,
        typer.Argument(
            metavar="[TARGET]",
            help="A machine (quay-2), slot (quay-2/110), finding (its id), collection (quay-2@2026-09-14) or payout.",
            show_default="the whole route",
            autocompletion=complete.targets,
        ),
    ] = None,
    since: Annotated[
        str | None, typer.Option(help="Pack windows that close after this day or local time (2026-09-01).")
    ] = None,
    until: Annotated[
        str | None, typer.Option(help="Pack windows that close by the end of this day, or by this local time.")
    ] = None,
    rows_only: Annotated[
        bool,
        typer.Option(
            "--rows-only",
            help="Show of each file the rows concerned (of a long file, up to 15 lines beside each, too); "
            "keep the hashes of the others.",
        ),
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="The zip to write.", show_default="evidence-....zip here"),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print the zip's name alone.")] = False,
) -> None:
    """Pack the last run, or what of it concerns one thing, into a zip that proves itself: files, figures, decisions.

    Whoever gets it needs Python alone to verify it (verify.py in it), and reads cover.html first. Look through it
    before you hand it on: whole files show whatever else stands in them; --rows-only shows less.

    Examples:

      recon pack bayside quay-2 --since 2026-09-01

      recon pack bayside quay-2/110 --rows-only -o quay-2-110.zip

    Exit codes: 0 packed; 3 something in the ledger is missing or altered; 2 it could not be packed.
    """
    from recon.cli.moments import span_of
    from recon.cli.progress import Progress
    from recon.ledger.bundle import zipped
    from recon.model.errors import ReconError
    from recon.moment import moment_of_run
    from recon.packed import file_name
    from recon.packed import pack as packed_of
    from recon.route.folder import read_route

    if output is not None and output.exists():
        raise ReconError(f"{output.as_posix()} is there already: name another file, or remove it")
    with Progress(quiet=quiet) as progress:
        first, last = span_of(route, since, until)
        packed = packed_of(route, target=target, since=first, until=last, rows_only=rows_only, on_step=progress.step)
        progress.step("writing the zip")
        moment = moment_of_run() if os.environ.get("SOURCE_DATE_EPOCH") else None
        data = zipped(packed.files, moment)
    final = output or Path(file_name(packed, read_route(route).settings.name, target))
    _write(final, data)
    typer.echo(final.as_posix())
    if not quiet:
        typer.echo(f"{len(packed.files)} files, {packed.shown} from the inbox; root {packed.root}", err=True)
        for told in packed.left_out:
            typer.echo(f"not in it: {told}", err=True)
        typer.echo(f"verify it: recon verify {final.as_posix()}, or python3 verify.py in it", err=True)


def _write(final: Path, data: bytes) -> None:
    """Write beside the final name and rename, for the owner alone: whom it is for, its maker decides."""
    from recon.ledger.faults import told

    part = final.with_name(f".{final.name}.part")
    with told(final):
        try:
            with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
                file.write(data)
            part.replace(final)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
