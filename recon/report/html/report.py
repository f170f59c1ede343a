"""The pages of a report, in the order in which they are written: the front with the route, then a page a machine
where there are too many machines for one page."""

from collections.abc import Callable, Iterator

from recon.balance.earnings import shown_vends
from recon.balance.report_figures import ReportFigures, report_figures
from recon.model.reconciliation import Reconciliation
from recon.report.html import front, taken_in
from recon.report.html.findings import GRAVE, OPEN
from recon.report.html.first_steps import first_steps
from recon.report.html.machine_part import MachinePart, Machines
from recon.report.html.markup import Common
from recon.report.html.markup_front import Front, MachineRow, front_page
from recon.report.html.markup_machine import machine_page
from recon.report.html.places import NAME, where
from recon.report.html.spelling import Spelling, slug
from recon.report.html.svg import shortened
from recon.report.html.traced import NUMBERED, traces
from recon.report.pages import content_security, style

ONE_PAGE = 12
"""Up to so many machines stand on one page; beyond it each has a page of its own below machines/."""

PLACES_SHOWN = 8
TOGETHER = 4 * NUMBERED
"""Machines whose lines are worked out at a time: more would cost less, and hold more in memory."""


def report_pages(done: Reconciliation, figures: ReportFigures | None = None) -> Iterator[tuple[str, str]]:
    """Format the report as (path within the report's folder, HTML), `report.html` first. figures: as `report_figures`
    returns them of this run; worked out here where they are not given.

    Pages of machines are made one by one as they are asked for, so that a large route never stands in memory whole.
    The same reconciliation gives the same bytes: nothing here looks at the clock.
    """
    spell = Spelling(done)
    figures = figures or report_figures(done)
    machines = Machines(spell, figures)
    paged = len(machines.names) > ONE_PAGE
    css = style("tokens.css", "report.css")
    common = Common(
        policy=content_security(styles=[css]),
        style=css,
        route=done.name,
        span=_span(done, spell),
        made=spell.moment(done.now),
        anchor=done.anchor,
    )
    place = _places(paged, machines)
    yield "report.html", front_page(_front(done, spell, machines, place, figures, paged=paged), common)
    if paged:
        for part in _parts(spell, machines, figures):
            yield f"machines/{part.slug}.html", machine_page(f"{part.machine}, {done.name}", part, common)


def _parts(spell: Spelling, machines: Machines, figures: ReportFigures) -> Iterator[MachinePart]:
    """Return the machines that are drawn, one by one. The lines behind their findings and the rows of their tables are
    worked out for TOGETHER machines at a time."""
    if figures.drawn is None:
        return
    for first in range(0, len(machines.drawn), TOGETHER):
        some = machines.drawn[first : first + TOGETHER]
        traced, texts = traces(spell, some, figures.drawn.counts), machines.texts(some)
        for machine in some:
            yield machines.part(machine, traced.get(machine, ()), texts)


def _places(paged: bool, machines: Machines) -> Callable[[str | None], str]:
    """Where a machine's part stands: its page, or "" for the front page itself, where those that agree stand, too."""
    known = set(machines.drawn)

    def place(machine: str | None) -> str:
        return f"machines/{slug(machine)}.html" if paged and machine in known and machine is not None else ""

    return place


def _front(
    done: Reconciliation,
    spell: Spelling,
    machines: Machines,
    place: Callable[[str | None], str],
    figures: ReportFigures,
    *,
    paged: bool,
) -> Front:
    answer, rests = front.answer(done)

    def anchored(machine: str | None) -> str:
        return "#route" if machine is None else f"{place(machine)}#m-{slug(machine)}"

    places, more_places = where(done, spell, anchored, PLACES_SHOWN)
    return Front(
        title=f"{done.name}: {answer}",
        answer=answer,
        rests=rests,
        accounts=front.accounts(done, spell),
        first=first_steps(done, spell, place, anchored),
        places=places,
        more_places=more_places,
        currency=done.currency,
        machines=_rows(done, spell, machines, anchored),
        inside=[] if paged else list(_parts(spell, machines, figures)),
        agreeing=tuple(machines.folded()),
        route_findings=machines.listed(None, {}),
        payouts=taken_in.payouts(done, spell),
        decisions=taken_in.decisions(done, spell),
        files=taken_in.files(done),
        rejects=taken_in.rejects(done),
    )


def _rows(
    done: Reconciliation, spell: Spelling, machines: Machines, anchored: Callable[[str | None], str]
) -> list[MachineRow]:
    open_ = done.frames["findings"].filter(OPEN & GRAVE)
    counts = dict(open_.group_by("machine").len().iter_rows())
    money = ("sales", "cash_sales", "card_sales", "fees", "cost_of_goods", "shrink_cost", "margin")
    rows = []
    for machine in machines:
        found = machines.frame("summaries", machine)
        cells: tuple[str, ...] = ("",) * (1 + len(money))
        if found.height:
            row = found.row(0, named=True)
            cells = (f"{row['vends']:,}", *(spell.money(row[name], machine) for name in money))
        rows.append(MachineRow(shortened(machine, NAME), anchored(machine), counts.get(machine, 0), cells))
    return rows


def _span(done: Reconciliation, spell: Spelling) -> str:
    """The days of the vends shown, and the currency."""
    times = shown_vends(done).select("time").to_series()
    if times.len() == 0:
        return f"no vends up to {spell.moment(done.until)}"
    first, last = times.min(), times.max()
    return f"{spell.day(first)} to {spell.day(last)}, {done.currency}"  # type: ignore[arg-type]
