"""`recon check`: is anything wrong with layouts, settings, products and source descriptions?"""

import os
import sys
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recon import __version__
from recon.cli import exits

if TYPE_CHECKING:
    from recon.model.problem import Problem
    from recon.report.checked import Checked
    from recon.route.folder import Parts


class Format(StrEnum):
    """How the problems are printed."""

    TEXT = "text"
    JSON = "json"
    SARIF = "sarif"
    JUNIT = "junit"
    GITHUB = "github"


class FailOn(StrEnum):
    """From which severity on the exit code is 1."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass
class _Target:
    """A route folder, or a layout outside any, with the files asked for (none: all of them)."""

    root: Path
    shown: str
    lone: str | None = None
    whole: bool = False
    files: set[str] = field(default_factory=set)


def check(
    paths: Annotated[
        list[Path] | None,
        typer.Argument(metavar="PATH", help="Route folders, or files in one. Default: this folder."),
    ] = None,
    output: Annotated[Format, typer.Option("--format", help="How to print the problems.")] = Format.TEXT,
    fail_on: Annotated[
        FailOn, typer.Option("--fail-on", help="Leave with exit code 1 from this severity on.")
    ] = FailOn.ERROR,
) -> None:
    """Check layouts, settings, products and source descriptions, without running anything.

    One line for each problem: file, line, column, kind, what is wrong and what to do. Nothing where nothing is wrong.

    Examples:

      recon check my-route

      recon check --fail-on warning layouts/quay-2.toml

      recon check --format sarif my-route > recon.sarif

    Exit codes: 0 nothing at or above --fail-on; 1 something is; 2 a path could not be used.
    """
    from recon.report.checked import Checked
    from recon.report.problems import FORMATS

    found: list[Problem] = []
    files: list[str] = []
    layouts = sources = 0
    for target in _targets(paths or [Path()]):
        parts, problems = _check(target)
        layouts += len(parts.layouts)
        sources += len(parts.sources)
        found += problems
        files += _files(target, parts)
    checked = Checked(found, files, fail_on.value, __version__)
    _print(FORMATS[output.value](checked), output)
    if output is Format.GITHUB:
        _summarise(checked)
    told = ", ".join(f"{count} {severity}(s)" for severity, count in checked.counts.items())
    typer.echo(f"{layouts} usable layout(s), {sources} usable source description(s): {told}", err=True)
    if checked.failed:
        raise typer.Exit(exits.FINDINGS)


def _targets(paths: list[Path]) -> list[_Target]:
    """Each route once, however many of its files are named."""
    targets: dict[str, _Target] = {}
    for path in paths:
        target = _target(path)
        key = os.path.realpath(target.root / target.lone if target.lone else target.root)
        known = targets.setdefault(key, target)
        known.whole |= target.whole
        known.files |= target.files
    return list(targets.values())


def _target(path: Path) -> _Target:
    from recon.model.errors import ReconError
    from recon.route.folder import SETTINGS

    if path.is_dir():
        return _Target(path, _prefix(path), whole=True)
    if not path.exists():
        raise ReconError(f"{path} does not exist. Name a route folder or a file in one.")
    absolute = Path(os.path.abspath(path))  # noqa: PTH100 - resolve() would follow a link out of the route
    for root in absolute.parents:
        if (root / SETTINGS).exists():
            shown = root if path.is_absolute() else Path(os.path.relpath(root))
            return _Target(shown, _prefix(shown), files={_checkable(path, absolute.relative_to(root))})
    if path.suffix.lower() not in (".toml", ".csv"):
        raise ReconError(f"{path} is not a file that recon check reads: a layout ends in .toml or .csv.")
    return _Target(path.parent, _prefix(path.parent), lone=path.name, whole=True)


def _checkable(path: Path, inside: Path) -> str:
    from recon.model.errors import ReconError

    file = inside.as_posix()
    kinds = {"layouts": (".toml", ".csv"), "sources": (".toml",)}
    known = len(inside.parts) == 2 and inside.suffix.lower() in kinds.get(inside.parts[0], ())
    if file in ("route.toml", "products.csv") or (known and not inside.name.startswith(".")):
        return file
    raise ReconError(
        f"{path} is not a file that recon check reads. It reads route.toml, products.csv, layouts/*.toml, "
        "layouts/*.csv and sources/*.toml."
    )


def _prefix(root: Path) -> str:
    """What stands before a file of the route, so that its name opens from where the command was given."""
    text = root.as_posix()
    return "" if text == "." else f"{text.rstrip('/')}/"


def _check(target: _Target) -> "tuple[Parts, list[Problem]]":
    from dataclasses import replace

    from recon.findings.layouts import layout_problems
    from recon.route.folder import by_place, read_lone_layout, read_parts

    parts = read_lone_layout(target.root / target.lone) if target.lone else read_parts(target.root)
    problems = sorted([*parts.problems, *layout_problems(parts)], key=by_place)
    return parts, [
        replace(problem, place=replace(problem.place, file=target.shown + problem.place.file))
        for problem in problems
        # Two files for one machine concern both, though the problem stands in the second.
        if target.whole or not target.files.isdisjoint((problem.place.file, problem.facts.get("other")))
    ]


def _files(target: _Target, parts: "Parts") -> list[str]:
    """What was read and could be used, as problems name it; of single files asked for, those."""
    from recon.route.folder import SETTINGS
    from recon.route.products import FILE as PRODUCTS

    read = [layout.file for layout in parts.layouts] + [source.file for source in parts.sources]
    read += [SETTINGS] if parts.settings is not None else []
    read += [PRODUCTS] if parts.has_products else []
    return [target.shown + file for file in sorted(read) if target.whole or file in target.files]


def _print(text: str, output: Format) -> None:
    """To stdout: what programs read as UTF-8, text with what the encoding of stdout lacks spelled out."""
    if output is not Format.TEXT:
        typer.echo(text.encode("utf-8", "backslashreplace"), nl=False)
        return
    encoding = sys.stdout.encoding or "utf-8"
    typer.echo(text.encode(encoding, "backslashreplace").decode(encoding), nl=False)


def _summarise(checked: "Checked") -> None:
    """Add to the summary of the step, where there is one. A summary that cannot be written is said, and no more."""
    from recon.report.github import step_summary

    file = os.environ.get("GITHUB_STEP_SUMMARY")
    text = step_summary(checked)
    if not file or not text:
        return
    try:
        with Path(file).open("ab") as summary:
            summary.write(text.encode("utf-8", "backslashreplace"))
    except OSError as error:
        typer.echo(f"no summary: GITHUB_STEP_SUMMARY names {file}, which will not open ({error.strerror})", err=True)
