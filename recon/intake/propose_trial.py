"""A drafted description put to the test: the export read by it, as a run would."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from recon.intake.clock import AmbiguousFormat
from recon.intake.describe import UnknownFormat, reading_for
from recon.intake.kinds import read_rows
from recon.intake.known import Known
from recon.intake.table import TextTable
from recon.intake.texts import by_field
from recon.model.problem import Place
from recon.model.source import Source
from recon.route.folder import Route, SourceFile


@dataclass(frozen=True, slots=True)
class Trial:
    """rows: of the file. read: those that a run would take in. reasons: why not the others, the commonest first."""

    rows: int
    read: int
    reasons: tuple[tuple[str, int], ...]


def try_out(table: TextTable, file: str, source: Source, route: Route, *, now: datetime) -> Trial:
    """Read the table by the description alone. file: its name, without folder."""
    known = Known(route)
    described = SourceFile("the draft", "draft", source.model_copy(update={"files": ["*"]}), _place)
    try:
        reading = reading_for(file, table.header, replace(route, sources=(described,)), doubled=table.doubled)
        texts = by_field(table, reading, file=0, now=now, known=known)
    except (UnknownFormat, AmbiguousFormat) as error:
        return Trial(table.rows, 0, ((str(error), table.rows),))
    rows = read_rows(texts, reading, known, now)
    counted = Counter([*rows.rejected["reason"].to_list(), *(torn.reason for torn in table.torn)])
    return Trial(table.rows, rows.accepted.height, tuple(counted.most_common()))


def _place(path: Sequence[str | int]) -> Place:
    return Place("the draft")
