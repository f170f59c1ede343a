"""The charts of one machine: each a picture, the sentence it says, and the table it was drawn from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl
from markupsafe import Markup

from recon.model.frames import Frame
from recon.report.html import svg, svg_bars, svg_hours
from recon.report.html.spelling import Spelling, how_many, signed_units
from recon.report.html.svg_bars import Bar

MOST_BARS = 60
"""Bars that fit side by side; of longer times the last ones are drawn, which the reading says; the table has all."""


_HIGH, _FLAT = 130.0, 16.0
"""Height of the bars; of a line of nothing, which needs no room."""


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing with its heading, a line of reading help, and the same figures as a table (header, rows)."""

    title: str
    drawing: Markup
    reading: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def weeks_between(first: date, last: date) -> list[date]:
    """The Mondays from one to the other."""
    return [first + timedelta(weeks=at) for at in range((last - first).days // 7 + 1)]


def money_chart(name: str, machine: str, weeks: Frame, spell: Spelling) -> Chart | None:
    """Sales by week and tender, one panel a tender, all on one scale."""
    if weeks.height == 0:
        return None
    every = weeks_between(*weeks.select(pl.col("week").min().alias("first"), pl.col("week").max().alias("last")).row(0))
    tenders = [tender for tender in ("cash", "card", "prepaid") if tender in weeks["tender"]]
    found = {(week, tender): money for week, tender, money in weeks.select("week", "tender", "money").iter_rows()}
    drawn = every[-MOST_BARS:]
    most = max(found.values())
    high, gap = 64.0, 22.0
    body = []
    for at, tender in enumerate(tenders):
        top = 16 + at * (high + gap)
        rows = [
            Bar(
                f"{week:%m-%d}",
                money := found.get((week, tender), 0),
                0,
                f"week of {week}: {tender} {spell.money(money, machine)}",
            )
            for week in drawn
        ]
        body.append(svg.text(46, top - 5, tender, "panel"))
        body.append(
            svg_bars.bars(
                rows,
                top,
                high,
                lambda size: spell.money(size, machine),
                css_up=f"tender {tender}",
                css_down="",
                reach=(0, most),
                axis=at == len(tenders) - 1,
            )
        )
    sums = {tender: sum(found.get((week, tender), 0) for week in every) for tender in tenders}
    told = ", ".join(f"{tender} {spell.money(total, machine)}" for tender, total in sums.items())
    desc = f"Sales of {machine} by week from {every[0]} to {every[-1]}: {told} in all."
    height = 16 + len(tenders) * (high + gap)
    return Chart(
        "Sales by week",
        svg.picture(name, f"Sales of {machine} by week", desc, svg_bars.WIDTH, height, body, css="chart"),
        f"One panel a tender, one scale. {_sentence(told)} in all.{_last(len(every), 'week')}",
        ("week of", *tenders),
        tuple(
            (str(week), *(spell.money(found.get((week, tender), 0), machine) for tender in tenders))
            for week in reversed(every)
        ),
    )


def cash_chart(name: str, machine: str, windows: Frame, spell: Spelling) -> Chart | None:
    """Over and short by collection, and what they add up to, as a step line."""
    known = windows.filter(pl.col("over_short").is_not_null()).sort("closed_at")
    if known.height == 0:
        return None
    drawn = known.tail(MOST_BARS)
    running = drawn["over_short"].cum_sum().to_list()
    rows = [
        Bar(
            spell.day(closed, machine)[5:],
            max(size, 0),
            min(size, 0),
            f"{spell.moment(closed, machine)}: {spell.signed(size, machine)}",
        )
        for closed, size in drawn.select("closed_at", "over_short").iter_rows()
    ]
    high = _HIGH if any(running) else _FLAT
    body = svg_bars.bars(
        rows, 12, high, lambda size: spell.signed(size, machine), css_up="over", css_down="short", steps=running
    )
    total = int(known["over_short"].sum())
    told = f"{how_many(known.height, 'collection')}, {spell.signed(total, machine)} in all"
    table = tuple(
        (
            spell.moment(row["closed_at"], machine),
            spell.money(row["expected"], machine),
            spell.money(row["collected"], machine),
            spell.signed(row["tube_change"], machine) or "not noted",
            spell.signed(row["over_short"], machine),
        )
        for row in known.reverse().iter_rows(named=True)
    )
    drawn_last = _last(known.height, "collection")
    return Chart(
        "Cash against the log, by collection",
        svg.picture(
            name,
            f"Cash of {machine} by collection",
            f"Over and short: {told}.",
            svg_bars.WIDTH,
            high + 32,
            (body,),
            css="chart",
        ),
        f"Bars: over above the line, short below it. The steps: their running sum. {_sentence(told)}.{drawn_last}",
        ("collected at", "expected", "collected", "tubes", "over/short"),
        table,
    )


def hours_chart(name: str, machine: str, hours: Frame) -> Chart | None:
    """Vends by weekday and hour."""
    if hours.height == 0:
        return None
    counts = {(day, hour): count for day, hour, count in hours.select("weekday", "hour", "vends").iter_rows()}
    (day, hour), most = max(counts.items(), key=lambda item: (item[1], -item[0][0], -item[0][1]))
    when = f"{svg_hours.DAYS[day - 1]} from {hour:02}:00 to {hour:02}:59"
    told = f"{sum(counts.values()):,} units; the most, {most:,}, on {when}"
    drawing = svg.picture(
        name,
        f"Vends of {machine} by hour and weekday",
        f"{told}.",
        svg_hours.WIDTH,
        svg_hours.HEIGHT,
        (svg_hours.hours(counts),),
        css="chart",
    )
    used = sorted({at for _, at in counts})
    rows = tuple((f"{at:02}:00", *(str(counts.get((weekday, at), "")) for weekday in range(1, 8))) for at in used)
    return Chart(
        "Vends by hour and weekday",
        drawing,
        f"The larger a square, the more vends. {told}.",
        ("hour", *svg_hours.DAYS),
        rows,
    )


def variance_chart(name: str, machine: str, weeks: Frame, spell: Spelling) -> Chart | None:
    """Units short and over by the week of the count that found them."""
    if weeks.height == 0:
        return None
    by_week = {row["week"]: row for row in weeks.iter_rows(named=True)}
    every = weeks_between(min(by_week), max(by_week))
    rows = [_bar(week, by_week.get(week)) for week in every[-MOST_BARS:]]
    short, over = int(weeks["short"].sum()), int(weeks["over"].sum())
    windows = how_many(int(weeks["windows"].sum()), "window")
    told = f"{signed_units(short)} short and {signed_units(over)} over in {windows}"
    high = _HIGH if short or over else _FLAT
    body = svg_bars.bars(rows, 12, high, signed_units, css_up="over", css_down="short")
    table = tuple(
        (
            str(week),
            str(row["windows"]),
            signed_units(row["short"]),
            spell.money(row["short_retail"], machine),
            signed_units(row["over"]),
            spell.money(row["over_retail"], machine),
        )
        for week, row in sorted(by_week.items(), reverse=True)
    )
    drawn_last = _last(len(every), "week")
    return Chart(
        "Units short and over by week",
        svg.picture(
            name,
            f"Units short and over of {machine} by week",
            f"{told}.",
            svg_bars.WIDTH,
            high + 32,
            (body,),
            css="chart",
        ),
        f"By the week of the count that found them: {told}. One never makes up for the other.{drawn_last}",
        ("week of", "windows", "short", "at retail", "over", "at retail"),
        table,
    )


def _bar(week: date, row: dict[str, int] | None) -> Bar:
    short, over = (row["short"], row["over"]) if row else (0, 0)
    told = (
        f"week of {week}: {signed_units(short)} short, {signed_units(over)} over"
        if row
        else f"week of {week}: no count"
    )
    return Bar(f"{week:%m-%d}", over, short, told)


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:]


def _last(count: int, noun: str) -> str:
    return f" Drawn: the last {MOST_BARS} of {count} {noun}s." if count > MOST_BARS else ""


def drawn(charts: Sequence[Chart | None]) -> tuple[Chart, ...]:
    """Those that there is something to draw of."""
    return tuple(chart for chart in charts if chart is not None)
