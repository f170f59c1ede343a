"""Learned numbers into a layout: into the file that stands, of which nothing else changes, or into a new one.

The text is edited in place, at the places that the reader of the file knows, so that comments, order, spacing and line
ends stay as they are. What comes out is read again before it is handed over.
"""

import difflib
import os
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from pydantic import ValidationError

from recon.model.errors import ReconError, SettingsError
from recon.model.layout import Layout, Numbering, Slot
from recon.route.layout_table import COLUMNS, TableLayout, read_layout_table
from recon.route.layout_text import layout_text
from recon.route.layouts import read_layout
from recon.route.write_csv import csv_row, edited_csv
from recon.route.write_plan import ByRule, Plan, plan_numbers
from recon.route.write_toml import edited_toml

_BOM = "\ufeff"


def write_numbers(
    path: Path,
    numbers: Mapping[str, int],
    rule: Numbering | None,
    *,
    since: datetime | None = None,
    pitches: Mapping[str, int] | None = None,
    machine: str | None = None,
    by_rule: ByRule | None = None,
) -> str:
    """The text of the layout file `path` with these bus numbers in it; nothing is written.

    numbers: label to bus. rule: the numbering rule they follow, None where none is known; it is named in the file only
    where every number there agrees with it, and a number that it gives by itself is not written beside it. since: the
    machine's local time from which the numbers hold: a number that was in force before stays so until then, by a
    [[change]]. None: the numbers in the file were wrong, and are corrected where they stand. pitches: label to pitch,
    where it is not the file's. by_rule: what a layout's rule gives each slot, which is recon.match.numbering.numbers;
    without it, `rule` is taken at its word. machine: of a new file; by default named as the file.

    Labels that the layout lacks become slots without a product. Where no file stands, a new one is made, in force from
    `since`. Raises SettingsError where the file cannot be read, ReconError where it cannot be edited or `since` lacks.
    """
    judge = by_rule or _unjudged
    if not path.exists():
        return _new(path, numbers, rule, since, pitches or {}, machine or path.stem, judge)
    found, problems = read_layout(path.parent, path.name)
    if found is None:
        raise SettingsError(problems)
    table = path.suffix.lower() == ".csv"
    plan = plan_numbers(
        found.layout, numbers, rule, since=since, pitches=pitches or {}, by_rule=judge, names_rule=not table
    )
    text = text_of(path)
    mark = _BOM if text.startswith(_BOM) else ""
    bare = text.removeprefix(_BOM)
    edited = (edited_csv if table else edited_toml)(path.name, bare, found.layout, plan)
    _verify(path, found.layout, edited, plan)
    return mark + edited


def text_of(path: Path) -> str:
    """The text of a file as it stands: with its line ends and its byte order mark. Nothing where there is no file."""
    return path.read_bytes().decode() if path.exists() else ""


def difference(path: Path, text: str, name: str | None = None) -> str:
    """What would change in the file, as a unified diff; empty where nothing would. name: what to call the file."""
    before, after = (each.removeprefix(_BOM).splitlines() for each in (text_of(path), text))
    name = name or path.as_posix()
    lines = difflib.unified_diff(before, after, name if path.exists() else os.devnull, name, lineterm="")
    # An empty line of context is a lone space by the letter of the format; every reader takes it without, too.
    return "".join("\n" if line == " " else f"{line}\n" for line in lines)


def save(path: Path, text: str) -> None:
    """Write the text byte for byte: beside the file first, then in its place. Raises ReconError where it cannot be."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(text.encode())
            # The new file is as readable as the old one, or as any new file.
            Path(beside).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
            Path(beside).replace(path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise ReconError(f"{path} was not written ({error.strerror}); it is as it was") from error


def save_new(path: Path, text: str) -> None:
    """Write a file where none stands. Raises ReconError where one does, or where it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            file.write(text.encode())
    except FileExistsError as error:
        raise ReconError(f"{path.as_posix()} is there already, and was left as it is: name another file") from error
    except OSError as error:
        raise ReconError(f"{path.as_posix()} was not written ({error.strerror}): name another file") from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _unjudged(layout: Layout) -> Sequence[int | None]:
    return [None] * len(layout.slots)


def _new(
    path: Path,
    numbers: Mapping[str, int],
    rule: Numbering | None,
    since: datetime | None,
    pitches: Mapping[str, int],
    machine: str,
    by_rule: ByRule,
) -> str:
    if since is None:
        raise ReconError(f"{path} does not exist: say from which local time a new layout holds, 2026-08-03T07:00:00")
    slots = tuple(Slot(label=label, pitch=pitches.get(label, 1)) for label in numbers)
    try:
        layout = Layout.model_validate({"machine": machine, "effective": since, "numbering": rule, "slot": slots})
    except ValidationError as error:
        raise ReconError(
            f'"{machine}" cannot be the id of a machine: letters, digits, point, dash, underline'
        ) from error
    table = path.suffix.lower() == ".csv"
    given = by_rule(layout)
    # Without exception only: a rule that errs on one slot says nothing of the others.
    named = not table and all(each in (None, bus) for each, bus in zip(given, numbers.values(), strict=True))
    filled = [
        slot.model_copy(update={"bus": None if named and number == bus else bus})
        for slot, number, bus in zip(slots, given, numbers.values(), strict=True)
    ]
    if table:
        rows = [COLUMNS, *(_table_row(machine, since, slot) for slot in filled)]
        return "".join(csv_row(row, ",") + "\n" for row in rows)
    remarks = ("Fill in product, price and capacity of each slot: one without a product is out of use.",)
    return layout_text(layout.model_copy(update={"slots": filled, "numbering": rule if named else None}), remarks)


def _table_row(machine: str, since: datetime, slot: Slot) -> list[str]:
    cells = {"machine": machine, "from": since.isoformat(), "label": slot.label, "bus": str(slot.bus)}
    cells["pitch"] = str(slot.pitch)
    return [cells.get(name, "") for name in COLUMNS]


def _verify(path: Path, before: Layout, text: str, plan: Plan) -> None:
    """The edited text, read again, is the layout as it was but for what was to change."""
    try:
        after = _read_again(path, text)
    except (ValueError, LookupError) as error:
        raise _unsafe(path) from error
    if _without_numbers(after, plan) != _without_numbers(before, None) or not plan.holds_in(after):
        raise _unsafe(path)


def _read_again(path: Path, text: str) -> Layout:
    if path.suffix.lower() == ".csv":
        table: TableLayout = read_layout_table(path.name, text)
        if table.data is None or table.problems:
            raise ValueError("the table cannot be read")
        return Layout.model_validate(table.data)
    return Layout.model_validate(tomllib.loads(text.replace("\r\n", "\n"), parse_float=Decimal))


def _without_numbers(layout: Layout, plan: Plan | None) -> Layout:
    """The layout without numbers and rule, and without what the plan adds."""
    added = {label for label, _ in plan.added} if plan else set()
    dated = {(plan.since, label) for label, _ in plan.dated} if plan else set()
    bare: dict[str, object] = {"bus": None, "pitch": 1}
    return layout.model_copy(
        update={
            "numbering": None,
            "slots": tuple(slot.model_copy(update=bare) for slot in layout.slots if slot.label not in added),
            "changes": tuple(
                change.model_copy(update={"bus": None})
                for change in layout.changes
                if (change.start, change.label) not in dated
            ),
        }
    )


def _unsafe(path: Path) -> ReconError:
    return ReconError(
        f"{path.as_posix()} is written in a way that cannot be edited with certainty. It is as it was: "
        "put the numbers in by hand, or write each slot as a [[slot]] with one key to a line"
    )


__all__ = ["difference", "save", "save_new", "text_of", "write_numbers"]
