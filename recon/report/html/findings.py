"""Findings as the page shows them: what was found, what to do, and how to follow it to its rows."""

import shlex
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import polars as pl

from recon.model.frames import Frame
from recon.report.html.spelling import Spelling

GLYPHS = {"error": "\u25cf", "warning": "\u25b3", "note": "\u00b7"}
"""A full round, an open triangle, a point: told apart without colour, and the word stands beside it."""

PLACES_SHOWN = 6
SHOWN = 60
"""Findings of one severity that a part shows; the rest is counted, and stands in results.json."""


@dataclass(frozen=True, slots=True)
class Shown:
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


@dataclass(frozen=True, slots=True)
class Listed:
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


def listed(findings: Frame, spell: Spelling, followed: Mapping[tuple[str, str], str]) -> Listed:
    """Sort out the findings of one part. followed: (machine, label) to the anchor of its trace."""
    parts = {
        "open": findings.filter(OPEN & GRAVE),
        "notes": findings.filter(OPEN & ~GRAVE),
        "decided": findings.filter(~OPEN),
    }
    paths = spell.done.paths
    shown = {name: tuple(_each(part.head(SHOWN), paths, followed)) for name, part in parts.items()}
    return Listed(
        open=shown["open"],
        notes=shown["notes"],
        decided=shown["decided"],
        more={name: max(part.height - SHOWN, 0) for name, part in parts.items()},
        counts={name: part.height for name, part in parts.items()},
    )


def _each(findings: Frame, paths: list[str], followed: Mapping[tuple[str, str], str]) -> Iterable[Shown]:
    told: set[str] = set()
    for row in findings.iter_rows(named=True):
        advice = "" if row["advice"] in told else row["advice"]
        told.add(advice)
        evidence = row["evidence"][:PLACES_SHOWN]
        yield Shown(
            id=row["id"],
            kind=row["kind"],
            severity=row["severity"],
            glyph=GLYPHS[row["severity"]],
            message=row["message"],
            advice=advice,
            places=tuple(_places(paths, evidence)),
            more_places=row["evidence_count"] - len(evidence),
            trace=trace_command(row["machine"], row["label"]),
            follow=followed.get((row["machine"], row["label"])),
            state=row["state"],
            decision=row["decision"],
            changed=row["changed_since"],
        )


def _places(paths: list[str], evidence: list[Mapping[str, int]]) -> Iterable[str]:
    """`inbox/sales-39.csv:118, 121` for each file, in the order of its first row; a whole file is its path alone."""
    lines: dict[int, list[str]] = {}
    for entry in evidence:
        lines.setdefault(entry["file"], []).extend([str(entry["row"])] if entry["row"] else [])
    for file, rows in lines.items():
        yield f"{paths[file]}:{', '.join(rows)}" if rows else paths[file]
