"""`recon draft`: files for a person to finish. Nothing that exists is ever overwritten."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recon.cli import complete

if TYPE_CHECKING:
    from recon.cli.source_draft import Drafted

app = typer.Typer(
    help="Write files for you to finish: a new route folder, the description of an export, a layout, a count sheet.",
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

    Examples:

      recon draft route my-route

      recon draft route --currency EUR --timezone Europe/Lisbon
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

    Examples:

      recon draft source inbox/sales-39.csv

      recon draft source export.csv --route my-route --output -
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


@app.command("layout")
def layout(
    machine: Annotated[str, typer.Option("--machine", "-m", metavar="ID", help="The machine's id, such as quay-2.")],
    lines: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[LINE]...", help='Labels, label;product;price;capacity, or a tray: "1: 110-118 step 2".'
        ),
    ] = None,
    source: Annotated[
        str | None, typer.Option("--from", metavar="FILE", help="A file of such lines; - reads them from stdin.")
    ] = None,
    like: Annotated[
        str | None,
        typer.Option(
            "--like",
            metavar="ID",
            help="Copy the layout of this machine, of the same make.",
            autocompletion=complete.machines,
        ),
    ] = None,
    with_products: Annotated[
        bool, typer.Option("--with-products", help="With --like: copy products and prices too.")
    ] = False,
    site: Annotated[str | None, typer.Option("--site", help="Where it stands.")] = None,
    numbering: Annotated[
        str | None,
        typer.Option("--numbering", metavar="RULE", help="hex-label, offset=-100, grid=10,first=1 and so on."),
    ] = None,
    effective: Annotated[
        str | None,
        typer.Option(
            "--effective", metavar="TIME", help="Local time from which it holds. Default: the start of today."
        ),
    ] = None,
    route_folder: Annotated[
        Path, typer.Option("--route", metavar="DIR", help="The route folder. Default: this folder.")
    ] = Path(),
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            metavar="PATH",
            help="Where to write it; - prints it. Default: layouts/ID.toml of the route.",
        ),
    ] = None,
) -> None:
    """Write a layout from a list of labels, from tray shapes, or like that of another machine of the same make.

    A tray line: 1: 110-118 step 2 snack capacity 10 (snack: double width, every other number; candy: single width).

    Examples:

      recon draft layout -m quay-7 "1: 110-118 step 2 snack" "2: 130-139 candy" --numbering hex-label

      recon draft layout -m quay-8 --like quay-2
    """
    from recon.cli.layout_draft import Wanted, draft_layout
    from recon.route.write import save_new

    wanted = Wanted(
        machine, lines or (), source, like, with_products, site, numbering, effective, route_folder, output
    )
    found = draft_layout(wanted)
    if found.path is None:
        typer.echo(found.text, nl=False)
    else:
        save_new(found.path, found.text)
        typer.echo(found.path.as_posix())
    for hint in found.hints:
        typer.echo(hint, err=True)
    typer.echo("Look every slot over, then: recon check", err=True)


class SheetKind(StrEnum):
    html = "html"
    csv = "csv"
    xlsx = "xlsx"


@app.command("sheet")
def sheet(
    route_folder: Annotated[
        Path, typer.Argument(metavar="ROUTE", help="The route folder. Default: this folder.", show_default=False)
    ] = Path(),
    machines: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="MACHINE",
            help="The machines, in the order of the round. Default: all of them.",
            autocompletion=complete.machines,
        ),
    ] = None,
    kind: Annotated[
        SheetKind | None,
        typer.Option(
            "--as", help="A page to print or to fill in on a phone, a table, a workbook. Default: by --output, or html."
        ),
    ] = None,
    on: Annotated[
        str | None, typer.Option("--on", metavar="DAY", help="The layout as it stands that day. Default: now.")
    ] = None,
    show_par: Annotated[
        bool, typer.Option("--show-par", help="Print what each slot is filled up to. What ought to be in it never is.")
    ] = False,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            metavar="PATH",
            help="Where to write it; - prints it. Default: sheets/ of the route.",
        ),
    ] = None,
) -> None:
    """Write a blank count sheet for a machine, several, or the whole round: slot by slot as a person stands before it.

    What is filled in, on a phone or in a spreadsheet, goes into inbox/ as it is.

    Examples:

      recon draft sheet

      recon draft sheet bayside quay-2 quay-5 --as xlsx
    """
    from recon.cli.sheet_draft import Wanted, draft_sheet, write_sheet
    from recon.moment import moment_of_run

    chosen = None if kind is None else kind.value
    drafted = draft_sheet(Wanted(route_folder, machines or (), chosen, output, on, show_par), now=moment_of_run())
    write_sheet(drafted)
    for path, data in drafted.files:
        if path is None:
            typer.get_binary_stream("stdout").write(data)
        else:
            typer.echo(path.as_posix())
    for hint in drafted.hints:
        typer.echo(hint, err=True)
