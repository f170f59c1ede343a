"""The HTML of the front page: what is not accounted for, where, what to do first, the route and its files."""

from collections.abc import Sequence
from typing import NamedTuple

from recon.report.html.findings import Listed
from recon.report.html.first_steps import FirstSteps, Step
from recon.report.html.front import Account
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
    words,
)
from recon.report.html.markup_machine import agreeing, machine
from recon.report.html.places import Cell, Where
from recon.report.html.taken_in import Cut
from recon.report.pages import escaped, told

_SIGNS = {"agrees": "=", "differs": "≠", "none": "·"}
_MACHINES = columns("machine", "open", "vends", "sales", "cash", "card", "fees", "goods", "shrink", "margin")
_PAYOUTS = (
    column("paid on"), words("for"), words("machine"), words("reference"),
    *columns("vends", "gross expected", "gross", "fees expected", "fees", "net expected", "net", "over/short"),
)  # fmt: skip
_DECISIONS = (
    column("entry"),
    *map(words, ("recorded", "finding", "state", "by", "why", "now", "the finding then", "corrected")),
)
_FILES = (
    column("file"), words("kind"), words("description"), *columns("rows", "used", "duplicate", "rejected"),
    words("SHA-256, first 12"),
)  # fmt: skip
_REJECTS = (column("place"), words("why"), words("the row as it stands"))


class MachineRow(NamedTuple):
    """One machine in the table of all: where its part stands, how much is open, its figures."""

    machine: str
    page: str
    open: int
    cells: tuple[str, ...]


class Front(NamedTuple):
    """Everything that the front page shows. more_places: machines that `places` leaves out. inside: the machines that
    stand on this page. agreeing: those where everything agrees."""

    title: str
    answer: str
    rests: str
    accounts: Sequence[Account]
    first: FirstSteps
    places: Sequence[Where]
    more_places: int
    currency: str
    machines: Sequence[MachineRow]
    inside: Sequence[MachinePart]
    agreeing: Sequence[Folded]
    route_findings: Listed
    payouts: Cut
    decisions: Cut
    files: Cut
    rejects: Cut


def front_page(front: Front, common: Common) -> str:
    """The front page."""
    inside = "".join([f"{machine(part, 3)}\n" for part in front.inside])
    return f"""{head(front.title, common)}<body>
<a class="skip" href="#machines">Skip to the machines</a>
{PATTERNS}<header class="front">
<p class="kicker">{told(common.route)} <span>{escaped(common.span)}</span></p>
<h1>{front.answer}</h1>
<p class="rests">{front.rests} A variance is never proof of who.</p>
</header>
<main>
<section class="accounts" aria-label="How much is not accounted for">
{"".join(map(_account, front.accounts))}</section>
<div class="sides">
<section aria-labelledby="where">
<h2 id="where">Where</h2>
{_places(front)}</section>
<section aria-labelledby="first">
<h2 id="first">What to do first</h2>
{_first(front.first)}</section>
</div>
{CAUTIONS}<section id="machines" aria-labelledby="machines-h">
<h2 id="machines-h">Machines</h2>
{table("Figures of every machine", _MACHINES, map(_machine_row, front.machines))}\
<p class="reading">Margin = sales − fees − goods − shrink at cost. Shrink adds up shorts alone, at cost.</p>
</section>
{inside}{agreeing(front.agreeing)}<section id="route" aria-labelledby="route-h">
<h2 id="route-h">The route and its files</h2>
<h3>Open findings</h3>
{findings(front.route_findings)}
{_payouts(front.payouts)}<h3>Decisions</h3>
{_decisions(front.decisions)}<h3>What was taken in</h3>
{_files(front.files, front.accounts[-1].lines[0])}<h3>What was rejected</h3>
{_rejects(front.rejects)}</section>
</main>
{foot(common)}"""


def _account(one: Account) -> str:
    lines = "".join([f"<p>{escaped(line)}</p>\n" for line in one.lines])
    return (
        f'<div class="account {one.state}">\n<h2><span aria-hidden="true">{_SIGNS[one.state]}</span> {one.name}</h2>\n'
        f'<p class="size">{escaped(one.head)}</p>\n{lines}</div>\n'
    )


def _places(front: Front) -> str:
    if not front.places:
        return '<p class="nothing">No machine has a difference or an open finding.</p>\n'
    heads = "".join(columns("machine", "stock", "cash", "cards"))
    rows = "".join(map(_place, front.places))
    left_out = ""
    if front.more_places:
        left_out = (
            f'<p class="cut">Shown: {len(front.places)} of {len(front.places) + front.more_places}. All machines stand '
            '<a href="#machines">below</a>.</p>'
        )
    return (
        f'<table class="places">\n<thead><tr>{heads}\n<tbody>\n{rows}</table>\n'
        f'<p class="reading">Sums of what is short (−, left) and over (+, right), {escaped(front.currency)} unless '
        "another code stands there. They are not added up across: the same units may be short in one account and over "
        f"in another.</p>\n{left_out}"
    )


def _place(one: Where) -> str:
    name = told(one.machine)
    linked = f'<a href="{one.page}">{name}</a>' if one.page else name
    site = told(one.site) + (", " if one.open else "") if one.site else ""
    open_ = f"{one.open} open" if one.open else ""
    cells = "".join(map(_size, one.cells))
    return f'<tr><th scope="row" class="name">{linked}<small>{site}{open_}</small>\n{cells}\n'


def _size(cell: Cell) -> str:
    if not cell.short and not cell.over:
        return '<td><span class="z">·</span>'
    told_ = f'<span class="s">{cell.short}</span>' if cell.short else ""
    told_ += f'<span class="o">{cell.over}</span>' if cell.over else ""
    down = f'<rect class="short" x="-{cell.down}" y="1" width="{cell.down}" height="8"/>' if cell.down else ""
    up = f'<rect class="over" x="0" y="1" width="{cell.up}" height="8"/>' if cell.up else ""
    return (
        f'<td>{told_}<svg class="twin" aria-hidden="true" focusable="false" viewBox="-101 0 202 10" '
        f'preserveAspectRatio="none">{down}{up}<path class="base" d="M0 0V10"/></svg>'
    )


def _first(first: FirstSteps) -> str:
    if not (first.files or first.steps):
        return (
            '<p class="nothing">Nothing has to be done. Look over the files that were taken in, and go on counting.'
            "</p>\n"
        )
    files = ""
    if first.files:
        named = ", ".join([_linked(one) + (f" ({one.count})" if one.count > 1 else "") for one in first.files])
        files = (
            '<li><p class="what"><strong>Mend what was not taken in.</strong> Every figure here rests on what was.'
            "</p>\n"
            f'<p class="follow">{named}</p></li>\n'
        )
    more = f'<p class="cut">And {first.more} more kinds of finding, in the parts below.</p>' if first.more else ""
    return f'<ol class="steps-list">\n{files}{"".join(map(_step, first.steps))}</ol>\n{more}'


def _linked(one: Step) -> str:
    return f'<a href="{one.where}">{one.kind}</a>'


def _step(one: Step) -> str:
    count = f", {one.count:,} of them" if one.count > 1 else ""
    worth = f", {escaped(one.worth)}" if one.worth else ""
    return (
        f'<li><p class="what"><strong>{told(one.advice)}</strong></p>\n'
        f'<p class="follow"><span aria-hidden="true">{one.glyph}</span> {one.severity}, {_linked(one)}{count}{worth}. '
        f"{'The first: ' if one.count > 1 else ''}{told(one.message)}</p></li>\n"
    )


def _machine_row(row: MachineRow) -> str:
    cells = "<td>".join(row.cells)
    return (
        f'<tr><th scope="row" class="name"><a href="{row.page}">{told(row.machine)}</a><td>{row.open}<td>{cells}\n'
    )


def _payouts(payouts: Cut) -> str:
    if not payouts.rows:
        return ""
    rows = [
        f'<tr><th scope="row">{row[0]}<td class="words">{row[1]}<td class="words">{told(row[2])}'
        f'<td class="words">{told(row[3])}<td>{"<td>".join(row[4:])}\n'
        for row in payouts.rows
    ]
    left_out = cut(len(rows), payouts.total, "payouts", "results.json, payouts")
    return f"<h3>Card payouts</h3>\n{table('Card payouts', _PAYOUTS, rows)}{left_out}"


def _decisions(decisions: Cut) -> str:
    if not decisions.rows:
        return (
            '<p class="nothing">Nothing has been decided yet. <code>recon decide . FINDING</code> records what was '
            "decided, by whom and why.</p>\n"
        )
    rows = [
        f'<tr><th scope="row">{row[0]}<td class="words">{row[1]}<td class="words"><code>{escaped(row[2])}</code>'
        f'<td class="words">{row[3]}<td class="words">{told(row[4])}<td class="words">{told(row[5])}'
        f'<td class="words">{row[6]}<td class="words">{told(row[7])}<td class="words">{told(row[8])}\n'
        for row in decisions.rows
    ]
    left_out = cut(len(rows), decisions.total, "decisions", "the ledger")
    return f"{table('Decisions', _DECISIONS, rows)}{left_out}"


def _files(files: Cut, account: str) -> str:
    rows = [
        f'<tr{"" if row[6] == "0" else _OFF}><th scope="row" class="name">{told(row[0])}'
        f'<td class="words">{escaped(row[1])}<td class="words">{told(row[2])}<td>{"<td>".join(row[3:7])}'
        f'<td class="words"><code>{row[7]}</code>\n'
        for row in files.rows
    ]
    left_out = cut(len(rows), files.total, "files", "results.json, inputs")
    return folded(f"{files.total} files: {escaped(account)}", table("Files taken in", _FILES, rows), left_out)


_OFF = ' class="off"'


def _rejects(rejects: Cut) -> str:
    if not rejects.rows:
        return '<p class="nothing">No row was rejected.</p>\n'
    rows = [
        f'<tr><th scope="row" class="name">{told(row[0])}<td class="words">{told(row[1])}'
        f'<td class="words"><code>{escaped(row[2])}</code>\n'
        for row in rejects.rows
    ]
    left_out = cut(len(rows), rejects.total, "rows", "rejects.csv")
    return folded(
        f"{rejects.total:,} rows that could not be used", table("Rejected rows", _REJECTS, rows), left_out
    )
