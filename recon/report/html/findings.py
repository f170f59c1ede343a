"""Findings as the page shows them: what was found, what to do, and how to follow it to its rows."""

import shlex
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import polars as pl

from recon.model.frames import Frame

GLYPHS = {"error": "\u25cf", "warning": "\u25b3", "note": "\u00b7"}
"""A full round, an open triangle, a point: told apart without colour, and the word stands beside it."""

PLACES_SHOWN = 6
SHOWN = 60
"""Findings of one severity that a part shows; the rest is counted, and stands in results.json."""


class Shown(NamedTuple):
    """One finding. advice: empty where one before it in the list gives the same. places: `inbox/sales-39.csv:118, 121`.
    trace: the command that follows its slot, None without one. follow: anchor of that slot's trace on the page, None
    where it is not drawn."""

    id: str
    kind: str
    severity: str
    glyph: str
    message: str
    advice: str
    places: tuple[str, ...]
    more_places: int
    trace: str | None
    follow: str | None
    state: str
    decision: int | None
    changed: bool


class Listed(NamedTuple):
    """The findings of one part of the page. open: errors and warnings, worst first. notes: open notes. decided: what
    somebody decided about. more: how many of each were left out."""

    open: tuple[Shown, ...]
    notes: tuple[Shown, ...]
    decided: tuple[Shown, ...]
    more: Mapping[str, int]
    counts: Mapping[str, int]


OPEN = pl.col("state") == "open"
GRAVE = pl.col("severity").cast(pl.String).is_in(["error", "warning"])


def trace_command(machine: str | None, label: str | None) -> str | None:
    """The command that prints every line behind a slot's figures, in the route's folder."""
    return None if machine is None or label is None else f"recon trace . {shlex.quote(f'{machine}/{label}')}"


def sorted_out(findings: Frame) -> tuple[Frame, dict[tuple[str | None, str], int]]:
    """The findings that lists show, with what `listed` needs of them, and how many there are by machine and part
    (`open`, `notes`, `decided`).

    Returns machine, part, id, kind, severity, state, message, advice, label, files and rows (of the first evidence),
    evidence_count, decision, changed_since; in the order of `findings`.
    """
    part = pl.when(~OPEN).then(pl.lit("decided")).when(GRAVE).then(pl.lit("open")).otherwise(pl.lit("notes"))
    parted = findings.with_columns(part.alias("part"))
    counts = {(machine, name): n for machine, name, n in parted.group_by("machine", "part").len().iter_rows()}
    if any(count > SHOWN for count in counts.values()):
        parted = parted.filter(pl.int_range(pl.len()).over("machine", "part") < SHOWN)
    places = pl.col("evidence").list.head(PLACES_SHOWN)
    shown = parted.select(
        "machine", "part", "id", "kind", pl.col("severity", "state").cast(pl.String), "message", "advice", "label",
        *(places.list.eval(pl.element().struct.field(end)).alias(f"{end}s") for end in ("file", "row")),
        "evidence_count", "decision", "changed_since",
    )  # fmt: skip
    return shown, counts


def listed(
    findings: Frame,
    counts: Mapping[tuple[str | None, str], int],
    machine: str | None,
    paths: Sequence[str],
    followed: Mapping[tuple[str, str], str],
) -> Listed:
    """The findings of one machine, or of the route. findings, counts: as from `sorted_out`, its rows alone; the column
    `machine` may lack. paths: of the files by their number. followed: (machine, label) to the anchor of its trace."""
    parts: dict[str, list[Shown]] = {"open": [], "notes": [], "decided": []}
    given: set[tuple[str, str]] = set()
    for row in findings.iter_rows(named=True):
        advised = row["part"], row["advice"]
        parts[row["part"]].append(_shown(machine, row, "" if advised in given else row["advice"], paths, followed))
        given.add(advised)
    every = {name: counts.get((machine, name), 0) for name in parts}
    return Listed(
        open=tuple(parts["open"]),
        notes=tuple(parts["notes"]),
        decided=tuple(parts["decided"]),
        more={name: max(every[name] - SHOWN, 0) for name in parts},
        counts=every,
    )


def _shown(
    machine: str | None,
    row: Mapping[str, Any],
    advice: str,
    paths: Sequence[str],
    followed: Mapping[tuple[str, str], str],
) -> Shown:
    label = row["label"]
    return Shown(
        id=row["id"],
        kind=row["kind"],
        severity=row["severity"],
        glyph=GLYPHS[row["severity"]],
        message=row["message"],
        advice=advice,
        places=tuple(_places(paths, row["files"], row["rows"])),
        more_places=row["evidence_count"] - len(row["files"]),
        trace=trace_command(machine, label),
        follow=None if machine is None else followed.get((machine, label)),
        state=row["state"],
        decision=row["decision"],
        changed=row["changed_since"],
    )


def _places(paths: Sequence[str], files: Sequence[int], rows: Sequence[int]) -> Iterable[str]:
    """`inbox/sales-39.csv:118, 121` for each file, in the order of its first row; a whole file is its path alone."""
    lines: dict[int, list[str]] = {}
    for file, row in zip(files, rows, strict=True):
        lines.setdefault(file, []).extend([str(row)] if row else [])
    for file, told in lines.items():
        yield f"{paths[file]}:{', '.join(told)}" if told else paths[file]
