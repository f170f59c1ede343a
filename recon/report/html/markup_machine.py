"""The HTML of one machine's part, which stands on the front page or on a page of its own."""

from collections.abc import Sequence

from recon.report.html.charts import Chart
from recon.report.html.machine_part import Folded, MachinePart
from recon.report.html.markup import (
    CAUTIONS,
    PATTERNS,
    Common,
    column,
    columns,
    cut,
    findings,
    folded,
    foot,
    head,
    table,
    wide,
    words,
)
from recon.report.html.spelling import how_many
from recon.report.html.traced import Traced, Window
from recon.report.pages import escaped, told

_KEY = (
    ("▼", "units short"), ("▲", "units over"), ("≈", "what vends near a count alone could explain"), ("=", "agrees"),
    ("?", "no two counts yet"), ("–", "out of use"),
)  # fmt: skip
_LEGEND = " ".join([f'<span><b aria-hidden="true">{mark}</b> {meaning}</span>' for mark, meaning in _KEY])
_WINDOWS = (
    column("slot"), words("product"),
    *columns("opening", "loaded", "removed", "vended", "expected", "counted", "variance", "range", "at retail"),
)  # fmt: skip
_MONEY = columns("slot", "units", "sales", "fees", "goods", "shrink", "margin")
_VISIT = (
    column("slot"), words("product"), *columns("in it", "expected then", "chance empty", "fill to", "bring"),
    words("look at"),
)  # fmt: skip
_LINES = (
    column("time"), words("what"), column("change"), column("units"), words("row"), words("note"),
)  # fmt: skip


def machine_page(title: str, part: MachinePart, common: Common) -> str:
    """The page of one machine, below machines/."""
    return f"""{head(title, common)}<body>
{PATTERNS}<header class="front lesser">
<p class="kicker"><a href="../report.html">{told(common.route)}</a> <span>{escaped(common.span)}</span></p>
<h1 id="m-{part.slug}-h">{_named(part)}</h1>
</header>
<main>
{machine(part, 2)}
{CAUTIONS}</main>
{foot(common)}"""


def machine(part: MachinePart, level: int) -> str:
    """One machine. level: of the headings of its parts; its own heading is left to the page where that is the page's
    own."""
    return "".join(_pieces(part, level)) + "</section>\n"


def agreeing(machines: Sequence[Folded]) -> str:
    """Return the machines where everything agrees: a line each, which unfolds to the command that shows its rows."""
    if not machines:
        return ""
    lines = "".join(map(_agreeing, machines))
    return (
        '<section id="agreeing" aria-labelledby="agreeing-h">\n<h2 id="agreeing-h">Where everything agrees</h2>\n'
        '<p class="reading">All stock windows of these machines agree, no collection or payout of theirs differs, and '
        f"no error or warning was found. Unfold one to see how to get at its rows.</p>\n{lines}</section>\n\n"
    )


def _agreeing(one: Folded) -> str:
    name = told(one.machine) + (f' <span class="site">{told(one.site)}</span>' if one.site else "")
    windows = how_many(one.windows, "stock window")
    agree = "agrees" if one.windows == 1 else "agree"
    notes = findings(one.findings) if one.findings.notes else ""
    return (
        f'<details class="agrees" id="m-{one.slug}">\n<summary><span aria-hidden="true">=</span> {name}: {windows} '
        f"{agree}, sales {one.sales}</summary>\n"
        f"<p>Every row behind a slot: <code>{escaped(one.trace)}</code>, and so for each of its slots.</p>\n"
        f"{notes}</details>\n"
    )


def _pieces(part: MachinePart, level: int) -> list[str]:
    def headed(heading: str, *inside: str) -> str:
        return f"<h{level}>{heading}</h{level}>\n{''.join(inside)}"

    pieces = [f'<section class="machine-part" id="m-{part.slug}" aria-labelledby="m-{part.slug}-h">\n']
    if level == 3:
        pieces.append(f'<h2 id="m-{part.slug}-h">{_named(part)}</h2>\n')
    if part.figures:
        figures = "".join([f"<div><dt>{name}</dt><dd>{value}</dd></div>\n" for name, value in part.figures])
        pieces.append(f'<dl class="statement">\n{figures}</dl>\n')
    if part.drawing:
        pieces.append(headed("As it stands", _drawing(part)))
    else:
        pieces.append('<p class="nothing">It has no layout in layouts/, so there is nothing to draw.</p>\n')
    pieces.append(headed("Open findings", findings(part.findings), "\n"))
    if part.traces:
        help_ = '<p class="reading">The steps are the units in the slot; the ring at the end is what was counted.</p>\n'
        pieces.append(headed("Rows behind them", help_, *(_trace(one, part.machine, level + 1) for one in part.traces)))
    if part.charts:
        drawn = "".join([_chart(one, part.machine, level + 1) for one in part.charts])
        pieces.append(headed("Over time", f'<div class="charts">\n{drawn}</div>\n'))
    if part.money.rows or part.money.month:
        pieces.append(headed("Money", _money(part), "\n"))
    if part.visit:
        pieces.append(headed("Next visit", _visit(part), "\n"))
    if part.window_rows:
        pieces.append(headed("Stock windows", _windows(part), "\n"))
    return pieces


def _named(part: MachinePart) -> str:
    return told(part.machine) + (f' <span class="site">{told(part.site)}</span>' if part.site else "")


def _drawing(part: MachinePart) -> str:
    assert part.drawing is not None
    drawn = wide(f"{part.machine} as laid out", part.drawing) if part.wide else f"{part.drawing}\n"
    return (
        f'{drawn}<p class="key">{_LEGEND}</p>\n<p class="reading">The layout of {part.drawn_at}. A figure adds up a '
        "slot’s windows shown here, shorts and overs apart.</p>\n"
    )


def _chart(one: Chart, machine: str, level: int) -> str:
    heads = "".join(columns(*one.header))
    inside = f"<table>\n<thead><tr>{heads}<tbody>\n{one.rows}</table>\n"
    return (
        f'<figure class="chart">\n<figcaption><h{level}>{one.title}</h{level}>{one.reading}</figcaption>\n'
        f"{one.drawing}\n"
        '<details class="alike">\n<summary>The same as a table</summary>\n'
        f"{wide(f'{one.title} of {machine}', inside)}</details>\n</figure>\n"
    )


def _windows(part: MachinePart) -> str:
    inside = f'<table class="figures">\n<thead><tr>{"".join(_WINDOWS)}\n{part.window_rows}</table>\n'
    return (
        f'<details class="windows">\n<summary>{part.windows:,} stock windows, the last ones first</summary>\n'
        '<p class="reading">A window runs from one count of a slot to the next. Expected = opening + loaded − removed '
        "− vended; variance = counted − expected. The range is the variance with every vend near a count put against "
        f"us, then for us.</p>\n{wide(f'Stock windows of {part.machine}', inside)}"
        f"{cut(part.windows_shown, part.windows, 'windows', 'results.json, stock')}</details>\n"
    )


def _money(part: MachinePart) -> str:
    money = part.money
    parts = [f"<p>{money.month}</p>\n"] if money.month else []
    parts += [f'<p class="reading">{one}</p>\n' for one in money.remarks]
    if money.rows:
        rows = [f'<tr><th scope="row" class="name">{told(row[0])}<td>{"<td>".join(row[1:])}\n' for row in money.rows]
        shown = table(f"Money of {part.machine} by slot", _MONEY, rows)
        parts.append(folded("Margin, slot by slot", shown))
    if money.reader:
        sentences = "".join([f"<p>{one}</p>\n" for one in money.reader])
        parts.append(folded("What the card reader costs and brings", sentences))
    return "".join(parts)


def _visit(part: MachinePart) -> str:
    assert part.visit is not None
    rows = [
        f'<tr><th scope="row" class="name">{told(row[0])}<td class="words">{told(row[1])}<td>{"<td>".join(row[2:])}\n'
        for row in part.visit.rows
    ]
    return (
        f"<p>{part.visit.says}</p>\n<details>\n<summary>What to bring, slot by slot</summary>\n"
        f"{table(f'What to bring to {part.machine}', _VISIT, rows)}"
        '<p class="reading">Filled to par; demand by each slot’s own sales, hours in which it was empty left out. More '
        "choices: <code>recon plan .</code></p>\n</details>\n"
    )


def _trace(one: Traced, machine: str, level: int) -> str:
    parts = [
        f'<section class="trace" id="{one.anchor}" aria-label="Rows behind {escaped(machine)} {escaped(one.label)}">\n'
        f"<h{level}>{told(machine)} {told(one.label)}</h{level}>\n"
    ]
    parts += [_window(window, one, machine) for window in one.windows]
    if one.more:
        shown = len(one.windows)
        parts.append(
            f'<p class="cut">Shown: {shown} of {shown + one.more} windows that its findings speak of. All of them: '
            f"<code>{escaped(one.command)}</code></p>"
        )
    return "".join(parts) + "</section>\n"


def _window(window: Window, one: Traced, machine: str) -> str:
    course = f"<strong>{window.heading}</strong>" + (f"<br>{window.sum}" if window.sum else "")
    left_out = ""
    if window.left_out:
        left_out = f'<p class="cut">And {window.left_out} rows more: <code>{escaped(one.command)}</code></p>'
    rows = table(f"Rows of {machine} {one.label}, {window.heading}", _LINES, [window.rows])
    return (
        f'<div class="traced">\n<p class="course">{course}</p>\n{window.drawing or ""}<details>\n'
        f"<summary>{window.shown} rows</summary>\n{rows}{left_out}</details>\n</div>\n"
    )
