"""sources/*.toml: the description of one export format each."""

import re
import warnings
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pydantic import ValidationError

from recon.model.layout import MACHINE_ID
from recon.model.problem import Problem
from recon.model.source import FIELDS, REQUIRED, Source
from recon.route.faults import EXPECTED, MACHINE, Find, bad_value, faults, shown, unknown_key
from recon.route.files import read_toml

_SAMPLE = datetime(2026, 9, 14, 21, 30, 15, 250000)  # noqa: DTZ001 - only written and read back
_DATED = re.compile(r"%[Yy]")
_DAY = re.compile(r"%j|(?=.*%[mbB])(?=.*%d)", re.DOTALL)
_ESCAPED = re.compile(r"%%")


@dataclass(frozen=True)
class SourceFile:
    """A source description and where it stands. file: relative to the route folder; name: its stem."""

    file: str
    name: str
    source: Source
    place: Find


def read_source(root: Path, file: str) -> tuple[SourceFile | None, list[Problem]]:
    """Read one description. It is None where it cannot be used; the problems say why."""
    toml = read_toml(root, file)
    if isinstance(toml, Problem):
        return None, [toml]
    data, find = toml
    try:
        source = Source.model_validate(data)
    except ValidationError as error:
        return None, faults(Source, data, error, find)
    problems = [*_columns(source, find), *_machines(source, find), *_time(source, find)]
    found = SourceFile(file, Path(file).stem, source, find)
    return (None if problems else found), problems


def _columns(source: Source, find: Find) -> list[Problem]:
    fields = FIELDS[source.kind]
    problems = [
        unknown_key(find(("columns", field)), field, fields)
        for field in source.columns
        if field not in fields
    ]
    problems += [
        bad_value(find(("columns", field)), field, shown(header), EXPECTED[Source]["columns.*"])
        for field, header in source.columns.items()
        if not header.strip()
    ]
    # Without [columns] the export is in our own field names; what it lacks shows when it is read.
    if source.columns and not problems:
        problems += _missing(source, find)
    return problems


def _missing(source: Source, find: Find) -> list[Problem]:
    named = set(source.columns)
    if source.machine is not None or source.machine_from_name is not None:
        named.add("machine")
    problems = []
    for alternatives in REQUIRED[source.kind]:
        if not any(named.issuperset(group) for group in alternatives):
            words = " or ".join(" and ".join(group) for group in alternatives)
            key = alternatives[0][0]
            extra = ", or machine or machine_from_name at the top" if key == "machine" else ""
            expected = f"the column of {words}{extra}, for a file of {source.kind}"
            problems.append(bad_value(find(("columns",)), key, "nothing", expected))
    return problems


def _machines(source: Source, find: Find) -> list[Problem]:
    problems = []
    named = [(("machine",), source.machine)] if source.machine is not None else []
    for path, machine in [
        *named,
        *((("machines", theirs), ours) for theirs, ours in source.machines.items()),
    ]:
        if not re.fullmatch(MACHINE_ID, machine):
            problems.append(bad_value(find(path), path[-1], shown(machine), MACHINE))
    if source.machine_from_name is not None:
        found, expected = shown(source.machine_from_name), EXPECTED[Source]["machine_from_name"]
        try:
            with warnings.catch_warnings():
                # Python warns of brackets whose meaning may change one day: nothing a user can act on.
                warnings.simplefilter("ignore")
                groups = re.compile(source.machine_from_name).groups
        except (re.error, RecursionError, OverflowError) as error:
            found, groups = f"{found} ({error})", 0
        if groups != 1:
            problems.append(bad_value(find(("machine_from_name",)), "machine_from_name", found, expected))
    return problems


def _time(source: Source, find: Find) -> list[Problem]:
    written = source.time.format
    if written is None or _usable_format(written):
        return []
    expected = 'a format that names year, month and day, such as "%Y-%m-%d %H:%M:%S"'
    return [bad_value(find(("time", "format")), "format", shown(written), expected)]


def _usable_format(written: str) -> bool:
    """Whether a moment written in this format can be read back, with its date."""
    directives = _ESCAPED.sub("", written)
    if not _DATED.search(directives) or not _DAY.search(directives):
        return False
    try:
        datetime.strptime(_SAMPLE.strftime(written), written)  # noqa: DTZ007 - only whether it can be read
    except (ValueError, re.error):
        return False
    return True
