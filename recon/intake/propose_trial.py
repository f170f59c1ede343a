"""A drafted description put to the test: the export read by it, as a run would."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from recon.intake.clock import AmbiguousFormat
from recon.intake.describe import UnknownFormat, reading_for
from recon.intake.kinds import read_rows
from recon.intake.known import Known
from recon.intake.opened import Part, open_file
from recon.intake.settle import settle
from recon.intake.table import UnreadableFile
from recon.intake.texts import by_field
from recon.model.problem import Place
from recon.model.source import Source
from recon.route.folder import Route, SourceFile


@dataclass(frozen=True, slots=True)
class Trial:
    """rows: of the file. read: those that a run would take in. reasons: why not the others, the commonest
    first.
    """

    rows: int
    read: int
    reasons: tuple[tuple[str, int], ...]


def try_out(path: Path, source: Source, route: Route, *, now: datetime) -> Trial:
    """Read a file by the description alone, as a run would. Repeated rows count as read."""
    alone = replace(route, sources=(SourceFile("the draft", "draft", source, _place),))
    try:
        parts = open_file(path.read_bytes(), path.name, alone).parts
    except (UnreadableFile, UnknownFormat) as error:
        return Trial(0, 0, ((str(error), 0),))
    each = [_part(part, path.name, Known(alone), now) for part in parts]
    reasons = Counter(reason for trial in each for reason, count in trial.reasons for _ in range(count))
    return Trial(sum(trial.rows for trial in each), sum(trial.read for trial in each), tuple(reasons.most_common()))


def _part(part: Part, name: str, known: Known, now: datetime) -> Trial:
    try:
        reading = reading_for(name, part.table.header, known.route, names=part.names, doubled=part.table.doubled)
        table = settle(part.table, reading)
        texts = by_field(table, reading, file=0, now=now, known=known)
    except (UnknownFormat, AmbiguousFormat) as error:
        return Trial(part.table.rows, 0, ((str(error), part.table.rows),))
    rows = read_rows(texts, reading, known, now)
    counted = Counter([*rows.rejected["reason"].to_list(), *(torn.reason for torn in table.torn)])
    return Trial(table.rows, rows.accepted.height, tuple(counted.most_common()))


def _place(path: Sequence[str | int]) -> Place:
    return Place("the draft")
