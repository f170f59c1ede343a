"""A trace for a person at a terminal: plain text of 79 columns, no colour, two lines for each row of a file."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from textwrap import wrap
from typing import Any

from recon.ledger.trace import Trace
from recon.ledger.trace_originals import Inbox, by_place, original_texts
from recon.model.money import to_text
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report.trace_cut import Cut, CutFigures, cut

WIDTH = 79
CAUTION = "A variance is a figure, never proof of who: miscounts, slips and clocks come first."
_HOW = {
    "log": "as logged",
    "layout": "price from the layout",
    "neighbours": "price from the nearest vends of the slot",
    "range": "no certain price",
}
_SIDES = {
    "before": "so near the opening that it may be before it",
    "after": "so near the closing that it may be after it",
    "either": "so near both ends that it may be outside",
}


def trace_text(found: Trace, done: Reconciliation, inbox: Inbox, *, every: bool) -> str:
    """The trace as text, ending in a line break. every: print every line, and every original text whole."""
    shown = cut(found, every=every)
    page = _Page(done, found, by_place(original_texts(shown.places, inbox)), whole=every)
    return "\n".join(page.text(shown)) + "\n"


@dataclass(slots=True)
class _Page:
    """One trace being written. texts: original text by file and row. shortened: how many of them were cut so far."""

    done: Reconciliation
    found: Trace
    texts: Mapping[tuple[int, int], str]
    whole: bool
    shortened: int = 0
    states: dict[int, dict[str, Any]] = field(default_factory=dict)

    def text(self, shown: Cut) -> Iterator[str]:
        self.states = {row["state"]: row for row in self.found.states.to_dicts()}
        yield from self._head()
        for figures, heading in (
            (shown.stock, self._stock_head),
            (shown.cash, self._cash_head),
            (shown.payouts, self._payout_head),
        ):
            if figures is not None:
                folded = False
                for window in _windows(figures):
                    # Windows that agree, and are told in two lines, stand together.
                    yield from [] if folded and window.folded else [""]
                    folded = window.folded
                    told = list(heading(window.head))
                    yield from told[:2] if folded else told
                    yield from self._lines(window, units=figures is shown.stock)
        if shown.rows.height or shown.rows_hidden:
            yield ""
            yield from self._rows(shown)
        yield from self._foot(shown)

    def _head(self) -> Iterator[str]:
        target = self.found.target
        name = target.text if target.kind != "payout" else f"payout {target.text}"
        yield f"{name}  {self.done.name}, {self.done.currency}, times of {self._zone(target.machine)}"
        if target.finding is not None:
            told = target.finding
            yield f"{told['severity']}  {told['kind']}  [{told['id']}]"
            yield from _hung("  ", told["message"])
            yield from _hung("  > ", told["advice"])
            if told.get("state", "open") != "open":
                yield from _hung("  ", f"Decided: {told['state']}, by entry {told['decision']} of the ledger.")
            elif told.get("changed_since"):
                entry = f"entry {told['decision']} of the ledger"
                yield from _hung("  ", f"Decided by {entry}; its figures changed since.")
        if not any(figures.heads.height for figures in self.found.figures) and not self.found.rows.height:
            yield from _hung("", "Nothing stands behind it in the time shown.")

    def _stock_head(self, head: Mapping[str, Any]) -> Iterator[str]:
        named = f"{head['machine']} {head['label']}  {head['product'] or 'no product'}  {self._span(head)}"
        if head["kind"] == "early":
            yield f"{named}"
            yield "  before the first count nothing can be expected"
            return
        sums = f"opening {head['opening']} + loaded {head['loaded']} - removed {head['removed']}"
        sums += f" - vended {head['vended']} = {head['expected']}"
        yield named
        if head["kind"] == "open":
            yield from _hung("  ", f"{sums} expected now")
        else:
            yield from _hung("  ", f"{sums} expected; counted {head['counted']}: {_signed(head['variance'])}")
            low, high = head["variance_low"], head["variance_high"]
            if (low, high) != (head["variance"], head["variance"]):
                yield f"  at the least and most: {_signed(low)}, {_signed(high)}"
        if head["variance"]:
            worth = self._worth(head)
            if worth:
                yield f"  {worth}"
        if head["state"] is not None:
            yield from _hung("  layout: ", self._layout(self.states[head["state"]]))

    def _worth(self, head: Mapping[str, Any]) -> str:
        named = (("at retail", head["retail_value"]), ("at cost", head["cost_value"]))
        known = ((name, abs(value)) for name, value in named if value is not None)
        return ", ".join(f"{self._money(value, head['machine'])} {name}" for name, value in known)

    def _cash_head(self, head: Mapping[str, Any]) -> Iterator[str]:
        machine = head["machine"]
        yield f"{machine}  cash  {self._span(head)}"
        expected = self._money(head["expected"], machine)
        if head["kind"] != "closed":
            where = "since the last collection" if head["kind"] == "open" else "before the first collection there is"
            yield from _hung("  ", f"{expected} paid by cash {where}")
            return
        collected = f"collected {self._money(head['collected'], machine)}"
        tubes = head["tube_change"]
        collected += "" if tubes is None else f" + tubes {self._money(tubes, machine)}"
        if head["expected"] is None:
            yield from _hung("  ", f"{collected}; its log holds no cash vend at all, so nothing can be expected")
            return
        over = self._over(head["over_short"], machine)
        yield from _hung("  ", f"{collected} - expected {expected}: {over}")
        if (head["expected_low"], head["expected_high"]) != (head["expected"], head["expected"]):
            low, high = (self._money(head[name], machine) for name in ("expected_low", "expected_high"))
            yield f"  expected at the least and most: {low}, {high}"

    def _payout_head(self, head: Mapping[str, Any]) -> Iterator[str]:
        machine = head["machine"]
        named = f"payout {_clean(head['reference'] or 'without a reference')} of {head['paid_on']}"
        covers = "no days named" if head["from"] is None or head["to"] is None else f"{head['from']} to {head['to']}"
        yield from _hung("", f"{named}  {covers}  {machine or 'all machines'}")
        if head["net_expected"] is None:
            yield f"  net {self._money(head['net'], machine)}, which cannot be checked"
            return
        gross, fees, net, paid = (
            self._money(head[name], machine) for name in ("gross_expected", "fees_expected", "net_expected", "net")
        )
        over = self._over(head["over_short"], machine)
        sums = f"{_many(head['vends'], 'vend')} by card, gross {gross} - fees {fees} = {net} expected"
        yield from _hung("  ", f"{sums}; paid {paid}: {over}")
        stated = [
            f"{name} {self._money(head[name], machine)}" for name in ("gross", "fees") if head[name] is not None
        ]
        if stated:
            yield f"  the statement says {', '.join(stated)}"

    def _lines(self, window: "_Window", *, units: bool) -> Iterator[str]:
        said: tuple[int, int] | None = None
        last = -1
        for line in window.lines:
            if line["at"] > last + 1:
                yield f"  ... {_many(line['at'] - last - 1, 'line')} not shown"
            last = line["at"]
            closing = line["what"] in ("count", "collection") and line["time"] == window.head.get("closed_at")
            yield from self._line(line, units=units, closing=closing)
            place = None if line["file"] is None else (line["file"], line["row"])
            if place is not None:
                yield from self._source(place, again=place == said)
            said = place

    def _line(self, line: Mapping[str, Any], *, units: bool, closing: bool) -> Iterator[str]:
        machine = line["machine"]
        change, balance = line["change"], line["balance"]
        if units:
            moved = "" if change is None else f"{change:+d}"
            left = "" if balance is None else str(balance)
        else:
            moved = "" if change is None else self._money(change, machine, plus=True)
            left = "" if balance is None else self._money(balance, machine)
        moved, left = (moved, left) if line["in_figure"] or line["what"] == "layout" else ("", "out")
        lead = f"  {self._clock(line):<14} {line['what']:<10} {moved:>6} {left:>{6 if units else 8}}  "
        expected = left if closing and line["in_figure"] and balance is not None else ""
        yield from _hung(lead, self._details(line, units=units, expected=expected))

    def _details(self, line: Mapping[str, Any], *, units: bool, expected: str = "") -> str:
        """What there is to say of a line. expected: what a closing count or collection was to be."""
        parts = []
        machine, what = line["machine"], line["what"]
        if what == "layout" and line["state"] is not None:
            parts.append(self._layout(self.states[line["state"]]))
        elif what == "count" and line["figure"] is not None:
            parts.append(f"counted {line['figure']}")
        elif what == "collection" and line["figure"] is not None:
            tubes = "" if line["tubes"] is None else f", tubes {self._money(line['tubes'], machine)}"
            parts.append(f"collected {self._money(line['figure'], machine)}{tubes}")
        elif what == "payout" and line["figure"] is not None:
            parts.append(f"paid {self._money(line['figure'], machine)}")
        elif what == "fees":
            parts.append("percent and per vend, as in route.toml")
        elif what == "vend" and line["tender"] is not None:
            parts.append(self._vend(line, units=units))
        parts += [f"expected {expected}"] if expected else []
        if line["side"] is not None and line["in_figure"]:
            parts.append(_SIDES[line["side"]])
        if line["why"] is not None:
            parts.append(_clean(line["why"]))
        return "; ".join(parts)

    def _vend(self, line: Mapping[str, Any], *, units: bool) -> str:
        machine = line["machine"]
        where = "" if units else f"{self._where(line)} "
        text = f"{where}{line['tender']}"
        if line["priced"] in _HOW:
            low, high = self._money(line["least"], machine), self._money(line["most"], machine)
            text += f" {low}, {_HOW[line['priced']]}" if low == high else f" {low} to {high}, {_HOW[line['priced']]}"
            laid = self.states.get(line["state"]) if line["priced"] == "layout" and not units else None
            if laid is not None and laid["layout_file"] is not None:
                text += f" ({laid['layout_file']}:{laid['layout_line']})"
        return text + (f", {line['quantity']} units" if line["quantity"] > 1 else "")

    def _where(self, line: Mapping[str, Any]) -> str:
        """The slot of a vend, with its machine where the figure is of several."""
        slot = line["label"] or ("no number" if line["bus"] is None else f"number {line['bus']}")
        of_one = self.found.target.machine is not None or self.found.cash is not None
        return slot if of_one else f"{line['machine']} {slot}"

    def _layout(self, state: Mapping[str, Any]) -> str:
        machine, starts = state["machine"], self._local(state["starts"], state["machine"])
        parts = [state["product"] or "no product"] if state["in_use"] else ["out of use"]
        if state["price"] is not None:
            parts[0] += f" at {self._money(state['price'], machine)}"
        if state["card_price"] is not None:
            parts.append(f"card {self._money(state['card_price'], machine)}")
        parts += [] if state["bus"] is None else [f"number {state['bus']}"]
        parts += [] if state["capacity"] is None else [f"{state['capacity']} fit"]
        file = "" if state["layout_file"] is None else f" ({state['layout_file']}:{state['layout_line']})"
        return f"{', '.join(parts)}, since {starts:%Y-%m-%d %H:%M}{file}"

    def _source(self, place: tuple[int, int], *, again: bool) -> Iterator[str]:
        if again:
            yield "      the same row"
            return
        file, row = place
        text = _clean(self.texts.get(place, ""))
        lead = f"      {self.done.paths[file]}:{row}"
        if len(lead) + len(text) + 3 <= WIDTH or self.whole:
            yield f"{lead} | {text}"
            return
        # The text goes below its place where that leaves more of it to be seen.
        room = WIDTH - len("      | ")
        yield lead
        if len(text) > room:
            self.shortened += 1
            text = f"{text[: room - 3]}..."
        yield f"      | {text}"

    def _rows(self, shown: Cut) -> Iterator[str]:
        evidence = self.found.target.kind == "finding"
        yield "the rows behind it" if evidence else "in no figure"
        said: tuple[int, int] | None = None
        for line in shown.rows.to_dicts():
            machine = line["machine"]
            named = " ".join(str(part) for part in (machine, line["label"]) if part is not None)
            details = "; ".join(part for part in (named, self._details(line, units=True)) if part)
            yield from _hung(f"  {self._clock(line):<14} {line['what']:<10} ", details)
            place = (line["file"], line["row"])
            if line["row"] is None:
                yield f"      {self.done.paths[line['file']]}"
            else:
                yield from self._source(place, again=place == said)
            said = place
        if shown.rows_hidden:
            yield f"  ... {_many(shown.rows_hidden, 'row')} not shown"

    def _foot(self, shown: Cut) -> Iterator[str]:
        notes = []
        if self.found.more:
            notes.append(f"{_many(self.found.more, 'more row')} behind the finding, which keeps its first ones alone.")
        if self.found.untold:
            notes.append(
                f"{_many(self.found.untold, 'rejected row')} may belong here: what they say does not tell."
                " See rejects.csv of the report."
            )
        if shown.hidden:
            notes.append(f"{_many(shown.hidden, 'line')} not shown: --all prints every line.")
        if self.shortened:
            notes.append(f"{_many(self.shortened, 'original text')} cut at this width: --all prints them whole.")
        if self._differs(shown):
            notes.append(CAUTION)
        if notes:
            yield ""
        for note in notes:
            yield from _hung("", note)

    def _differs(self, shown: Cut) -> bool:
        pairs = ((shown.stock, "variance"), (shown.cash, "over_short"), (shown.payouts, "over_short"))
        return any(figures is not None and bool((figures.heads[name] != 0).any()) for figures, name in pairs)

    def _money(self, minor: int | None, machine: str | None, *, plus: bool = False) -> str:
        if minor is None:
            return "unknown"
        digits = self.done.digits if machine is None else self.done.digits_of.get(machine, self.done.digits)
        return f"{'+' if plus and minor >= 0 else ''}{to_text(minor, digits)}"

    def _over(self, minor: int | None, machine: str | None) -> str:
        if not minor:
            return "unknown" if minor is None else "agrees"
        return f"{'over' if minor > 0 else 'short'} {self._money(abs(minor), machine)}"

    def _zone(self, machine: str | None) -> str:
        return self.done.zone if machine is None else self.done.zones.get(machine, self.done.zone)

    def _local(self, moment: datetime, machine: str | None) -> datetime:
        return moment.astimezone(zone(self._zone(machine)))

    def _clock(self, line: Mapping[str, Any]) -> str:
        if line["time"] is None:
            return ""
        local = self._local(line["time"], line["machine"])
        return f"{local:%m-%d %H:%M}" if local.second == 0 else f"{local:%m-%d %H:%M:%S}"

    def _span(self, head: Mapping[str, Any]) -> str:
        ends = [
            None if head[name] is None else f"{self._local(head[name], head['machine']):%Y-%m-%d %H:%M}"
            for name in ("opened_at", "closed_at")
        ]
        if ends[0] is None:
            return "from the beginning" if ends[1] is None else f"up to {ends[1]}"
        return f"since {ends[0]}" if ends[1] is None else f"{ends[0]} to {ends[1]}"


@dataclass(frozen=True, slots=True)
class _Window:
    head: dict[str, Any]
    lines: Sequence[dict[str, Any]]
    hidden: int
    folded: bool


def _windows(figures: CutFigures) -> Iterator[_Window]:
    lines = figures.lines.partition_by("window", as_dict=True, maintain_order=True)
    for head in figures.heads.iter_rows(named=True):
        number = head["window"]
        own = lines.get((number,))
        rows = [] if own is None else own.to_dicts()
        yield _Window(head, rows, figures.hidden.get(number, 0), number in figures.folded)


def _signed(units: int) -> str:
    if units == 0:
        return "agrees"
    return f"{'short' if units < 0 else 'over'} {abs(units)}"


def _many(count: int, noun: str) -> str:
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def _clean(text: str | date) -> str:
    """Nothing of a file steers the terminal or breaks a line."""
    spelled = str(text).replace("\t", "\\t").replace("\n", "\\n")
    return "".join(mark if mark.isprintable() else "?" for mark in spelled)


def _hung(lead: str, text: str) -> list[str]:
    """Text behind a lead, wrapped below its own beginning."""
    room = max(WIDTH - len(lead), 20)
    lines = wrap(text, room, break_on_hyphens=False) or [""]
    return [f"{lead}{lines[0]}".rstrip(), *(f"{'':<{len(lead)}}{line}" for line in lines[1:])]
