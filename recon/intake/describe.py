"""Which description speaks for a file, and which of its columns is which of our fields."""

import difflib
import re
from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase
from functools import lru_cache
from typing import NamedTuple

from recon.intake.dialect import Sought, fold
from recon.model.source import FIELDS, REQUIRED, Source
from recon.model.words import FILE_KINDS, FileKind
from recon.route.folder import Route, SourceFile

_OF_OTHERS = frozenset(field for fields in FIELDS.values() for field in fields) - set(FIELDS["tests"])
"""Fields that no test list has. One needs but machine and label: a sales log that lacks its tender must not pass for
one."""


class UnknownFormat(Exception):
    """No description fits the file, or the one that speaks for it does not; the text says why and what to add."""


class Reading(NamedTuple):
    """How to read one file. columns: our field to their header. source: None for files in our own field names."""

    kind: FileKind
    columns: dict[str, str]
    source: Source
    name: str | None
    machine: str | None


def speaking_for(names: Sequence[str], route: Route) -> list[SourceFile]:
    """The descriptions whose `files` fit one of the names that a file goes by."""
    lower = [name.lower() for name in names]
    return [
        described for described in route.sources
        if any(fnmatchcase(name, glob.lower()) for glob in described.source.files for name in lower)
    ]  # fmt: skip


def sought_by(described: SourceFile | None) -> Sought:
    """What the header of a file has to hold: the columns of its description, else our own field names of some kind."""
    if described is not None and described.source.columns:
        wanted = frozenset(_bare(column) for column in described.source.columns.values())

        def its_columns(cells: Sequence[str]) -> tuple[bool, int]:
            held = wanted & {_bare(cell) for cell in cells}
            return held == wanted, len(held)

        return its_columns
    kinds: tuple[FileKind, ...] = FILE_KINDS
    fixed: frozenset[str] = frozenset()
    if described is not None:
        kinds, fixed = (described.source.kind,), frozenset(_fixed(described.source))
    return lambda cells: _our_names(tuple(cells), kinds, fixed)


@lru_cache(maxsize=256)
def _our_names(cells: tuple[str, ...], kinds: tuple[FileKind, ...], fixed: frozenset[str]) -> tuple[bool, int]:
    """One export after the other has the same header."""
    there = {fold(cell) for cell in cells} & _EVERY_FIELD
    return any(meets(kind, there | fixed) for kind in kinds), len(there)


_EVERY_FIELD = frozenset(field for fields in FIELDS.values() for field in fields)


def _bare(column: str) -> str:
    """A column's name as the header gives it: " (2)" names the second of a doubled one, " (1)" the first."""
    return re.sub(r" \(\d+\)$", "", fold(column))


def _fixed(source: Source) -> set[str]:
    return {"machine"} if source.machine is not None or source.machine_from_name is not None else set()


def reading_for(
    path: str,
    header: tuple[str, ...],
    route: Route,
    *,
    names: Sequence[str] = (),
    doubled: frozenset[str] = frozenset(),
) -> Reading:
    """Choose how to read the file at `path` (within the route folder) from its name and header.

    names: other names it goes by, such as that within an archive. doubled: column names (folded) that its header gives
    twice.
    Raises UnknownFormat where two descriptions fit, none does and the header is not in our own field names, or the
    description names a column that is not there, or that is there twice.
    """
    every = [path.rsplit("/", 1)[-1], *names]
    fitting = speaking_for(every, route)
    if len(fitting) > 1:
        named = " and ".join(described.file for described in fitting)
        raise UnknownFormat(f"both {named} speak for {every[0]}: narrow `files` in one of them")
    if fitting:
        return _described(every, header, fitting[0], doubled)
    reading = _own_names(header)
    _refuse_doubled(reading.columns, doubled)
    return reading


def _described(
    names: Sequence[str], header: tuple[str, ...], described: SourceFile, doubled: frozenset[str]
) -> Reading:
    source = described.source
    by_fold = {fold(column): column for column in header}
    # " (1)" is the first of a doubled name, which stands in the table without a number.
    by_fold |= {f"{name} (1)": by_fold[name] for name in doubled}
    columns: dict[str, str] = {}
    if not source.columns:
        columns = _own_columns(names[0], header, described)
        _refuse_doubled(columns, doubled)
    for field, column in source.columns.items():
        there = by_fold.get(fold(column))
        place = described.place(("columns", field))
        if there is None:
            raise UnknownFormat(
                f'{place} says that {field} stands in the column "{column}", which the file does not have'
                f"{_nearest(column, header)}. Its columns are: {', '.join(header)}"
            )
        if fold(column) in doubled:
            raise UnknownFormat(
                f'{place} says that {field} stands in the column "{column}", which the file has twice:'
                f' write "{column} (1)" for the first of them, "{column} (2)" for the second'
            )
        columns[field] = there
    return Reading(source.kind, columns, source, described.name, _machine_for(names, described))


def _refuse_doubled(columns: dict[str, str], doubled: frozenset[str]) -> None:
    for column in columns.values():
        if fold(column) in doubled:
            raise UnknownFormat(
                f'the header names the column "{column}" twice: rename one of them,'
                " or say in a description which is meant"
            )


def _own_columns(name: str, header: tuple[str, ...], described: SourceFile) -> dict[str, str]:
    """A description without [columns] speaks of a file in our own field names."""
    source = described.source
    by_fold = {fold(column): column for column in header}
    if not meets(source.kind, by_fold.keys() | _fixed(source)):
        raise UnknownFormat(
            f"{described.file} has no [columns] and {name} is not in our own field names"
            f" (found: {', '.join(header)}). Add [columns] to the description"
        )
    _refuse_typos(source.kind, header)
    return {field: by_fold[field] for field in FIELDS[source.kind] if field in by_fold}


def _machine_for(names: Sequence[str], described: SourceFile) -> str | None:
    source = described.source
    if source.machine_from_name is None:
        return source.machine
    found = next((match for name in names if (match := re.search(source.machine_from_name, name)) is not None), None)
    if found is None:
        place = described.place(("machine_from_name",))
        raise UnknownFormat(
            f'{place} takes the machine from the file name by "{source.machine_from_name}",'
            f' which "{names[0]}" does not fit'
        )
    return source.machines.get(found.group(1), found.group(1))


@lru_cache(maxsize=256)
def _own_names(header: tuple[str, ...]) -> Reading:
    """A file in our own field names needs no description: its kind is the one whose fields it has."""
    by_fold = {fold(column): column for column in header}
    fits: list[tuple[int, FileKind]] = []
    for kind in FILE_KINDS:
        known = [field for field in FIELDS[kind] if field in by_fold]
        if meets(kind, by_fold) and not (kind == "tests" and _OF_OTHERS & by_fold.keys()):
            fits.append((len(known), kind))
    if not fits:
        raise UnknownFormat(_why_none(header))
    best = max(count for count, _ in fits)
    kinds = [kind for count, kind in fits if count == best]
    # A count sheet's columns include those of a load slip, and a test list's stand in many: the fuller kind is meant.
    kind = min(kinds, key=("counts", "vends", "loads", "cash", "payouts", "tests").index)
    _refuse_typos(kind, header)
    columns = {field: by_fold[field] for field in FIELDS[kind] if field in by_fold}
    return Reading(kind, columns, Source(kind=kind, files=["*"]), None, None)


def meets(kind: FileKind, fields: Iterable[str]) -> bool:
    """Whether `fields` hold all that a file of this kind must have."""
    there = set(fields)
    return all(any(there.issuperset(group) for group in alternatives) for alternatives in REQUIRED[kind])


def _refuse_typos(kind: FileKind, header: tuple[str, ...]) -> None:
    for column in header:
        if fold(column) in FIELDS[kind]:
            continue
        near = difflib.get_close_matches(fold(column), FIELDS[kind], n=1, cutoff=0.8)
        if near and near[0] not in {fold(other) for other in header}:
            raise UnknownFormat(f'the column "{column}" is none of the fields of {kind}: did you mean "{near[0]}"?')


def _why_none(header: tuple[str, ...]) -> str:
    def lacking(kind: FileKind) -> list[str]:
        there = {fold(column) for column in header}
        return [
            " or ".join("+".join(group) for group in alternatives)
            for alternatives in REQUIRED[kind]
            if not any(there.issuperset(group) for group in alternatives)
        ]

    def strangers(kind: FileKind) -> int:
        return sum(fold(column) not in FIELDS[kind] for column in header)

    near = min(
        (kind for kind in FILE_KINDS if lacking(kind)),
        key=lambda kind: (len(lacking(kind)) + strangers(kind), FILE_KINDS.index(kind)),
    )
    missing = ", ".join(lacking(near))
    known = len(header) - strangers(near)
    reason = f"; read as {near} it lacks {missing}" if known >= 2 else ""
    return (
        f"no description in sources/ speaks for it and its columns are not in our own field names"
        f" (found: {', '.join(header)}){reason}. Add a description to sources/"
    )


def _nearest(wanted: str, header: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(wanted, header, n=1)
    return f' (nearest: "{near[0]}")' if near else ""
