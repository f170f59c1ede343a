"""One layout file, as TOML or as a table, to a Layout and the places of its values."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from recon.model.layout import Change, Layout, Slot
from recon.model.problem import Problem
from recon.route.amounts import amount_fault
from recon.route.faults import Find, bad_value, faults, keys_of, shown, unknown_key
from recon.route.files import read_text, toml_of
from recon.route.layout_blocks import Blocks
from recon.route.layout_table import read_layout_table
from recon.route.positions import TomlPlaces


@dataclass(frozen=True)
class LayoutFile:
    """A layout and where it stands.

    file: the path relative to the route folder. place: from a path such as ("slot", 3, "bus"), counted from 0
    as in `Layout.slots` and `Layout.changes`, to file, line and column; what is not written stands at what
    encloses it.
    """

    file: str
    layout: Layout
    place: Find


def read_layout(root: Path, file: str, blocks: Blocks | None = None) -> tuple[LayoutFile | None, list[Problem]]:
    """Read one layout. The file is None where it cannot be used; the problems say why, and may be there in
    any case. blocks: those of the files read before, where there are many.
    """
    problems: list[Problem] = []
    text = read_text(root, file)
    if isinstance(text, Problem):
        return None, [text]
    if file.lower().endswith(".csv"):
        written = read_layout_table(file, text)
        data, find = written.data, written.place
        problems += written.problems
    else:
        text = text.replace("\r\n", "\n")
        quick = None if blocks is None else blocks.layout(text)
        if quick is not None:
            return LayoutFile(file, quick, TomlPlaces(file, text)), []
        toml = toml_of(file, text)
        if isinstance(toml, Problem):
            return None, [toml]
        data, find = toml
        problems += _python_names(data, find)
    if data is None:
        return None, problems
    try:
        layout = Layout.model_validate(data)
    except ValidationError as error:
        return None, problems + faults(Layout, data, error, find)
    return (None if problems else LayoutFile(file, layout, find)), problems


def _python_names(data: dict[str, Any], find: Find) -> list[Problem]:
    """The model also answers to its own names (slots, changes, start), which no file may use."""
    machine = data.get("machine") if isinstance(data.get("machine"), str) else None
    wrong: list[Problem] = [
        unknown_key(find((key,)), key, keys_of(Layout), machine)
        for key in ("slots", "changes")
        if key in data
    ]
    changes = data.get("change")
    for at, change in enumerate(changes if isinstance(changes, list) else ()):
        if isinstance(change, dict) and "start" in change:
            wrong.append(unknown_key(find(("change", at, "start")), "start", keys_of(Change), machine))
    return wrong


def amounts_of(
    found: LayoutFile, currency: str | None, fitting: dict[int, Slot | Change] | None = None
) -> list[Problem]:
    """Amounts with more digits than the machine's currency has. currency: that of the machine; None: not
    known. fitting: slots and changes whose amounts fit this currency, by their ids; those found to fit are
    added.
    """
    fitting = {} if fitting is None else fitting
    layout = found.layout
    problems: list[Problem] = []
    tables: tuple[tuple[str, Sequence[Slot | Change]], ...] = (
        ("slot", layout.slots),
        ("change", layout.changes),
    )
    for name, entries in tables:
        for at, entry in enumerate(entries):
            if id(entry) in fitting:
                continue
            before = len(problems)
            for key, amount in (("price", entry.price), ("card_price", entry.card_price)):
                expected = None if amount is None else amount_fault(amount, currency)
                if expected is not None:
                    place = found.place((name, at, key))
                    problems.append(bad_value(place, key, shown(amount), expected, layout.machine))
            if len(problems) == before:
                fitting[id(entry)] = entry
    if layout.price_step is not None and (expected := amount_fault(layout.price_step, currency)) is not None:
        place = found.place(("price_step",))
        problems.append(bad_value(place, "price_step", shown(layout.price_step), expected, layout.machine))
    return problems


def without_doubles(found: Sequence[LayoutFile]) -> tuple[list[LayoutFile], list[Problem]]:
    """The first file of each machine, and a problem for each further file of the same one."""
    first: dict[str, LayoutFile] = {}
    problems: list[Problem] = []
    for layout_file in found:
        machine = layout_file.layout.machine
        other = first.setdefault(machine, layout_file)
        if other is not layout_file:
            place = layout_file.place(("machine",))
            facts = {"found": layout_file.file, "expected": "one file for a machine", "other": other.file}
            problems.append(Problem("duplicate-machine", place, facts, machine=machine))
    return list(first.values()), problems
