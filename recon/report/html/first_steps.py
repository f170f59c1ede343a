"""The first screen: what to do first."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import polars as pl

from recon.findings.catalogue.intake_kinds import INTAKE_KINDS
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.report.html.findings import GLYPHS, GRAVE, OPEN, SHOWN
from recon.report.html.spelling import Spelling

STEPS = 4
_INTAKE = sorted(kind.code for kind in INTAKE_KINDS)

PagesOf = Callable[[str | None], str]
"""The page on which a machine's findings stand; empty for the front page."""


@dataclass(frozen=True, slots=True)
class Step:
    """The findings of one kind taken together. worth: the money at stake, empty where none is known. message: that of
    the first of them, advice: what to do. where: the address of the first. named: its machine."""

    glyph: str
    severity: str
    kind: str
    count: int
    worth: str
    message: str
    advice: str
    where: str
    named: str


class FirstSteps(NamedTuple):
    """files: kinds of error that say that something was not taken in; they come before all else, for every figure rests
    on what was. steps: the next kinds, those with most money at stake first. more: kinds beside them."""

    files: tuple[Step, ...]
    steps: tuple[Step, ...]
    more: int


def first_steps(done: Reconciliation, spell: Spelling, pages: PagesOf, anchors: PagesOf) -> FirstSteps:
    """Kind by kind: what was not taken in, then errors before warnings, each by the money at stake. anchors: where a
    machine's part begins, for findings that it does not show."""
    findings = done.frames["findings"].filter(OPEN & GRAVE)
    findings = findings.with_row_index("at").with_columns(pl.int_range(pl.len()).over("machine").alias("nth"))
    kinds = (
        findings.group_by("kind", "severity")
        .agg(pl.len().alias("count"), pl.col("amount").abs().sum().alias("size"), pl.col("at").min())
        .sort(pl.col("severity").to_physical(), -pl.col("size"), "at", "kind")
    )
    of_files = pl.col("kind").is_in(_INTAKE) & (pl.col("severity").cast(pl.String) == "error")

    def made(groups: Frame) -> tuple[Step, ...]:
        return tuple(_step(spell, findings, kind, severity, pages, anchors) for kind, severity in groups.iter_rows())

    named = kinds.select("kind", "severity")
    files, rest = named.filter(of_files), named.filter(~of_files)
    most = STEPS - (1 if files.height else 0)
    return FirstSteps(made(files), made(rest.head(most)), max(rest.height - most, 0))


def _step(spell: Spelling, findings: Frame, kind: str, severity: str, pages: PagesOf, anchors: PagesOf) -> Step:
    rows = findings.filter((pl.col("kind") == kind) & (pl.col("severity").cast(pl.String) == severity))
    valued = rows.filter(pl.col("amount").is_not_null())
    first: dict[str, Any] = rows.row(0, named=True)
    machine = first["machine"]
    shown = first["nth"] < SHOWN
    return Step(
        glyph=GLYPHS[severity],
        severity=severity,
        kind=kind,
        count=rows.height,
        worth=spell.total(valued, "amount") if valued.height else "",
        message=first["message"],
        advice=first["advice"],
        where=f"{pages(machine)}#f-{first['id']}" if shown else anchors(machine),
        named=machine or "the route",
    )
