"""The part of one machine: how it stands, what is open, its money, its windows."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import polars as pl

from recon.balance.report_figures import DrawnFigures, ReportFigures
from recon.model.frames import Frame
from recon.model.spelling import DAY_AND_CLOCK, local_text
from recon.report.html import charts, svg_machine
from recon.report.html.findings import Listed, listed, sorted_out, trace_command
from recon.report.html.money import SLOT_MONEY, Money, money
from recon.report.html.next_visit import SLOT_PLAN, NextVisit, next_visit
from recon.report.html.parted import Parted
from recon.report.html.spelling import Spelling, how_many, signed_units, slug
from recon.report.html.svg_machine import Place
from recon.report.html.traced import Traced
from recon.report.html.window_rows import SHOWN, window_rows

WINDOWS_SHOWN = 300
"""Stock windows a machine's table shows, the last ones; all of them stand in results.json."""


class MachinePart(NamedTuple):
    """Everything that the markup of a machine shows."""

    machine: str
    slug: str
    site: str
    figures: tuple[tuple[str, str], ...]
    drawing: str | None
    wide: bool
    drawn_at: str
    findings: Listed
    charts: tuple[charts.Chart, ...]
    window_rows: str
    windows: int
    windows_shown: int
    money: Money
    visit: NextVisit | None
    traces: tuple[Traced, ...]


class Folded(NamedTuple):
    """A machine where everything agrees. windows: stock windows, all of which agree. trace: the command that shows the
    rows of its first slot. findings: notes alone."""

    machine: str
    slug: str
    site: str
    windows: int
    sales: str
    trace: str
    findings: Listed


class Texts(NamedTuple):
    """What is formatted for some machines at once, by machine.

    windows: the rows of its table of stock windows. charts: in their order on the page.
    """

    windows: Mapping[str, str]
    charts: tuple[Mapping[str, charts.Chart], ...]


class Machines:
    """All machines of a run, with their frames parted once. Iterating gives their names, those with a layout first.

    drawn: the names of those that have a part of their own; of the others, everything agrees.
    """

    def __init__(self, spell: Spelling, figures: ReportFigures) -> None:
        done = spell.done
        self._spell = spell
        frames = done.frames
        findings, self._counts = sorted_out(frames["findings"])
        whole = {"summaries": frames["summaries"], "findings": findings}
        if figures.drawn is not None:
            whole |= _drawn(spell, figures.drawn)
        self._parts = {name: Parted(frame) for name, frame in whole.items()}
        self._windows = dict(frames["stock"].group_by("machine").len().iter_rows())
        self._paths = done.paths
        self._sites = dict(frames["machines"].select("machine", "site").iter_rows())
        self._goods = dict(frames["products"].select("product", "name").drop_nulls().iter_rows())
        self.names = figures.names
        self._agreeing = dict(figures.agreeing.iter_rows())
        self.drawn = [name for name in self.names if name not in self._agreeing]

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def frame(self, name: str, machine: str) -> Frame:
        """The machine's rows of one of the frames; none where it has none."""
        return self._parts[name].of(machine)

    def listed(self, machine: str | None, followed: Mapping[tuple[str, str], str]) -> Listed:
        """The findings of a machine, or of the route. followed: see `recon.report.html.findings.listed`."""
        return listed(self._parts["findings"].of(machine), self._counts, machine, self._paths, followed)

    def goods(self, product: str | None) -> str:
        """The name of a product; its id where products.csv gives none."""
        return "" if product is None else self._goods.get(product, product)

    def texts(self, machines: Sequence[str]) -> Texts:
        """Format what is drawn of some machines at once."""
        spell, parts = self._spell, self._parts
        return Texts(
            window_rows(spell, parts["stock"].among(machines), self.goods),
            (
                charts.variance_charts(spell, parts["variance"].among(machines)),
                charts.cash_charts(spell, parts["cash"].among(machines)),
                charts.money_charts(spell, parts["money"].among(machines)),
                charts.hours_charts(parts["hours"].among(machines)),
            ),
        )

    def folded(self) -> Iterator[Folded]:
        """Return the machines where everything agrees."""
        labels = dict(self._spell.done.frames["slots"].group_by("machine").agg(pl.col("label").first()).iter_rows())
        for machine, windows in self._agreeing.items():
            sold = self.frame("summaries", machine)["sales"]
            yield Folded(
                machine=machine,
                slug=slug(machine),
                site=self._sites.get(machine) or "",
                windows=windows,
                sales=self._spell.money(sold[0] if sold.len() else 0, machine),
                trace=trace_command(machine, labels.get(machine)) or "",
                findings=self.listed(machine, {}),
            )

    def part(self, machine: str, traced: Sequence[Traced], texts: Texts) -> MachinePart:
        """Return the part of one machine. traced: the traces of its slots that it shows. texts: of some machines, it
        among them."""
        name = slug(machine)
        followed = {(machine, one.label): one.anchor for one in traced}
        places = [self._place(machine, row) for row in self.frame("slots", machine).iter_rows(named=True)]
        shown = self.frame("stock", machine)
        return MachinePart(
            machine=machine,
            slug=name,
            site=self._sites.get(machine) or "",
            figures=self._figures(machine),
            drawing=self._drawing(machine, name, places) if places else None,
            wide=svg_machine.columns_of(places) > svg_machine.WIDEST,
            drawn_at=self._spell.moment(self._spell.done.until, machine),
            findings=self.listed(machine, followed),
            charts=tuple(drawn[machine] for drawn in texts.charts if machine in drawn),
            window_rows=texts.windows.get(machine, ""),
            windows=self._windows.get(machine, 0),
            windows_shown=shown.height,
            money=money(
                self._spell,
                machine,
                self.frame("sums", machine),
                self.frame("earned", machine),
                self.frame("readers", machine),
            ),
            visit=next_visit(self._spell, machine, self.frame("visits", machine), self.frame("planned", machine)),
            traces=tuple(traced),
        )

    def _figures(self, machine: str) -> tuple[tuple[str, str], ...]:
        found = self.frame("summaries", machine)
        if found.height == 0:
            return ()
        row, spell = found.row(0, named=True), self._spell
        money = [
            (words, spell.money(row[name], machine))
            for name, words in (
                ("sales", "sales"),
                ("cash_sales", "by cash"),
                ("card_sales", "by card"),
                ("fees", "card fees"),
                ("cost_of_goods", "cost of goods"),
                ("shrink_cost", "shrink at cost"),
                ("margin", "margin"),
            )
        ]
        unmapped = row["unmapped_vends"]
        vends = f"{row['vends']:,}" + (f" ({unmapped:,} unmapped)" if unmapped else "")
        return (("vends", vends), *money)

    def _drawing(self, machine: str, name: str, places: Sequence[Place]) -> str:
        counts = {state: sum(place.state == state for place in places) for state in svg_machine.STATES}
        told = ", ".join(f"{count} {svg_machine.STATES[state][1]}" for state, count in counts.items() if count)
        one_by_one = " ".join(place.told for place in places)
        title = f"{machine}: {how_many(len(places), 'slot')} as laid out"
        return svg_machine.machine(f"{name}-drawn", title, f"{told}. {one_by_one}", places)

    def _place(self, machine: str, row: dict[str, Any]) -> Place:
        state, figure = _standing(row)
        goods = self.goods(row["product"])
        words = svg_machine.STATES[state][1]
        told = f"Tray {row['tray']}, {row['label']}{f', {goods}' if goods else ''}: "
        told += f"{figure} {words}" if figure and state != "both" else f"{figure} ({words})" if figure else words
        if row["windows"]:
            told += f", {how_many(row['windows'], 'window')}"
        return Place(
            tray=row["tray"],
            label=row["label"],
            pitch=min(max(row["pitch"], 1), 2),
            product=goods if row["in_use"] else "out of use",
            price=self._spell.money(row["price"], machine) if row["in_use"] else "",
            state=state,
            figure=figure,
            told=f"{told}.",
        )


_PLACE = (
    "tray", "label", "product", "pitch", "in_use", "price", "windows", "short", "over", "near", "any_near",
)  # fmt: skip
"""What the drawing of a slot needs of the frame `slots_as_they_stand`."""


def _drawn(spell: Spelling, figures: DrawnFigures) -> dict[str, Frame]:
    """Return the frames that parts of machines are made of, as far as they show them."""
    return {
        "slots": figures.slots.select("machine", *_PLACE),
        "stock": _last_windows(spell.done.frames["stock"]),
        "cash": _known_cash(spell).select("machine", *charts.CASH),
        "money": figures.money.select("machine", *charts.MONEY),
        "hours": figures.hours.select("machine", *charts.HOURS),
        "sums": figures.earnings,
        "earned": figures.slot_earnings.select("machine", "label", "units", *SLOT_MONEY),
        "readers": figures.readers,
        "visits": figures.visits,
        "planned": figures.planned.select("machine", *SLOT_PLAN),
        "variance": figures.variance.select("machine", *charts.VARIANCE),
    }


def _last_windows(stock: Frame) -> Frame:
    """The windows that the tables show, machine by machine, the last first."""
    ordered = stock.sort("machine", "closed_at", "opened_at", "slot", descending=[False, True, True, False])
    last = ordered.filter(pl.int_range(pl.len()).over("machine") < WINDOWS_SHOWN)
    return last.select("machine", *SHOWN)


def _known_cash(spell: Spelling) -> Frame:
    """The cash windows that have a difference, with `closed`: when, as the machine's clock shows it."""
    done = spell.done
    known = done.frames["cash_windows"].filter(pl.col("over_short").is_not_null()).sort("machine", "closed_at")
    return local_text(known.with_columns(closed="closed_at"), ["closed"], done.zones, done.zone, DAY_AND_CLOCK)


def _standing(row: Mapping[str, Any]) -> tuple[str, str]:
    """What a slot is and its figure: shorts and overs of its windows side by side, never netted."""
    if not row["in_use"]:
        return "unused", ""
    if not row["windows"]:
        return "blind", ""
    short, over = row["short"], row["over"]
    if short and over:
        return "both", f"{signed_units(short)} {signed_units(over)}"
    if short or over:
        return ("short" if short else "over"), signed_units(short or over)
    if row["any_near"]:
        return "near", signed_units(row["near"])
    return "agrees", ""
