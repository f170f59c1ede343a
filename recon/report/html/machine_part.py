"""The part of one machine: how it stands, what is open, its money, its windows."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

import polars as pl

from recon.balance.earnings import by_slot, earnings
from recon.balance.plan import plan
from recon.balance.readers import readers
from recon.balance.selling import selling
from recon.balance.stock import Stock
from recon.model.frames import Frame
from recon.model.spelling import DAY_AND_CLOCK, local_text
from recon.balance import over_time
from recon.report.html import charts, svg_machine
from recon.report.html.findings import Listed, listed, sorted_out
from recon.report.html.money import SLOT_MONEY, Money, money
from recon.report.html.next_visit import SLOT_PLAN, NextVisit, next_visit
from recon.report.html.parted import Parted
from recon.report.html.spelling import Spelling, how_many, signed_units, slug, units_text
from recon.report.html.svg_machine import Place
from recon.report.html.traced import Traced
from recon.report.pages import told

WINDOWS_SHOWN = 300
"""Stock windows a machine's table shows, the last ones; all of them stand in results.json."""


class Visit(NamedTuple):
    """Windows that one pair of counts closes: from when to when, and the markup of a row for each slot."""

    opened: str
    closed: str
    rows: str


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
    visits: tuple[Visit, ...]
    windows: int
    windows_shown: int
    money: Money
    visit: NextVisit | None
    traces: tuple[Traced, ...]


class Machines:
    """All machines of a run, with their frames parted once. Iterating gives their names, those with a layout first.
    marks: the counts of every slot (slot, time)."""

    def __init__(self, spell: Spelling, stock: Stock | None = None) -> None:
        done = spell.done
        self._spell = spell
        frames = done.frames
        money_by_week, vends_by_hour = over_time.sold_over_time(done)
        known = selling(done, stock)
        earned, planned = earnings(done, reach=known.reach), plan(done, known=known)
        self.marks = known.stock.spans.select("slot", "time")
        findings, self._counts = sorted_out(frames["findings"])
        whole = {
            "summaries": frames["summaries"],
            "slots": over_time.slots_as_they_stand(done).select("machine", *_PLACE),
            "stock": _last_windows(frames["stock"]),
            "cash": _known_cash(spell).select("machine", *charts.CASH),
            "findings": findings,
            "money": money_by_week.select("machine", *charts.MONEY),
            "hours": vends_by_hour.select("machine", *charts.HOURS),
            "sums": earned.machines,
            "earned": by_slot(earned.parts).select("machine", "label", "units", *SLOT_MONEY),
            "readers": readers(done, earned),
            "visits": planned.visits,
            "planned": planned.slots.select("machine", *SLOT_PLAN),
            "variance": over_time.variance_by_week(frames["stock"], done).select("machine", *charts.VARIANCE),
        }
        self._parts = {name: Parted(frame) for name, frame in whole.items()}
        self._windows = dict(frames["stock"].group_by("machine").len().iter_rows())
        self._paths = done.paths
        self._sites = dict(frames["machines"].select("machine", "site").iter_rows())
        self._goods = dict(frames["products"].select("product", "name").drop_nulls().iter_rows())
        named = self._parts["summaries"].machines | self._parts["findings"].machines
        # Names that a log gives and no layout knows come last: they are a finding more than a machine.
        self.names = sorted(named | set(self._sites), key=lambda name: (name not in self._sites, name))

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

    def part(self, machine: str, traced: Sequence[Traced]) -> MachinePart:
        """The part of one machine. traced: the traces of its slots that it shows."""
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
            charts=self._charts(machine, name),
            visits=tuple(self._visits(machine, shown)),
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

    def _charts(self, machine: str, name: str) -> tuple[charts.Chart, ...]:
        spell = self._spell
        return charts.drawn(
            (
                charts.variance_chart(f"{name}-units", machine, self.frame("variance", machine), spell),
                charts.cash_chart(f"{name}-cash", machine, self.frame("cash", machine), spell),
                charts.money_chart(f"{name}-sales", machine, self.frame("money", machine), spell),
                charts.hours_chart(f"{name}-hours", machine, self.frame("hours", machine)),
            )
        )

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

    def _visits(self, machine: str, windows: Frame) -> Iterator[Visit]:
        spell = self._spell
        for (opened, closed), rows in groupby(windows.rows(), itemgetter(0, 1)):
            shown = "".join([self._row(machine, *row[2:]) for row in rows])
            began, ended = (_EPOCH + timedelta(microseconds=micros) for micros in (opened, closed))
            yield Visit(spell.moment(began, machine), spell.moment(ended, machine), shown)

    def _row(
        self, machine: str, label: str, product: str | None, value: int | None, low: int, high: int, variance: int,
        *units: int,
    ) -> str:  # fmt: skip
        spread = "" if low == high else f"{signed_units(low)} to {signed_units(high)}"
        worth = "" if variance == 0 else self._spell.signed(value, machine)
        off = ' class="off"' if variance else ""
        return (
            f'<tr{off}><th scope="row" class="name">{told(label)}<td class="words">{told(self.goods(product))}'
            f"<td>{'<td>'.join(map(units_text, units))}<td>{signed_units(variance)}<td>{spread}<td>{worth}"
        )


_PLACE = (
    "tray", "label", "product", "pitch", "in_use", "price", "windows", "short", "over", "near", "any_near",
)  # fmt: skip
"""What the drawing of a slot needs of the frame `slots_as_they_stand`."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_UNITS = ("opening", "loaded", "removed", "vended", "expected", "counted")


def _last_windows(stock: Frame) -> Frame:
    """The windows that the tables show, machine by machine, the last first."""
    ordered = stock.sort("machine", "closed_at", "opened_at", "slot", descending=[False, True, True, False])
    last = ordered.filter(pl.int_range(pl.len()).over("machine") < WINDOWS_SHOWN)
    # As numbers: a moment in Python is made for each visit, not for each of its windows.
    times = pl.col("opened_at", "closed_at").dt.epoch("us")
    return last.select(
        "machine", times, "label", "product", "retail_value", "variance_low", "variance_high",
        "variance", *_UNITS,
    )  # fmt: skip


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
