"""The part of one machine: how it stands, what is open, its money, its windows."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl
from markupsafe import Markup

from recon.balance.earnings import by_slot, earnings
from recon.balance.plan import plan
from recon.balance.readers import readers
from recon.model.frames import Frame
from recon.report.html import charts, over_time, svg_machine
from recon.report.html.findings import Listed, listed
from recon.report.html.money import Money, money
from recon.report.html.next_visit import NextVisit, next_visit
from recon.report.html.spelling import MINUS, Spelling, how_many, signed_units, slug
from recon.report.html.svg_machine import Place
from recon.report.html.traced import Traced

WINDOWS_SHOWN = 300
"""Stock windows a machine's table shows, the last ones; all of them stand in results.json."""


@dataclass(frozen=True, slots=True)
class Visit:
    """Windows that one pair of counts closes: from when to when, and a row of cells for each slot."""

    opened: str
    closed: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class MachinePart:
    """Everything the template of a machine needs."""

    machine: str
    slug: str
    site: str
    figures: tuple[tuple[str, str], ...]
    drawing: Markup | None
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
    """All machines of a run, with their frames parted once. Iterating gives their names, those with a layout first."""

    def __init__(self, spell: Spelling) -> None:
        done = spell.done
        self._spell = spell
        frames = done.frames
        vends = over_time.in_own_time(over_time.shown_vends(done), "time", done)
        earned, planned = earnings(done), plan(done)
        whole = {
            "summaries": frames["summaries"],
            "slots": over_time.slots_as_they_stand(done),
            "stock": frames["stock"],
            "cash": frames["cash_windows"],
            "findings": frames["findings"].filter(pl.col("machine").is_not_null()),
            "money": over_time.money_by_week(vends),
            "hours": over_time.vends_by_hour(vends),
            "sums": earned.machines,
            "earned": by_slot(earned.parts),
            "readers": readers(done, earned),
            "visits": planned.visits,
            "planned": planned.slots,
            "variance": over_time.variance_by_week(frames["stock"], done),
        }
        self._empty = {name: frame.clear() for name, frame in whole.items()}
        self._parts: dict[str, dict[Any, Frame]] = {
            name: frame.partition_by("machine", as_dict=True, maintain_order=True) for name, frame in whole.items()
        }
        self._sites = dict(frames["machines"].select("machine", "site").iter_rows())
        self._goods = dict(frames["products"].select("product", "name").drop_nulls().iter_rows())
        named = {str(key[0]) for name in ("summaries", "findings") for key in self._parts[name]}
        # Names that a log gives and no layout knows come last: they are a finding more than a machine.
        self.names = sorted(named | set(self._sites), key=lambda name: (name not in self._sites, name))

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def frame(self, name: str, machine: str) -> Frame:
        """The machine's rows of one of the frames; none where it has none."""
        return self._parts[name].get((machine,), self._empty[name])

    def goods(self, product: str | None) -> str:
        """The name of a product; its id where products.csv gives none."""
        return "" if product is None else self._goods.get(product, product)

    def part(self, machine: str, traced: Sequence[Traced]) -> MachinePart:
        """The part of one machine. traced: the traces of its slots that it shows."""
        name = slug(machine)
        followed = {(machine, one.label): one.anchor for one in traced}
        places = [self._place(row) for row in self.frame("slots", machine).iter_rows(named=True)]
        stock = self.frame("stock", machine)
        shown = stock.sort("closed_at", "opened_at", "slot", descending=[True, True, False]).head(WINDOWS_SHOWN)
        return MachinePart(
            machine=machine,
            slug=name,
            site=self._sites.get(machine) or "",
            figures=self._figures(machine),
            drawing=self._drawing(machine, name, places) if places else None,
            wide=svg_machine.columns_of(places) > svg_machine.WIDEST,
            drawn_at=self._spell.moment(self._spell.done.until, machine),
            findings=listed(self.frame("findings", machine), self._spell, followed),
            charts=self._charts(machine, name),
            visits=tuple(self._visits(machine, shown)),
            windows=stock.height,
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

    def _drawing(self, machine: str, name: str, places: Sequence[Place]) -> Markup:
        counts = {state: sum(place.state == state for place in places) for state in svg_machine.STATES}
        told = ", ".join(f"{count} {svg_machine.STATES[state][1]}" for state, count in counts.items() if count)
        one_by_one = " ".join(place.told for place in places)
        title = f"{machine}: {how_many(len(places), 'slot')} as laid out"
        return svg_machine.machine(f"{name}-drawn", title, f"{told}. {one_by_one}", places)

    def _place(self, row: dict[str, Any]) -> Place:
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
            price=self._spell.money(row["price"], row["machine"]) if row["in_use"] else "",
            state=state,
            figure=figure,
            told=f"{told}.",
        )

    def _visits(self, machine: str, windows: Frame) -> Iterator[Visit]:
        spell = self._spell
        at: tuple[datetime, datetime] | None = None
        rows: list[tuple[str, ...]] = []
        for row in windows.iter_rows(named=True):
            pair = (row["opened_at"], row["closed_at"])
            if at is not None and pair != at:
                yield Visit(spell.moment(at[0], machine), spell.moment(at[1], machine), tuple(rows))
                rows = []
            at = pair
            rows.append(self._cells(machine, row))
        if at is not None:
            yield Visit(spell.moment(at[0], machine), spell.moment(at[1], machine), tuple(rows))

    def _cells(self, machine: str, row: dict[str, Any]) -> tuple[str, ...]:
        low, high = row["variance_low"], row["variance_high"]
        spread = "" if low == high else f"{signed_units(low)} to {signed_units(high)}"
        units = (
            f"{row[name]:,}".replace("-", MINUS)
            for name in ("opening", "loaded", "removed", "vended", "expected", "counted")
        )
        value = "" if row["variance"] == 0 else self._spell.signed(row["retail_value"], machine)
        return (row["label"], self.goods(row["product"]), *units, signed_units(row["variance"]), spread, value)


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
