"""What `recon draft sheet` does: the blank count sheet of a route, as a page, a workbook or a table."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fnmatch import fnmatchcase
from pathlib import Path

from recon.model.errors import ReconError
from recon.report.sheet import CountSheet, count_sheet
from recon.route.folder import SETTINGS, Route, read_route

KINDS = ("html", "csv", "xlsx")
_SAVED = ("count-sheet-20260928-073000.csv", "cash-sheet-20260928-073000.csv")
"""Names under which the page saves what was filled in (recon/report/templates/sheet.js)."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the command was asked for. kind: html, csv or xlsx; None for what the name of `output` says, else html."""

    folder: Path
    machines: Sequence[str]
    kind: str | None
    output: str | None
    on: str | None
    show_par: bool


@dataclass(frozen=True, slots=True)
class Drafted:
    """files: where each is to stand, with its bytes; the path None for stdout. hints: what to say beside them."""

    files: tuple[tuple[Path | None, bytes], ...]
    hints: tuple[str, ...]


def draft_sheet(wanted: Wanted, *, now: datetime) -> Drafted:
    """Make the sheet; writes nothing. Raises ReconError where the route, a machine, the day or the place cannot be
    used."""
    route = _route(wanted)
    on = None if wanted.on is None else _day(wanted.on)
    kind = _kind(wanted)
    sheet = count_sheet(route, wanted.machines, now=now, on=on, show_par=wanted.show_par)
    path = _path(wanted, kind, sheet)
    if kind == "csv":
        from recon.report.sheet_csv import BOM, cash_csv, counts_csv

        mark = "" if path is None else BOM
        files: list[tuple[Path | None, bytes]] = [(path, (mark + counts_csv(sheet)).encode())]
        if path is not None:
            files.append((path.with_name(f"{path.stem}-cash.csv"), (mark + cash_csv(sheet)).encode()))
    else:
        files = [(path, _drawn(sheet, kind))]
    for place, _ in files:
        _free(place)
    return Drafted(tuple(files), tuple(_hints(route, sheet, kind, path)))


def write_sheet(drafted: Drafted) -> None:
    """Write the files where nothing stands yet."""
    for path, data in drafted.files:
        if path is None:
            continue
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise ReconError(
                f"{path.parent.as_posix()} is no folder that can be written to ({error.strerror}): "
                "name another place with --output"
            ) from error
        try:
            with path.open("xb") as file:
                file.write(data)
        except FileExistsError as error:
            raise ReconError(_there(path)) from error
        except OSError as error:
            raise ReconError(
                f"{path.as_posix()} was not written ({error.strerror}): name another place with --output"
            ) from error


def _drawn(sheet: CountSheet, kind: str) -> bytes:
    if kind == "xlsx":
        from recon.report.sheet_xlsx import sheet_xlsx

        return sheet_xlsx(sheet)
    from recon.report.sheet_html import sheet_html

    return sheet_html(sheet).encode()


def _route(wanted: Wanted) -> Route:
    if not wanted.folder.exists() and Path(SETTINGS).exists():
        named = " ".join([wanted.folder.as_posix(), *wanted.machines])
        raise ReconError(
            f"{wanted.folder} is not a folder: the route comes first, then its machines. "
            f"For machines of this route: recon draft sheet . {named}"
        )
    return read_route(wanted.folder)


def _day(text: str) -> datetime:
    found = re.fullmatch(r"\d{4}-\d{2}-\d{2}", text.strip(), re.ASCII)
    try:
        if found:
            return datetime.fromisoformat(text.strip())
    except ValueError:
        pass
    raise ReconError(f'--on "{text}": expected a day, such as 2026-09-28')


def _kind(wanted: Wanted) -> str:
    """The kind as asked for, else what the name of the file says, else a page."""
    named = Path(wanted.output).suffix.lower().removeprefix(".") if wanted.output not in (None, "-") else ""
    if wanted.kind is not None:
        if named in KINDS and named != wanted.kind:
            raise ReconError(f"--output {wanted.output} ends in .{named}, and --as says {wanted.kind}: leave out one")
        return wanted.kind
    if wanted.output in (None, "-"):
        return "html"
    if named not in KINDS:
        raise ReconError(f"--output {wanted.output}: expected a name that ends in .html, .csv or .xlsx, or --as")
    return named


def _path(wanted: Wanted, kind: str, sheet: CountSheet) -> Path | None:
    """Where the sheet is to stand; None for stdout."""
    if wanted.output == "-":
        return None
    if wanted.output is not None:
        return Path(wanted.output)
    one = f"-{sheet.machines[0].machine}" if len(wanted.machines) == 1 else ""
    return wanted.folder / "sheets" / f"sheet{one}-{sheet.day}.{kind}"


def _free(path: Path | None) -> None:
    if path is not None and (path.exists() or path.is_symlink()):
        raise ReconError(_there(path))


def _there(path: Path) -> str:
    return f"{path.as_posix()} is there already, and was left as it is: name another file with --output"


def _hints(route: Route, sheet: CountSheet, kind: str, path: Path | None) -> list[str]:
    told = [f"left out {machine}: {why}" for machine, why in sheet.left_out]
    unusable = sorted({problem.place.file for problem in route.problems if problem.place.file.startswith("layouts/")})
    told += [f"left out what {file} describes, which cannot be used: recon check says why" for file in unusable
             if file not in {entry.file for entry in route.layouts}]  # fmt: skip
    names = _SAVED if kind == "html" else tuple(path.name for path in [path] if path is not None)
    for source in route.sources:
        taken = [name for name in names if any(fnmatchcase(name, glob.lower()) for glob in source.source.files)]
        if taken:
            told.append(
                f"{source.file} speaks for files named as {taken[0]}: the filled-in sheet would be read by it. "
                "Narrow its `files`"
            )
    count = sum(len(machine.slots) for machine in sheet.machines)
    told.append(f"{_many(len(sheet.machines), 'machine')}, {_many(count, 'slot')}")
    told.append(
        "Print it, or open it on a phone; what it saves goes into inbox/"
        if kind == "html"
        else "Fill it in, and put it into inbox/ of the route"
    )
    return told


def _many(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
