"""`recon plan`: what to bring at the next visit, slot by slot and for the van."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recon.cli import complete, exits

if TYPE_CHECKING:
    from recon.balance.plan import Plan, Wishes
    from recon.cli.progress import Progress
    from recon.model.reconciliation import Reconciliation


class Format(StrEnum):
    text = "text"
    json = "json"
    csv = "csv"


class Fill(StrEnum):
    par = "par"
    demand = "demand"
    worth = "worth"


def plan(
    route: Annotated[Path, typer.Argument(help="The route folder.", show_default="this folder")] = Path(),
    machines: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="MACHINE", help="Machines by id.", show_default="all", autocompletion=complete.machines
        ),
    ] = None,
    coming: Annotated[
        str | None,
        typer.Option("--next", metavar="DAY", help="The visit to load for. Default: the last one and the median gap."),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(metavar="DAY", help="The visit after it, which the load is to last for. Default: as much later."),
    ] = None,
    fill: Annotated[
        Fill,
        typer.Option(help="Fill to par; to last with --chance; or what has a shelf life to what earns most."),
    ] = Fill.par,
    chance: Annotated[
        float, typer.Option(help="Chance that a slot does not run short before the visit after, above 0, below 1.")
    ] = 0.95,
    long_days: Annotated[
        float, typer.Option("--long", metavar="DAYS", help="Point out stock that lasts longer than this.")
    ] = 90.0,
    widen: Annotated[
        float,
        typer.Option(metavar="SHARE", help="Widen a slot that ran empty in this share of the windows opened at par."),
    ] = 0.5,
    slow: Annotated[
        float, typer.Option(metavar="UNITS", help="Move or drop a slot that sells fewer from visit to visit.")
    ] = 1.0,
    windows: Annotated[int, typer.Option(metavar="N", help="Windows needed to advise on a slot.")] = 3,
    form: Annotated[Format, typer.Option("--format", help="How to print the list.")] = Format.text,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print results alone, no progress and no hints.")
    ] = False,
) -> None:
    """Say what to bring at the next visit: for each slot, and for the van in whole cases. Writes nothing.

    Examples:

      recon plan bayside

      recon plan bayside quay-2 quay-5 --next 2026-10-05 --until 2026-10-12

      recon plan bayside --fill demand --chance 0.9 --format csv

    Exit codes: 0 the list is printed; 2 a setting or an input could not be used.
    """
    from recon.cli.moments import local_moment
    from recon.cli.progress import Progress

    _hold(chance=chance, long_days=long_days, widen=widen, slow=slow, windows=windows)
    first = None if coming is None else local_moment("--next", coming)
    second = None if until is None else local_moment("--until", until)
    if first is not None and second is not None and first >= second:
        raise typer.BadParameter(f"--next {coming} is not before --until {until}")
    with Progress(quiet=quiet) as progress:
        from recon.balance.plan import Wishes

        wishes = Wishes(fill.value, chance, first, second, long_days, widen, slow, windows)
        done, made = _planned(route, machines or [], wishes, progress)
    typer.echo(_told(done, made, form), nl=False)
    if not quiet:
        _hints(made)
    raise typer.Exit(exits.OK)


def _hold(*, chance: float, long_days: float, widen: float, slow: float, windows: int) -> None:
    """Refuse figures that mean nothing; NaN passes no comparison."""
    if not 0 < chance < 1:
        raise typer.BadParameter(f"--chance {chance:g} is not above 0 and below 1, such as 0.95")
    if not 0 < widen <= 1:
        raise typer.BadParameter(f"--widen {widen:g} is not above 0 and up to 1, such as 0.5")
    for option, figure in (("--long", long_days), ("--slow", slow)):
        if not 0 <= figure < 1e6:
            raise typer.BadParameter(f"{option} {figure:g} is not a figure from 0 to a million")
    if windows < 1:
        raise typer.BadParameter(f"--windows {windows} is not 1 or more")


def _planned(
    route: Path, machines: list[str], wishes: "Wishes", progress: "Progress"
) -> tuple["Reconciliation", "Plan"]:
    from recon.balance.plan import plan as planned
    from recon.cli.asked import known_machines, reconciled

    done = reconciled(route, progress)
    known_machines(machines, done.frames["machines"]["machine"].to_list())
    _near(done, wishes)
    made = planned(done, wishes, machines=machines)
    for machine, last, first, second in made.visits.select("machine", "last_visit", "next_visit", "until").iter_rows():
        if last is not None and first < last:
            raise typer.BadParameter(f"--next {first:%Y-%m-%d} is before the last visit of {machine}, {last:%Y-%m-%d}")
        if first >= second:
            raise typer.BadParameter(
                f"--until {second:%Y-%m-%d} is not after the visit to load {machine} for, {first:%Y-%m-%d}: give an "
                "earlier --next or a later --until"
            )
    return done, made


def _near(done: "Reconciliation", wishes: "Wishes") -> None:
    """Rates of today say nothing of a far year, and a mistyped one is more likely."""
    for option, moment in (("--next", wishes.coming), ("--until", wishes.until)):
        if moment is not None and moment.year > done.now.year + 2:
            raise typer.BadParameter(f"{option} {moment:%Y-%m-%d} is years ahead: give a day of the next visits")


def _told(done: "Reconciliation", made: "Plan", form: Format) -> str:
    if form is Format.text:
        from recon.report.plan_text import plan_text

        return plan_text(done, made)
    from recon.report.asked_json import plan_csv, plan_json

    return plan_json(done, made) if form is Format.json else plan_csv(done, made)


def _hints(made: "Plan") -> None:
    uncounted = int(made.visits["uncounted"].sum())
    if uncounted:
        were = "slot was" if uncounted == 1 else "slots were"
        typer.echo(f"{uncounted} {were} never counted: recon draft sheet makes a sheet to count them", err=True)
