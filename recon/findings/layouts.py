"""What can be wrong with layouts: every rule looks at a layout over time, not only at how it began."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path

from recon.findings.across import across_problems
from recon.findings.clean_layouts import Glance
from recon.match.numbering import numbers, rule_words
from recon.match.timeline import SlotState, slot_states, tray_of
from recon.model.layout import Change, Layout, Slot
from recon.model.problem import Place, Problem
from recon.model.words import LARGEST_BUS
from recon.route.amounts import on_step
from recon.route.folder import Parts, by_place, read_lone_layout, read_parts
from recon.route.layouts import LayoutFile
from recon.route.nearest import nearest


def check(root: Path | str) -> list[Problem]:
    """Everything wrong with a route folder, without running it, by file, line, column and kind.

    root: a route folder, or a layout file outside any. Raises ReconError where it is neither.
    """
    path = Path(root)
    parts = read_lone_layout(path) if path.is_file() else read_parts(path)
    return sorted([*parts.problems, *layout_problems(parts)], key=by_place)


def layout_problems(route: Parts) -> list[Problem]:
    """What is wrong with the layouts of a route that could be read, by file, line, column and kind."""
    products = route.products if route.has_products else None
    found: list[Problem] = []
    glance = Glance(products)
    for layout_file in route.layouts:
        if not glance.is_clean(layout_file.layout):
            found += _layout_problems(_Checked(layout_file), products)
    currency = None if route.settings is None else route.settings.currency
    found += across_problems(route.layouts, currency)
    return sorted(found, key=by_place)


@dataclass(frozen=True)
class _Checked:
    """A layout with what several rules need of it."""

    written: LayoutFile

    @cached_property
    def layout(self) -> Layout:
        return self.written.layout

    @cached_property
    def first(self) -> dict[str, int]:
        """Each label to the position of its first slot."""
        positions: dict[str, int] = {}
        for at, slot in enumerate(self.layout.slots):
            positions.setdefault(slot.label, at)
        return positions

    @cached_property
    def by_rule(self) -> list[int | None]:
        return numbers(self.layout)

    @cached_property
    def states(self) -> list[SlotState]:
        """The states of every slot; a second slot of the same label is left out, it has its own problem."""
        return [state for state in slot_states(self.layout) if self.first[state.label] == state.position]

    def entries(self) -> Iterator[tuple[tuple[str, int], Slot | Change]]:
        """Every [[slot]] and [[change]] with its path."""
        for at, slot in enumerate(self.layout.slots):
            yield ("slot", at), slot
        for at, change in enumerate(self.layout.changes):
            yield ("change", at), change

    def problem(
        self,
        kind: str,
        path: tuple[str | int, ...],
        label: str,
        facts: Mapping[str, str],
        bus: int | None = None,
    ) -> Problem:
        return Problem(
            kind, self.written.place(path), facts, machine=self.layout.machine, label=label, bus=bus
        )


def _layout_problems(checked: _Checked, products: Mapping[str, object] | None) -> Iterator[Problem]:
    yield from _labels(checked)
    yield from _changes(checked)
    yield from _numbers(checked)
    yield from _shared_numbers(checked)
    if any(entry.pitch == 2 for _, entry in checked.entries()):
        between = list(_between(checked))
        yield from between
        yield from _coupled(checked, {(problem.label, problem.bus) for problem in between})
    yield from _gaps(checked)
    yield from _prices(checked)
    yield from _par(checked)
    if products is not None:
        yield from _products(checked, products)


def _labels(checked: _Checked) -> Iterator[Problem]:
    for at, slot in enumerate(checked.layout.slots):
        other = checked.first[slot.label]
        if other != at:
            facts = {
                "found": f"label {slot.label}",
                "expected": "one slot for a label",
                "other": _line(checked.written.place(("slot", other, "label"))),
            }
            yield checked.problem("duplicate-label", ("slot", at, "label"), slot.label, facts)


def _changes(checked: _Checked) -> Iterator[Problem]:
    last: dict[str, int] = {}
    layout = checked.layout
    for at, change in enumerate(layout.changes):
        label = change.label
        if label not in checked.first:
            near = nearest(label, checked.first)
            facts = {"found": label, "expected": near or "one of the labels of its slots"}
            yield checked.problem("change-unknown-label", ("change", at, "label"), label, facts)
            continue
        before = last.get(label)
        expected = None
        if change.start < layout.effective:
            expected = f"{_moment(layout.effective)} or later, when the layout takes effect"
        elif before is not None and change.start <= layout.changes[before].start:
            line = _line(checked.written.place(("change", before)))
            expected = f"later than {_moment(layout.changes[before].start)}, the change before it in {line}"
        if expected is not None:
            facts = {"found": _moment(change.start), "expected": expected}
            yield checked.problem("change-out-of-order", ("change", at, "from"), label, facts)
        last[label] = at


def _numbers(checked: _Checked) -> Iterator[Problem]:
    rule = "" if checked.layout.numbering is None else rule_words(checked.layout.numbering)
    for path, entry in checked.entries():
        position = checked.first.get(entry.label)
        if entry.bus is None or position is None:
            continue
        given = checked.by_rule[path[1] if path[0] == "slot" else position]
        if not 0 <= entry.bus <= LARGEST_BUS:
            facts = {"found": str(entry.bus), "origin": "as written", "expected": f"0 to {LARGEST_BUS}"}
            yield checked.problem("number-out-of-range", (*path, "bus"), entry.label, facts, entry.bus)
        elif given is not None and given != entry.bus:
            facts = {"found": str(entry.bus), "rule": rule, "expected": str(given)}
            yield checked.problem("rule-disagrees", (*path, "bus"), entry.label, facts, entry.bus)
    by_rule = {s.position for s in checked.states if s.in_use and s.bus == checked.by_rule[s.position]}
    for position in sorted(by_rule):
        slot, given = checked.layout.slots[position], checked.by_rule[position]
        if slot.bus is None and given is not None and not 0 <= given <= LARGEST_BUS:
            facts = {"found": str(given), "origin": f"by the rule {rule}", "expected": f"0 to {LARGEST_BUS}"}
            yield checked.problem(
                "number-out-of-range", ("slot", position, "label"), slot.label, facts, given
            )


def _runs(states: Iterable[SlotState], key: Callable[[SlotState], object]) -> list[list[SlotState]]:
    """States of a slot that follow one another in use with the same key, put together."""
    runs: list[list[SlotState]] = []
    for state in states:
        if not state.in_use or state.bus is None:
            continue
        last = runs[-1][-1] if runs else None
        if (
            last is not None
            and last.position == state.position
            and last.end == state.start
            and key(last) == key(state)
        ):
            runs[-1].append(state)
        else:
            runs.append([state])
    return runs


def _shared_numbers(checked: _Checked) -> Iterator[Problem]:
    by_bus: dict[int, list[list[SlotState]]] = {}
    for run in _runs(checked.states, lambda state: state.bus):
        by_bus.setdefault(run[0].bus or 0, []).append(run)
    for bus, runs in by_bus.items():
        runs.sort(key=lambda run: (run[0].start, run[0].position))
        for at, run in enumerate(runs):
            start = run[0].start
            for other in runs[:at]:
                end = other[-1].end
                if other[0].position != run[0].position and (end is None or end > start):
                    yield _shared(checked, bus, run[0], other[0])
                    break


def _shared(checked: _Checked, bus: int, state: SlotState, other: SlotState) -> Problem:
    facts = {
        "found": str(bus),
        "expected": "a number of its own",
        "since": _moment(state.start),
        "other": other.label,
        "where": _line(checked.written.place(_number_path(checked, other))),
    }
    return checked.problem("duplicate-number", _number_path(checked, state), state.label, facts, bus)


def _number_path(checked: _Checked, state: SlotState) -> tuple[str | int, ...]:
    """Where a state has its number from: the change or slot naming it, else the label that the rule reads."""
    name, at = state.path
    if name == "change":
        return ("change", at, "bus") if checked.layout.changes[at].bus is not None else ("change", at)
    return ("slot", at, "label" if checked.layout.slots[at].bus is None else "bus")


def _between(checked: _Checked) -> Iterator[Problem]:
    """Judged at each moment at which a number, tray or pitch changes, each number told once."""
    runs = _runs(checked.states, lambda state: (state.bus, state.tray, state.pitch))
    told: set[tuple[int, int | None]] = set()
    for moment in sorted({run[0].start for run in runs}):
        trays: dict[str, list[SlotState]] = {}
        for run in runs:
            if run[0].start <= moment and (run[-1].end is None or run[-1].end > moment):
                trays.setdefault(tray_of(run[0]), []).append(run[0])
        for tray, states in trays.items():
            if all(state.pitch == 2 for state in states):
                for state, facts in _strays(states):
                    if (state.position, state.bus) not in told:
                        told.add((state.position, state.bus))
                        path = _number_path(checked, state)
                        more = facts | {"tray": tray}
                        yield checked.problem("between-numbers", path, state.label, more, state.bus)


def _strays(states: list[SlotState]) -> Iterator[tuple[SlotState, dict[str, str]]]:
    """The slots of a double-width tray whose number is odd where most are even, or the other way round."""
    odd = [(state.bus or 0) % 2 == 1 for state in states]
    # Where both are as many, the first slot of the tray says which is meant.
    usual = odd[0] if 2 * sum(odd) == len(odd) else 2 * sum(odd) > len(odd)
    names = {True: "odd", False: "even"}
    agree = odd.count(usual)
    for state, is_odd in zip(states, odd, strict=True):
        if is_odd != usual:
            facts = {"found": str(state.bus), "parity": names[is_odd], "expected": names[usual]}
            yield state, facts | {"agree": str(agree), "all": str(len(odd))}


def _coupled(checked: _Checked, told: set[tuple[str | None, int | None]]) -> Iterator[Problem]:
    """Slots that have the number of the second motor of a double-width slot beside them, while both are in use.

    told: labels and numbers that between-numbers has told; a pair with one of them is left to it. Where trays are
    as wide throughout, that is every such pair, so this speaks of mixed trays.
    """
    runs = _runs(checked.states, lambda state: (state.bus, state.tray, state.pitch))
    wide = {(tray_of(run[0]), (run[0].bus or 0) + 1): run for run in runs if run[0].pitch == 2}
    pairs: set[tuple[int, int]] = set()
    for run in runs:
        state, other = run[0], wide.get((tray_of(run[0]), run[0].bus or 0))
        if other is None or {(s.label, s.bus) for s in (state, other[0])} & told:
            continue
        pair = (state.position, other[0].position)
        if pair in pairs or not _overlap(run, other):
            continue
        pairs.add(pair)
        facts = {
            "found": str(state.bus),
            "expected": "a number that no slot takes as its second",
            "other": other[0].label,
            "number": str(other[0].bus),
            "tray": tray_of(state),
        }
        yield checked.problem("coupled-slots", _number_path(checked, state), state.label, facts, state.bus)


def _overlap(run: list[SlotState], other: list[SlotState]) -> bool:
    """Whether there is a moment at which both stand."""
    ends = [(one[-1].end, two[0].start) for one, two in ((run, other), (other, run))]
    return all(end is None or end > start for end, start in ends)


def _gaps(checked: _Checked) -> Iterator[Problem]:
    """Slots in use without a number or without a price, told where that begins."""
    rule = checked.layout.numbering
    reason = (
        "no numbering rule is named"
        if rule is None
        else f"the rule {rule_words(rule)} does not fit the label"
    )
    for at, state in enumerate(checked.states):
        if not state.in_use or (state.bus is not None and state.price is not None):
            continue
        before = checked.states[at - 1] if at else None
        follows = before is not None and before.position == state.position and before.in_use
        facts = {"found": "nothing", "since": _moment(state.start)}
        if state.bus is None and not (follows and before and before.bus is None):
            more = {"reason": reason, "expected": "a bus number"}
            yield checked.problem("missing-number", state.path, state.label, facts | more)
        if state.price is None and not (follows and before and before.price is None):
            more = {"expected": "a price"}
            yield checked.problem("missing-price", state.path, state.label, facts | more, state.bus)


def _prices(checked: _Checked) -> Iterator[Problem]:
    step = checked.layout.price_step
    if step is None:
        return
    for path, entry in checked.entries():
        for key, amount in (("price", entry.price), ("card_price", entry.card_price)):
            if amount is not None and not on_step(amount, step):
                facts = {"key": key, "found": str(amount), "expected": str(step)}
                yield checked.problem("price-off-step", (*path, key), entry.label, facts)


def _par(checked: _Checked) -> Iterator[Problem]:
    for state in checked.states:
        if state.par is None or state.capacity is None or state.par <= state.capacity:
            continue
        name, at = state.path
        entry = checked.layout.slots[at] if name == "slot" else checked.layout.changes[at]
        key = "par" if entry.par is not None else "capacity" if entry.capacity is not None else None
        if key is not None:
            facts = {"found": str(state.par), "expected": str(state.capacity)}
            yield checked.problem("par-over-capacity", (*state.path, key), state.label, facts, state.bus)


def _products(checked: _Checked, products: Mapping[str, object]) -> Iterator[Problem]:
    for path, entry in checked.entries():
        if entry.product is not None and entry.product not in products:
            expected = nearest(entry.product, products) or "one of the ids there"
            facts = {"found": entry.product, "expected": expected}
            yield checked.problem("unknown-product", (*path, "product"), entry.label, facts)


def _moment(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M}" if moment.second == 0 else f"{moment:%Y-%m-%d %H:%M:%S}"


def _line(place: Place) -> str:
    return f"line {place.line}"
