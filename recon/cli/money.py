"""`recon money`: what each machine, slot and product brought, and what the card reader costs and brings."""

import re
from enum import StrEnum
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recon.cli import complete, exits

if TYPE_CHECKING:
    from recon.balance.earnings import Earnings
    from recon.model.frames import Frame
    from recon.model.reconciliation import Reconciliation


class Format(StrEnum):
    text = "text"
    json = "json"
    csv = "csv"


class By(StrEnum):
    machine = "machine"
    slot = "slot"
    product = "product"


def money(
    route: Annotated[Path, typer.Argument(help="The route folder.", show_default="this folder")] = Path(),
    machines: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="MACHINE", help="Machines by id.", show_default="all", autocompletion=complete.machines
        ),
    ] = None,
    since: Annotated[
        str | None, typer.Option(help="Only what happened from this day or local time on (2026-09-01).")
    ] = None,
    until: Annotated[
        str | None, typer.Option(help="Only what happened by the end of this day, or by this local time.")
    ] = None,
    by: Annotated[By, typer.Option(help="The table below each machine; what --format csv prints.")] = By.slot,
    extra: Annotated[
        str,
        typer.Option(
            metavar="LOW..HIGH",
            help="Share of the card sales that cash would not have made: an assumption (common practice, no source).",
        ),
    ] = "0.2..0.6",
    form: Annotated[Format, typer.Option("--format", help="How to print the figures.")] = Format.text,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print results alone, no progress and no hints.")
    ] = False,
) -> None:
    """Say what each machine brought: sales by tender, fees, goods, shrink, margin, and if its card reader pays.

    Writes nothing. The machines' figures are those of `recon run` for the same time.

    Examples:

      recon money bayside

      recon money bayside quay-2 --by product --since 2026-09-01

      recon money bayside --by machine --extra 0.1..0.3 --format json

    Exit codes: 0 the figures are printed; 2 a setting or an input could not be used.
    """
    from recon.cli.asked import known_machines, reconciled
    from recon.cli.moments import span_of
    from recon.cli.progress import Progress

    percents = percents_of(extra)
    with Progress(quiet=quiet) as progress:
        first, last = span_of(route, since, until)
        done = reconciled(route, progress, first, last)
        known_machines(machines or [], done.frames["summaries"]["machine"].to_list())
        from recon.balance.earnings import earnings
        from recon.balance.readers import readers

        earned = earnings(done, machines=machines or [])
        bring = readers(done, earned, percents)
    typer.echo(_told(done, earned, bring, form, by), nl=False)
    raise typer.Exit(exits.OK)


def percents_of(text: str) -> list[Fraction]:
    """`0.2..0.6` as 20 and 60 percent; a single share as one. Raises BadParameter for anything else."""
    found = re.fullmatch(r"([0-9]{1,3}(?:\.[0-9]{1,6})?)(?:\.\.([0-9]{1,3}(?:\.[0-9]{1,6})?))?", text.strip())
    shares = [Fraction(each) for each in found.groups() if each is not None] if found else []
    if not shares or max(shares) > 1 or shares != sorted(shares):
        raise typer.BadParameter(f'--extra "{text}" is neither a share from 0 to 1 (0.4) nor a range of two (0.2..0.6)')
    return [share * 100 for share in dict.fromkeys(shares)]


def _told(done: "Reconciliation", earned: "Earnings", readers: "Frame", form: Format, by: By) -> str:
    if form is Format.text:
        from recon.report.money_text import money_text

        return money_text(done, earned, readers, by=by.value)
    from recon.report.asked_json import money_csv, money_json

    return money_json(done, earned, readers) if form is Format.json else money_csv(done, earned, readers, by.value)
