"""The lines behind open findings: for each slot concerned, the windows that its findings speak of, row by row."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

import polars as pl

from recon.ledger.trace_lines import Terms, place_text
from recon.ledger.trace_slots import slot_figures
from recon.model.frames import Frame
from recon.model.spelling import DAY_AND_CLOCK, local_text
from recon.report.html import svg_steps
from recon.report.html.columns import Texts, one_text
from recon.report.html.findings import GRAVE, OPEN, trace_command
from recon.report.html.spelling import MINUS, Spelling, signed_units, slug
from recon.report.html.svg import picture
from recon.report.html.svg_steps import Course, courses
from recon.report.html.traced_rows import with_rows_of
from recon.report.pages import escaped, told

WINDOWS_OF_MACHINE, WINDOWS_OF_SLOT, LINES_OF_WINDOW = 12, 3, 80
"""How much of it a page shows; `recon trace` prints the rest."""
NUMBERED = 25
"""Machines, in the order of their pages, whose pictures are numbered through."""


class Window(NamedTuple):
    """One window: its span, its sum, a picture of its course, and the markup of the rows of its lines: when, what, what
    each changes, the units after it, where it stands, what is said of it. shown, left_out: how many lines are, and are
    not."""

    heading: str
    sum: str
    drawing: str | None
    rows: str
    shown: int
    left_out: int


class _Rows(NamedTuple):
    """The markup of the first lines of a window, and how many lines it has."""

    markup: str
    lines: int


_NONE = _Rows("", 0)


class Traced(NamedTuple):
    """One slot. more: further windows that its findings speak of."""

    anchor: str
    label: str
    command: str
    windows: tuple[Window, ...]
    more: int


def anchor_of(machine: str, label: str) -> str:
    return f"t-{slug(machine)}:{slug(label)}"


def traces(spell: Spelling, machines: Sequence[str], marks: Frame) -> dict[str, list[Traced]]:
    """The traces of these machines' slots with an open error or warning, by machine; slots as laid out. marks: the
    counts of every slot (slot, time)."""
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
    terms = Terms.of(done.settings)
    stock = done.frames["stock"].join(slots, on="slot", how="semi", maintain_order="left")
    touched = _touched(stock, spoken, done.until)
    touched = stock.join(touched, on=["slot", "opened_at"], how="semi", maintain_order="left")
    figures = slot_figures(with_rows_of(done, touched, slots, marks, terms.near), terms, slots)
    groups = {machine: at // NUMBERED for at, machine in enumerate(machines)}
    chosen, counts = _chosen(_numbered(figures.heads, stock, groups), spoken, done.until)
    wanted = figures.lines.join(chosen.select("window"), on="window", how="semi", maintain_order="left")
    lines = _spelled(spell, wanted)
    drawn = courses(chosen, lines.select("window", "time", "balance").drop_nulls())
    rows = _rows(lines)
    found: dict[str, list[Traced]] = {}
    for (machine, label), heads in groupby(chosen.iter_rows(named=True), itemgetter("machine", "label")):
        anchor = anchor_of(machine, label)
        shown = tuple(
            [
                _window(spell, row, rows.get(at := row["window"], _NONE), drawn.get(at), f"{anchor}:{row['number']}")
                for row in heads
            ]
        )
        found.setdefault(machine, []).append(
            Traced(
                anchor,
                label,
                trace_command(machine, label) or "",
                shown,
                counts[machine, label] - len(shown),
            )
        )
    return found


def _numbered(heads: Frame, stock: Frame, groups: Mapping[str, int]) -> Frame:
    """The heads with `number`: their place among all windows that the run shows of the slots of their group of
    machines, by slot and time."""
    where = ["machine", "slot", "opened_at"]
    others = heads.filter(pl.col("kind") != "closed").select(where)
    every = pl.concat([stock.select(where), others]).sort("slot", "opened_at", nulls_last=False)
    group = pl.col("machine").replace_strict(groups, default=None, return_dtype=pl.Int64)
    number = pl.int_range(pl.len()).over(group).alias("number")
    return heads.join(
        every.select("slot", "opened_at", number),
        on=["slot", "opened_at"], how="left", nulls_equal=True, maintain_order="left",
    )  # fmt: skip


def _touched(windows: Frame, spoken: Frame, until: datetime) -> Frame:
    """The windows that share time with a finding: slot, opened_at, and weight, 0 for an error."""
    spans = spoken.select("slot", "severity", pl.col("opened_at").alias("from"), pl.col("closed_at").alias("to"))
    both = windows.join(spans, on="slot", how="inner")
    after = (pl.col("closed_at") > pl.col("from")).fill_null(True) | (pl.col("closed_at") == pl.col("to")).fill_null(
        False
    )
    before = (pl.col("opened_at") < pl.col("to")).fill_null(True) & (pl.col("opened_at") <= until).fill_null(True)
    touched = both.filter(after & before).group_by("slot", "opened_at")
    return touched.agg(pl.col("severity").to_physical().min().alias("weight"))


def _chosen(heads: Frame, spoken: Frame, until: datetime) -> tuple[Frame, dict[tuple[str, str], int]]:
    """The windows to show, in the order of slots and times: those that share time with a finding, errors first, then
    the largest variances, then the last. And how many there were by machine and label."""
    touched = _touched(heads, spoken, until)
    ranked = heads.join(touched, on=["slot", "opened_at"], how="inner", nulls_equal=True).sort(
        "weight", -pl.col("variance").fill_null(0).abs(), -pl.col("window")
    )
    told = {(machine, label): n for machine, label, n in ranked.group_by("machine", "label").len().iter_rows()}
    few = ranked.filter(pl.int_range(pl.len()).over("slot") < WINDOWS_OF_SLOT)
    few = few.filter(pl.int_range(pl.len()).over("machine") < WINDOWS_OF_MACHINE)
    return few.sort("slot", "window"), told


def _window(spell: Spelling, head: Mapping[str, Any], rows: _Rows, course: Course | None, name: str) -> Window:
    """rows, course: of this window. name: id of its picture."""
    machine = head["machine"]
    opened, closed = spell.moment(head["opened_at"], machine), spell.moment(head["closed_at"], machine)
    return Window(
        heading=_span(head["kind"], opened, closed),
        sum=_sum(head),
        drawing=None if course is None else _drawing(spell, head, course, name),
        rows=rows.markup,
        shown=min(rows.lines, LINES_OF_WINDOW),
        left_out=max(rows.lines - LINES_OF_WINDOW, 0),
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


def _drawing(spell: Spelling, head: Mapping[str, Any], course: Course, name: str) -> str:
    machine = head["machine"]
    first, last = spell.day(head["opened_at"], machine), spell.day(_EPOCH + course.ends * _MICRO, machine)
    body = svg_steps.steps(course, head["counted"], first, last)
    title = f"Units in {machine} {head['label']} from {first} to {last}"
    return picture(name, title, f"{_sum(head)}.", svg_steps.WIDTH, svg_steps.HEIGHT, (body,), css="chart")


_EPOCH, _MICRO = datetime(1970, 1, 1, tzinfo=UTC), timedelta(microseconds=1)
_LINE = ("time", "local", "what", "change", "balance", "place", "told", "in_figure")


def _spelled(spell: Spelling, lines: Frame) -> Frame:
    """The lines with the texts that rows show: window, and _LINE; `time` in microseconds since 1970."""
    done = spell.done
    what = pl.col("what").cast(pl.String)
    figure = pl.col("figure").cast(pl.String)
    texts = lines.with_columns(
        pl.when(what == "vend")
        .then("vend, " + pl.col("tender"))
        .when((what == "count") & figure.is_not_null())
        .then("count: " + figure)
        .otherwise(what)
        .alias("what"),
        place_text(done.paths, "file", "row").fill_null("").alias("place"),
        _note().alias("told"),
        pl.col("time").alias("local"),
    )
    texts = texts.with_columns(pl.col("time").dt.epoch("us"))
    here = local_text(texts, ["local"], done.zones, done.zone, DAY_AND_CLOCK)
    return here.select("window", *_LINE)


def _note() -> pl.Expr:
    """What there is to say of a line, sentence by sentence."""
    vend = pl.col("what").cast(pl.String) == "vend"
    silent = pl.col("why").replace("", None).is_null()
    dropped = pl.when(vend & (pl.col("outcome") != "vended") & silent).then("outcome")
    side = pl.col("side").cast(pl.String).replace_strict(_SIDES, default=None, return_dtype=pl.String)
    by = pl.format("put right by entry {} of the ledger", "entry")
    parts = (dropped, pl.col("why"), side, pl.col("note"), by)
    return pl.concat_str([part.replace("", None) for part in parts], separator="; ", ignore_nulls=True)


_SIDES = {
    "before": "may belong before the window",
    "after": "may belong after it",
    "either": "may belong outside it",
}


def _rows(lines: Frame) -> dict[int, _Rows]:
    """Return the markup of the first lines of each window. lines: as `_spelled` returns them."""
    if lines.height == 0:
        return {}
    first = lines.filter(pl.int_range(pl.len()).over("window") < LINES_OF_WINDOW)
    changes = Texts([first["change"]], lambda units: "" if units is None else signed_units(units))
    left = Texts([first["balance"]], lambda units: "" if units is None else _units(units))
    places, notes = Texts([first["place"]], escaped), Texts([first["told"]], told)
    row = pl.concat_str(
        pl.when("in_figure").then(pl.lit("<tr>")).otherwise(pl.lit('<tr class="aside">')),
        pl.lit('<th scope="row">'), pl.col("local").fill_null(""), pl.lit('<td class="words">'), "what",
        pl.lit("<td>"), changes.of("change"), pl.lit("<td>"), left.of("balance"),
        pl.lit('<td class="words"><code class="place">'), places.of("place"), pl.lit('</code><td class="words">'),
        notes.of("told"), pl.lit("\n"),
    )  # fmt: skip
    markup = one_text(first.select("window", text=row), "window")
    counts = lines.group_by("window").agg(pl.len().alias("lines"))
    return {window: _Rows(*row) for window, *row in markup.join(counts, on="window").iter_rows()}
