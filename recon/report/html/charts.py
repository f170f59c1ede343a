"""The charts of machines: each a picture, the sentence it says, and the table it was drawn from.

Bars and rows are put together by columns, for many machines at once; what is left for each machine is its frame.
"""

from collections.abc import Iterable, Sequence
from functools import partial
from typing import NamedTuple

import polars as pl

from recon.model.frames import Frame
from recon.model.words import PAID_TENDERS
from recon.report.html import svg, svg_bars, svg_hours
from recon.report.html.columns import Texts, by_machine, money_texts
from recon.report.html.spelling import Spelling, how_many, signed_units, slug

MOST_BARS = 60
"""Bars that fit side by side; of longer times the last ones are drawn, which the reading says; the table has all."""


MONEY = ("week", "tender", "money")
CASH = ("closed", "expected", "collected", "tube_change", "over_short")
HOURS = ("weekday", "hour", "vends")
VARIANCE = ("week", "windows", "short", "short_retail", "over", "over_retail")
"""What each chart is drawn from."""

_HIGH, _FLAT = 130.0, 16.0
"""Height of the bars; of a line of nothing, which needs no room."""


class Chart(NamedTuple):
    """A drawing with its heading, a line of reading help, and the same figures as a table: its header, and the
    markup of its rows."""

    title: str
    drawing: str
    reading: str
    header: tuple[str, ...]
    rows: str


_WEEK, _DAY = pl.col("week").cast(pl.String), pl.col("week").dt.to_string("%m-%d")
"""A week in full, and as its bar is named: month and day."""


def _every_week(weeks: Frame) -> Frame:
    """machine, week: all weeks from the first to the last of each machine, in order, with `place` and `count` of those
    that are drawn; place is below 0 for all before."""
    spans = weeks.group_by("machine", maintain_order=True).agg(
        pl.col("week").min().alias("first"), pl.col("week").max().alias("last")
    )
    every = spans.select("machine", pl.date_ranges("first", "last", "1w").alias("week")).explode("week")
    return every.with_columns(*_drawn_of(pl.len().over("machine"), pl.int_range(pl.len()).over("machine")))


def _drawn_of(whole: pl.Expr, at: pl.Expr) -> tuple[pl.Expr, pl.Expr, pl.Expr]:
    """whole, count and place: of so many bars the last MOST_BARS are drawn."""
    size = whole.cast(pl.Int64)
    count = pl.min_horizontal(size, MOST_BARS)
    return size.alias("whole"), count.alias("count"), (at - size + count).cast(pl.Int64).alias("place")


def _row(*cells: pl.Expr | str) -> pl.Expr:
    """A row of the table below a chart. Its cells are figures, days and words of ours: none has to be escaped."""
    return pl.concat_str(pl.lit('<tr><th scope="row">'), pl.concat_str(*cells, separator="<td>"))


def money_charts(spell: Spelling, weeks: Frame) -> dict[str, Chart]:
    """Sales by week and tender, one panel a tender, all on one scale. weeks: machine and MONEY."""
    if weeks.height == 0:
        return {}
    every = _money_of_every_week(spell, weeks)
    drawn = every.filter(pl.col("place") >= 0)
    marks = svg_bars.marks(drawn)
    rows = every.sort("machine", "week", "panel", descending=[False, True, False])
    rows = rows.group_by("machine", "told", maintain_order=True).agg(pl.col("text").str.join("<td>"))
    tables = by_machine(rows.select("machine", text=_row("told", "text")))
    labels = drawn.filter(pl.col("panel") == 0).group_by("machine", maintain_order=True).agg(_DAY.alias("labels"))
    sums = every.group_by("machine").agg(
        pl.col("high", "whole").first(), pl.col("told").min().alias("first"), pl.col("told").max().alias("last")
    )
    totals: dict[str, dict[str, int]] = {}
    for machine, tender, total in every.unique(["machine", "panel"]).sort("machine", "panel").select(
        "machine", "tender", "total"
    ).iter_rows():  # fmt: skip
        totals.setdefault(machine, {})[tender] = total
    found = {}
    for machine, named, most, whole, first, last in labels.join(sums, on="machine").iter_rows():
        own = totals[machine]
        told = ", ".join(f"{tender} {spell.money(total, machine)}" for tender, total in own.items())
        desc = f"Sales of {machine} by week from {first} to {last}: {told} in all."
        body = _money_panels(spell, machine, own, named, most, [marks[machine, at] for at in range(len(own))])
        height = _TOP + len(own) * (_PANEL + _GAP)
        found[machine] = Chart(
            "Sales by week",
            _picture(f"{slug(machine)}-sales", f"Sales of {machine} by week", desc, height, body),
            f"One panel a tender, one scale. {_sentence(told)} in all.{_last(whole, 'week')}",
            ("week of", *own),
            tables[machine],
        )
    return found


_TOP, _PANEL, _GAP = 16, 64.0, 22.0
"""Where the first panel of sales begins, and the height of a panel and of what lies between two."""


def _money_of_every_week(spell: Spelling, weeks: Frame) -> Frame:
    """machine, panel (of a tender), tender, total (of all weeks), week, told (the week in full), text (the money), and
    what svg_bars.marks takes; sorted by machine, panel and week."""
    order = {tender: at for at, tender in enumerate(PAID_TENDERS)}
    sold = weeks.group_by("machine", "tender").agg(pl.col("money").sum().alias("total"))
    sold = sold.sort("machine", pl.col("tender").replace_strict(order, return_dtype=pl.Int64))
    sold = sold.with_columns(pl.int_range(pl.len()).over("machine").alias("panel"))
    every = sold.join(_every_week(weeks), on="machine").join(weeks, on=["machine", "week", "tender"], how="left")
    every = every.with_columns(pl.col("money").fill_null(0)).sort("machine", "panel", "week")
    text = money_texts(spell, every, ["money"])["money"]
    return every.with_columns(text.alias("text"), _WEEK.alias("told")).with_columns(
        pl.lit(0, pl.Int64).alias("low"),
        pl.col("money").max().over("machine").alias("high"),
        pl.col("money").alias("up"),
        pl.lit(0, pl.Int64).alias("down"),
        pl.format("week of {}: {} {}", "told", "tender", "text").alias("hint"),
        (_TOP + pl.col("panel") * (_PANEL + _GAP)).alias("top"),
        pl.lit(_PANEL).alias("tall"),
        pl.format("tender {}", "tender").alias("css_up"),
    )


def _money_panels(
    spell: Spelling, machine: str, tenders: Iterable[str], labels: Sequence[str], most: int, marks: Sequence[str]
) -> list[str]:
    """A panel a tender. marks: the bars of each."""
    body = []
    write = partial(spell.money, machine=machine)
    for at, (tender, drawn) in enumerate(zip(tenders, marks, strict=True)):
        top = _TOP + at * (_PANEL + _GAP)
        body.append(svg.text(46, top - 5, tender, "panel"))
        last = at == len(marks) - 1
        body.append(svg_bars.panel(drawn, labels, (0, most), top, _PANEL, write, axis=last))
    return body


def cash_charts(spell: Spelling, windows: Frame) -> dict[str, Chart]:
    """Over and short by collection, and what they add up to, as a step line. windows: machine and CASH, those whose
    over_short is known, in the order of closing; `closed`: closed_at as the machine's clock shows it."""
    if windows.height == 0:
        return {}
    texts = money_texts(spell, windows, ["expected", "collected"])
    signed = money_texts(spell, windows, ["tube_change", "over_short"], signed=True)
    at = pl.int_range(pl.len()).over("machine")
    every = windows.select(
        "machine", "closed", "over_short", signed["over_short"].alias("signed"),
        _row(
            "closed", texts["expected"], texts["collected"], signed["tube_change"].replace("", "not noted"),
            signed["over_short"],
        ).alias("text"),
        *_drawn_of(pl.len().over("machine"), at),
    )  # fmt: skip
    size, running = pl.col("over_short"), pl.col("over_short").cum_sum().over("machine")
    drawn = every.filter(pl.col("place") >= 0).with_columns(running.alias("running"))
    drawn = drawn.with_columns(
        pl.min_horizontal(0, pl.min_horizontal(size, "running").min().over("machine")).alias("low"),
        pl.max_horizontal(0, pl.max_horizontal(size, "running").max().over("machine")).alias("high"),
        _height((pl.col("running") != 0).any().over("machine")),
    )
    up, down = size.clip(lower_bound=0).alias("up"), size.clip(upper_bound=0).alias("down")
    marks = svg_bars.marks(_panels(drawn, up, down, pl.format("{}: {}", "closed", "signed")), css_down="short")
    tables = by_machine(every.reverse())
    totals = every.group_by("machine").agg(size.sum().alias("total"))
    panels = drawn.group_by("machine", maintain_order=True).agg(
        pl.col("closed").str.slice(5, 5), "running", pl.col("low", "high", "tall", "whole").first()
    )
    found = {}
    for machine, labels, steps, low, high, tall, whole, total in panels.join(totals, on="machine").iter_rows():
        write = partial(spell.signed, machine=machine)
        body = svg_bars.panel(marks[machine, 0], labels, (low, high), 12, tall, write, steps=steps)
        told = f"{how_many(whole, 'collection')}, {write(total)} in all"
        title = f"Cash of {machine} by collection"
        found[machine] = Chart(
            "Cash against the log, by collection",
            _picture(f"{slug(machine)}-cash", title, f"Over and short: {told}.", tall + 32, (body,)),
            "Bars: over above the line, short below it. The steps: their running sum. "
            f"{_sentence(told)}.{_last(whole, 'collection')}",
            ("collected at", "expected", "collected", "tubes", "over/short"),
            tables[machine],
        )
    return found


def hours_charts(vends: Frame) -> dict[str, Chart]:
    """Vends by weekday and hour. vends: machine and HOURS."""
    if vends.height == 0:
        return {}
    ordered = vends.sort("machine", "vends", "weekday", "hour", descending=[False, True, False, False])
    tops = ordered.group_by("machine", maintain_order=True).agg(
        pl.col("vends").sum().alias("total"), pl.col("vends").first().alias("most"), pl.col("weekday", "hour").first()
    )
    of_day = [pl.col("vends").filter(pl.col("weekday") == day).first().alias(str(day)) for day in range(1, 8)]
    used = vends.group_by("machine", "hour").agg(of_day).sort("machine", "hour")
    clock = Texts([used["hour"]], lambda hour: f"{hour:02}:00").of("hour")
    cells = [pl.col(str(day)).cast(pl.String).fill_null("") for day in range(1, 8)]
    tables = by_machine(used.select("machine", text=_row(clock, *cells)))
    marks = svg_hours.marks(vends)
    found = {}
    for machine, total, most, day, hour in tops.iter_rows():
        when = f"{svg_hours.DAYS[day - 1]} from {hour:02}:00 to {hour:02}:59"
        told = f"{total:,} units; the most, {most:,}, on {when}"
        title = f"Vends of {machine} by hour and weekday"
        body = (svg_hours.hours(machine, marks),)
        found[machine] = Chart(
            "Vends by hour and weekday",
            _picture(f"{slug(machine)}-hours", title, f"{told}.", svg_hours.HEIGHT, body),
            f"The larger a square, the more vends. {told}.",
            ("hour", *svg_hours.DAYS),
            tables[machine],
        )
    return found


def variance_charts(spell: Spelling, weeks: Frame) -> dict[str, Chart]:
    """Units short and over by the week of the count that found them. weeks: machine and VARIANCE."""
    if weeks.height == 0:
        return {}
    every = _every_week(weeks).join(weeks, on=["machine", "week"], how="left", maintain_order="left")
    units = Texts([weeks["short"], weeks["over"], pl.Series([None], dtype=pl.Int64)], _or_nothing)
    short, over = units.of("short"), units.of("over")
    sizes = pl.format("week of {}: {} short, {} over", _WEEK, short, over)
    hint = pl.when(pl.col("windows").is_null()).then(pl.format("week of {}: no count", _WEEK)).otherwise(sizes)
    any_at_all = ((pl.col("short") != 0) | (pl.col("over") != 0)).any().over("machine")
    every = every.with_columns(hint.alias("hint"), _height(any_at_all), pl.col("short", "over").fill_null(0))
    drawn = every.filter(pl.col("place") >= 0).with_columns(
        pl.min_horizontal(0, pl.col("short").min().over("machine")).alias("low"),
        pl.max_horizontal(0, pl.col("over").max().over("machine")).alias("high"),
    )
    up, down = pl.col("over").alias("up"), pl.col("short").alias("down")
    marks = svg_bars.marks(_panels(drawn, up, down, pl.col("hint")), css_down="short")
    retail = money_texts(spell, weeks, ["short_retail", "over_retail"])
    cells = (_WEEK, pl.col("windows").cast(pl.String), short, retail["short_retail"], over, retail["over_retail"])
    tables = by_machine(weeks.select("machine", text=_row(*cells)).reverse())
    sums = weeks.group_by("machine").agg(pl.col("short", "over", "windows").sum())
    panels = drawn.group_by("machine", maintain_order=True).agg(
        _DAY.alias("labels"), pl.col("low", "high", "tall", "whole").first()
    )
    found = {}
    for machine, labels, low, high, tall, whole, short_, over_, windows in panels.join(sums, on="machine").iter_rows():
        told = f"{signed_units(short_)} short and {signed_units(over_)} over in {how_many(windows, 'window')}"
        body = svg_bars.panel(marks[machine, 0], labels, (low, high), 12, tall, signed_units)
        title = f"Units short and over of {machine} by week"
        found[machine] = Chart(
            "Units short and over by week",
            _picture(f"{slug(machine)}-units", title, f"{told}.", tall + 32, (body,)),
            f"By the week of the count that found them: {told}. One never makes up for the other."
            f"{_last(whole, 'week')}",
            ("week of", "windows", "short", "at retail", "over", "at retail"),
            tables[machine],
        )
    return found


def _or_nothing(units: int | None) -> str:
    return "" if units is None else signed_units(units)


def _height(uneven: pl.Expr) -> pl.Expr:
    return pl.when(uneven.fill_null(False)).then(_HIGH).otherwise(_FLAT).alias("tall")


def _panels(drawn: Frame, up: pl.Expr, down: pl.Expr, hint: pl.Expr) -> Frame:
    """What svg_bars.marks takes, of one panel a machine."""
    return drawn.select(
        "machine", "place", "count", "low", "high", "tall", up, down, hint.alias("hint"),
        pl.lit(0, pl.Int64).alias("panel"), pl.lit(12.0).alias("top"), pl.lit("over").alias("css_up"),
    )  # fmt: skip


def _picture(name: str, title: str, desc: str, height: float, body: Iterable[str]) -> str:
    return svg.picture(name, title, desc, svg_bars.WIDTH, height, body, css="chart")


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:]


def _last(count: int, noun: str) -> str:
    return f" Drawn: the last {MOST_BARS} of {count} {noun}s." if count > MOST_BARS else ""
