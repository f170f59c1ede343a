"""The lines behind open findings: for each slot concerned, the windows that its findings speak of, row by row."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl
from markupsafe import Markup

from recon.ledger.trace_lines import Terms
from recon.ledger.trace_slots import slot_figures
from recon.model.frames import Frame
from recon.report.html import svg_steps
from recon.report.html.findings import GRAVE, OPEN, trace_command
from recon.report.html.spelling import MINUS, Spelling, signed_units, slug
from recon.report.html.svg import picture

WINDOWS_OF_MACHINE, WINDOWS_OF_SLOT, LINES_OF_WINDOW = 12, 3, 80
"""How much of it a page shows; `recon trace` prints the rest."""


@dataclass(frozen=True, slots=True)
class Line:
    """One row: when, what, what it changes, the units after it, where it stands, and what there is to say of it."""

    time: str
    what: str
    change: str
    balance: str
    place: str
    note: str
    counts: bool


@dataclass(frozen=True, slots=True)
class Window:
    """One window: its span, its sum, a picture of its course, and its lines. left_out: lines not shown."""

    heading: str
    sum: str
    drawing: Markup | None
    lines: tuple[Line, ...]
    left_out: int


@dataclass(frozen=True, slots=True)
class Traced:
    """One slot. more: further windows that its findings speak of."""

    anchor: str
    label: str
    command: str
    windows: tuple[Window, ...]
    more: int


def anchor_of(machine: str, label: str) -> str:
    return f"t-{slug(machine)}:{slug(label)}"


def traces(spell: Spelling, machines: Collection[str]) -> dict[str, list[Traced]]:
    """The traces of these machines' slots with an open error or warning, by machine; slots as laid out."""
    done = spell.done
    spoken = (
        done.frames["findings"]
        .filter(OPEN & GRAVE & pl.col("machine").is_in(list(machines)) & pl.col("label").is_not_null())
        .select("machine", "label", "severity", "opened_at", "closed_at")
        .join(done.frames["slots"], on=["machine", "label"], how="inner")
    )
    if spoken.height == 0:
        return {}
    slots = done.frames["slots"].join(spoken, on="slot", how="semi")
    figures = slot_figures(done, Terms.of(done.settings), slots)
    chosen, counts = _chosen(figures.heads, spoken, done.until)
    lines = figures.lines.join(chosen.select("window"), on="window", how="semi").partition_by(
        "window", as_dict=True, maintain_order=True
    )
    found: dict[str, list[Traced]] = {}
    for key, heads in chosen.partition_by("machine", "label", as_dict=True, maintain_order=True).items():
        machine, label = str(key[0]), str(key[1])
        shown = tuple(
            _window(spell, row, lines.get((row["window"],), figures.lines.clear()))
            for row in heads.iter_rows(named=True)
        )
        found.setdefault(machine, []).append(
            Traced(
                anchor_of(machine, label),
                label,
                trace_command(machine, label) or "",
                shown,
                counts[machine, label] - len(shown),
            )
        )
    return found


def _chosen(heads: Frame, spoken: Frame, until: datetime) -> tuple[Frame, dict[tuple[str, str], int]]:
    """The windows to show, in the order of slots and times: those that share time with a finding, errors first, then
    the largest variances, then the last. And how many there were by machine and label."""
    spans = spoken.select("slot", "severity", pl.col("opened_at").alias("from"), pl.col("closed_at").alias("to"))
    both = heads.join(spans, on="slot", how="inner")
    after = (pl.col("closed_at") > pl.col("from")).fill_null(True) | (pl.col("closed_at") == pl.col("to")).fill_null(
        False
    )
    before = (pl.col("opened_at") < pl.col("to")).fill_null(True) & (pl.col("opened_at") <= until).fill_null(True)
    touched = both.filter(after & before).group_by("window").agg(pl.col("severity").to_physical().min().alias("weight"))
    ranked = heads.join(touched, on="window", how="inner").sort(
        "weight", -pl.col("variance").fill_null(0).abs(), -pl.col("window")
    )
    told = {(machine, label): n for machine, label, n in ranked.group_by("machine", "label").len().iter_rows()}
    few = ranked.filter(pl.int_range(pl.len()).over("slot") < WINDOWS_OF_SLOT)
    few = few.filter(pl.int_range(pl.len()).over("machine") < WINDOWS_OF_MACHINE)
    return few.sort("slot", "window"), told


def _window(spell: Spelling, head: Mapping[str, Any], lines: Frame) -> Window:
    machine = head["machine"]
    opened, closed = spell.moment(head["opened_at"], machine), spell.moment(head["closed_at"], machine)
    shown = lines.head(LINES_OF_WINDOW)
    return Window(
        heading=_span(head["kind"], opened, closed),
        sum=_sum(head),
        drawing=_drawing(spell, head, lines),
        lines=tuple(_lines(spell, machine, shown)),
        left_out=lines.height - shown.height,
    )


def _span(kind: str, opened: str, closed: str) -> str:
    if kind == "early":
        return f"before the first count, up to {closed}" if closed else "never counted"
    return f"{opened} to {closed}" if closed else f"since the last count, {opened}"


def _sum(head: Mapping[str, Any]) -> str:
    if head["expected"] is None or head["opening"] is None:
        return ""
    told = f"{head['opening']} at the start + {head['loaded']} loaded {MINUS} {head['removed']} removed"
    told += f" {MINUS} {head['vended']} vended = {_units(head['expected'])} expected"
    if head["counted"] is None:
        return told
    return f"{told}; {head['counted']} counted: {signed_units(head['variance'])}"


def _units(units: int) -> str:
    return f"{units}".replace("-", MINUS)


def _drawing(spell: Spelling, head: Mapping[str, Any], lines: Frame) -> Markup | None:
    if head["opened_at"] is None or head["opening"] is None:
        return None
    machine, opened = head["machine"], head["opened_at"]
    known = lines.filter(pl.col("balance").is_not_null() & pl.col("time").is_not_null() & (pl.col("time") > opened))
    points = [(opened, head["opening"])]
    points += [(at, units) for at, units in known.select("time", "balance").iter_rows()]
    ends = head["closed_at"] or points[-1][0]
    name = f"{anchor_of(machine, head['label'])}:{head['window']}"
    body = svg_steps.steps(points, ends, head["counted"], spell.day(opened, machine), spell.day(ends, machine))
    title = f"Units in {machine} {head['label']} from {spell.day(opened, machine)} to {spell.day(ends, machine)}"
    return picture(name, title, f"{_sum(head)}.", svg_steps.WIDTH, svg_steps.HEIGHT, (body,), css="chart")


def _lines(spell: Spelling, machine: str, lines: Frame) -> Iterator[Line]:
    paths = spell.done.paths
    for row in lines.iter_rows(named=True):
        what = row["what"] if row["what"] != "vend" else f"vend, {row['tender']}"
        if row["what"] == "count" and row["figure"] is not None:
            what = f"count: {row['figure']}"
        yield Line(
            time=spell.moment(row["time"], machine),
            what=what,
            change="" if row["change"] is None else signed_units(row["change"]),
            balance="" if row["balance"] is None else _units(row["balance"]),
            place="" if row["file"] is None else f"{paths[row['file']]}:{row['row']}",
            note=_note(row),
            counts=row["in_figure"],
        )


def _note(row: Mapping[str, Any]) -> str:
    sides = {
        "before": "may belong before the window",
        "after": "may belong after it",
        "either": "may belong outside it",
    }
    told = [row["why"], sides.get(row["side"]), row["note"]]
    if row["what"] == "vend" and row["outcome"] not in (None, "vended") and not row["why"]:
        told.insert(0, row["outcome"])
    if row["entry"] is not None:
        told.append(f"put right by entry {row['entry']} of the ledger")
    return "; ".join(part for part in told if part)
