"""`recon learn`: work out a machine's numbering from test vends, and say which test vend to make next."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recon.cli import complete, exits

if TYPE_CHECKING:
    from recon.cli.progress import Progress
    from recon.match.learn import Learned
    from recon.route.folder import Route


class Format(StrEnum):
    text = "text"
    json = "json"


@dataclass(frozen=True)
class Lesson:
    """What was learned, with the route it is about. paths: of the inputs by number."""

    route: "Route"
    learned: "Learned"
    paths: list[str]

    @property
    def zone(self) -> str:
        return self.route.zone_of(self.learned.machine)

    @property
    def layout_file(self) -> Path | None:
        """The machine's layout file; None where it has none."""
        for entry in self.route.layouts:
            if entry.layout.machine == self.learned.machine:
                return self.route.root / entry.file
        return None


def learn(
    route: Annotated[Path, typer.Argument(metavar="ROUTE", help="The route folder.")],
    machine: Annotated[
        str, typer.Argument(metavar="MACHINE", help="The machine's id.", autocompletion=complete.machines)
    ],
    form: Annotated[Format, typer.Option("--format", help="How to print what was learned.")] = Format.text,
    write: Annotated[
        bool, typer.Option("--write", help="Put the numbers into the machine's layout, keeping all else of it.")
    ] = False,
    changed: Annotated[
        str | None,
        typer.Option(
            "--changed",
            metavar="TIME",
            help="The numbers changed at this local time: keep the old ones before it. Default: they were wrong.",
        ),
    ] = None,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print results alone, no progress and no hints.")
    ] = False,
) -> None:
    """Work out a machine's numbering from test vends, and say which test vend to make next.

    The tests stand in inbox/ as a file of kind `tests`: machine, label, time, in the order in which they were made.

    Examples:

      recon learn bayside quay-9

      recon learn bayside quay-9 --format json

      recon learn bayside quay-9 --write

    Exit codes: 0 every slot's number is certain; 1 not yet; 2 a setting or an input could not be used.
    """
    from recon.cli.progress import Progress
    from recon.report.learned import learned_json, learned_text

    with Progress(quiet=quiet) as progress:
        lesson = learn_machine(route, machine, progress)
    told = learned_json if form is Format.json else learned_text
    typer.echo(told(lesson.learned, lesson.paths, lesson.zone), nl=False)
    _into_layout(lesson, changed, write=write, show=form is Format.text, quiet=quiet)
    if lesson.route.problems and not quiet:
        count = len(lesson.route.problems)
        remarks = f"{count} remark{'s' if count > 1 else ''} on the settings"
        typer.echo(f"{remarks}: recon check {route.as_posix()}", err=True)
    raise typer.Exit(exits.OK if lesson.learned.certain else exits.FINDINGS)


def _into_layout(lesson: Lesson, changed: str | None, *, write: bool, show: bool, quiet: bool) -> None:
    """Write what was learned into the layout, or show what would change once it is certain."""
    from recon.cli.learn_write import propose
    from recon.model.errors import ReconError
    from recon.route.write import save

    if not (write or (show and lesson.learned.certain)):
        return
    if not lesson.learned.numbers:
        typer.echo("No number is known yet: nothing was written.", err=True)
        return
    try:
        proposed = propose(lesson, changed)
    except ReconError as error:
        if write or changed is not None:
            raise
        # What was learned stands on stdout all the same.
        typer.echo(f"The layout is not to be edited: {error}", err=True)
        return
    if not proposed.diff:
        told = f"{proposed.name} holds all of this already"
    elif write:
        save(proposed.path, proposed.text)
        told = f"{proposed.name}: written. Look it over: git diff, recon check"
    else:
        typer.echo(f"\n{proposed.diff}", nl=False)
        told = f"{proposed.name} is as it was. To put this into it: recon learn --write"
    if not quiet:
        typer.echo(told, err=True)


def learn_machine(folder: Path, machine: str, progress: "Progress") -> Lesson:
    """Read the route and its inbox, and learn the machine.

    Raises ReconError where the route does not know the machine at all, SettingsError where it has no layout and one of
    the layouts cannot be read.
    """
    from recon.intake.take_in import take_in
    from recon.match.learn import learn as learn_numbering
    from recon.match.states import layouts
    from recon.model.errors import SettingsError
    from recon.reconcile import moment_of_run
    from recon.route.folder import read_route

    progress.step("reading the route folder")
    route = read_route(folder)
    intake = take_in(route, now=moment_of_run(), on_file=lambda path: progress.step(f"reading {path}"))
    layout = route.layout_of(machine)
    if layout is None:
        # Its layout may be one that could not be read: learned without it, a machine has no slots to be wrong about.
        used = {entry.file for entry in route.layouts}
        unread = [each for each in route.problems if each.place.file.startswith("layouts/")]
        broken = [each for each in unread if each.place.file not in used]
        if broken:
            raise SettingsError(broken)
        if machine not in intake.tests["machine"].to_list():
            raise _unknown(route, machine)
    progress.step("learning the numbering")
    states = layouts(route).states
    learned = learn_numbering(machine, intake.tests, intake.vends, layout=layout, states=states)
    return Lesson(route, learned, intake.paths)


def _unknown(route: "Route", machine: str) -> Exception:
    from recon.model.errors import ReconError
    from recon.route.nearest import nearest

    near = nearest(machine, [entry.layout.machine for entry in route.layouts])
    meant = f' Did you mean "{near}"?' if near else ""
    return ReconError(
        f'machine "{machine}" has no usable layout in {(route.root / "layouts").as_posix()} and no test in inbox/.'
        f"{meant} Write its labels down with: recon draft layout"
    )
