"""The charts of one machine: each a picture, the sentence it says, and the table it was drawn from."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple

from recon.model.frames import Frame
from recon.report.html import svg, svg_bars, svg_hours
from recon.report.html.spelling import Spelling, how_many, signed_units
from recon.report.html.svg_bars import Bar

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


def weeks_between(first: date, last: date) -> list[date]:
    """The Mondays from one to the other."""
    return [first + timedelta(weeks=at) for at in range((last - first).days // 7 + 1)]


@lru_cache(maxsize=4096)
def _told(week: date) -> tuple[str, str]:
    """A week as its bar is named, month and day, and in full."""
    return f"{week:%m-%d}", str(week)


def money_chart(name: str, machine: str, weeks: Frame, spell: Spelling) -> Chart | None:
    """Sales by week and tender, one panel a tender, all on one scale. weeks: the machine's rows of `money_by_week`, the
    columns MONEY."""
    if weeks.height == 0:
        return None
    found = {(week, tender): money for week, tender, money in weeks.rows()}
    every = weeks_between(min(found)[0], max(found)[0])
    sold = {tender for _, tender in found}
    panels = {
        tender: [found.get((week, tender), 0) for week in every]
        for tender in ("cash", "card", "prepaid")
        if tender in sold
    }
    spelled = {tender: spell.column(money, machine) for tender, money in panels.items()}
    told = ", ".join(f"{tender} {spell.money(sum(money), machine)}" for tender, money in panels.items())
    high, gap = 64.0, 22.0
    height = 16 + len(panels) * (high + gap)
    desc = f"Sales of {machine} by week from {every[0]} to {every[-1]}: {told} in all."
    body = []
    most = max(found.values())
    for at, (tender, money) in enumerate(panels.items()):
        top = 16 + at * (high + gap)
        rows = [
            Bar((week := _told(day))[0], size, 0, f"week of {week[1]}: {tender} {text}")
            for day, size, text in list(zip(every, money, spelled[tender], strict=True))[-MOST_BARS:]
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
                axis=at == len(panels) - 1,
            )
        )
    table = zip((_told(week)[1] for week in every), *spelled.values(), strict=True)
    return Chart(
        "Sales by week",
        svg.picture(name, f"Sales of {machine} by week", desc, svg_bars.WIDTH, height, body, css="chart"),
        f"One panel a tender, one scale. {_sentence(told)} in all.{_last(len(every), 'week')}",
        ("week of", *panels),
        _rows(list(table)[::-1]),
    )


def cash_chart(name: str, machine: str, windows: Frame, spell: Spelling) -> Chart | None:
    """Over and short by collection, and what they add up to, as a step line. windows: the machine's cash windows whose
    over_short is known, in the order of closing, the columns CASH; `closed`: closed_at as its clock shows it."""
    if windows.height == 0:
        return None
    known = windows.rows()
    closed, expected, collected, tubes, sizes = zip(*known, strict=True)
    signed = [spell.signed(size, machine) for size in sizes]
    drawn = slice(-MOST_BARS, None)
    running = list(accumulate(sizes[drawn]))
    rows = [
        Bar(at[5:10], max(size, 0), min(size, 0), f"{at}: {text}")
        for at, size, text in zip(closed[drawn], sizes[drawn], signed[drawn], strict=True)
    ]
    high = _HIGH if any(running) else _FLAT
    body = svg_bars.bars(
        rows, 12, high, lambda size: spell.signed(size, machine), css_up="over", css_down="short", steps=running
    )
    told = f"{how_many(len(known), 'collection')}, {spell.signed(sum(sizes), machine)} in all"
    drawing = svg.picture(
        name,
        f"Cash of {machine} by collection",
        f"Over and short: {told}.",
        svg_bars.WIDTH,
        high + 32,
        (body,),
        css="chart",
    )
    left = [spell.signed(size, machine) or "not noted" for size in tubes]
    table = zip(closed, spell.column(expected, machine), spell.column(collected, machine), left, signed, strict=True)
    told = f"{_sentence(told)}.{_last(len(known), 'collection')}"
    return Chart(
        "Cash against the log, by collection",
        drawing,
        f"Bars: over above the line, short below it. The steps: their running sum. {told}",
        ("collected at", "expected", "collected", "tubes", "over/short"),
        _rows(list(table)[::-1]),
    )


def hours_chart(name: str, machine: str, hours: Frame) -> Chart | None:
    """Vends by weekday and hour. hours: the machine's rows of `vends_by_hour`, the columns HOURS."""
    if hours.height == 0:
        return None
    counts = {(day, hour): count for day, hour, count in hours.rows()}
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
    table = [(f"{at:02}:00", *(str(counts.get((weekday, at), "")) for weekday in range(1, 8))) for at in used]
    return Chart(
        "Vends by hour and weekday",
        drawing,
        f"The larger a square, the more vends. {told}.",
        ("hour", *svg_hours.DAYS),
        _rows(table),
    )


def variance_chart(name: str, machine: str, weeks: Frame, spell: Spelling) -> Chart | None:
    """Units short and over by the week of the count that found them. weeks: the machine's rows of `variance_by_week`,
    the columns VARIANCE."""
    if weeks.height == 0:
        return None
    by_week = {row[0]: row[1:] for row in weeks.rows()}
    every = weeks_between(min(by_week), max(by_week))
    rows = [_bar(week, by_week.get(week)) for week in every[-MOST_BARS:]]
    counts, shorts, short_values, overs, over_values = zip(*by_week.values(), strict=True)
    short, over = sum(shorts), sum(overs)
    told = f"{signed_units(short)} short and {signed_units(over)} over in {how_many(sum(counts), 'window')}"
    high = _HIGH if short or over else _FLAT
    body = svg_bars.bars(rows, 12, high, signed_units, css_up="over", css_down="short")
    table = zip(
        (_told(week)[1] for week in by_week),
        map(str, counts),
        map(signed_units, shorts),
        spell.column(short_values, machine),
        map(signed_units, overs),
        spell.column(over_values, machine),
        strict=True,
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
        _rows(list(table)[::-1]),
    )


def _bar(week: date, row: Sequence[int] | None) -> Bar:
    at, whole = _told(week)
    if row is None:
        return Bar(at, 0, 0, f"week of {whole}: no count")
    short, over = row[1], row[3]
    return Bar(at, over, short, f"week of {whole}: {signed_units(short)} short, {signed_units(over)} over")


def _rows(rows: Iterable[Sequence[str]]) -> str:
    """Rows of the table below a chart. Its cells are figures, days and words of ours: none has to be escaped."""
    return "".join([f'<tr><th scope="row">{"<td>".join(row)}' for row in rows])


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:]


def _last(count: int, noun: str) -> str:
    return f" Drawn: the last {MOST_BARS} of {count} {noun}s." if count > MOST_BARS else ""


def drawn(charts: Sequence[Chart | None]) -> tuple[Chart, ...]:
    """Those that there is something to draw of."""
    return tuple(chart for chart in charts if chart is not None)
