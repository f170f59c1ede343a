"""A layout over time: which product, price and bus number each slot had from when to when."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from recon.match.numbering import numbers
from recon.model.layout import Change, Layout


class SlotState(NamedTuple):
    """One slot as it stood from `start` (inclusive) to `end` (exclusive; None: still), in the machine's local time.

    `path` leads to what set it: ("slot", 3) or ("change", 0), counted from 0 in the file.
    `in_use` is false for a slot without a product and after it was retired: no number is in force then.
    """

    machine: str
    label: str
    start: datetime
    end: datetime | None
    path: tuple[str, int]
    position: int
    in_use: bool
    bus: int | None
    tray: str | None
    pitch: int
    product: str | None
    price: Decimal | None
    card_price: Decimal | None
    capacity: int | None
    par: int | None


def tray_of(state: SlotState) -> str:
    """The tray's name; where none is written, the label's row: its letters, or its digits but the last."""
    if state.tray is not None:
        return state.tray
    letters = state.label.rstrip("0123456789")
    return letters or state.label[:-1]


def slot_states(layout: Layout) -> Iterator[SlotState]:
    """Every state of every slot, slot by slot in file order, each slot's states in time order.

    Changes count in the order of their times (file order among equal times). A change to a label that the layout does
    not have, or from before the layout, is passed over here; the layout checks report it.
    """
    by_label = changes_by_label(layout)
    for position, (slot, number) in enumerate(zip(layout.slots, numbers(layout), strict=True)):
        yield from states_of(first_state(layout, position, number), by_label.get(slot.label, ()))


def changes_by_label(layout: Layout) -> dict[str, list[tuple[int, Change]]]:
    """Return the changes that count, each with its place in the file, by the label that they name."""
    by_label: dict[str, list[tuple[int, Change]]] = {}
    for at, change in enumerate(layout.changes):
        if change.start >= layout.effective:
            by_label.setdefault(change.label, []).append((at, change))
    return by_label


def first_state(layout: Layout, position: int, number: int | None) -> SlotState:
    """How a slot stood before any change. number: what the layout's rule gives it."""
    slot = layout.slots[position]
    return SlotState(
        machine=layout.machine,
        label=slot.label,
        start=layout.effective,
        end=None,
        path=("slot", position),
        position=position,
        in_use=slot.product is not None,
        bus=number if slot.bus is None else slot.bus,
        tray=slot.tray,
        pitch=slot.pitch,
        product=slot.product,
        price=slot.price,
        card_price=slot.card_price,
        capacity=slot.capacity,
        par=slot.capacity if slot.par is None else slot.par,
    )


def states_of(state: SlotState, changes: Iterable[tuple[int, Change]]) -> Iterator[SlotState]:
    """Return the states of one slot in time order. state: how it stood at first; changes: those of its label."""
    for at, change in sorted(changes, key=lambda entry: entry[1].start):
        if change.start > state.start:
            yield state._replace(end=change.start)
        state = _changed(state, at, change)
    yield state


def _changed(state: SlotState, at: int, change: Change) -> SlotState:
    named = {
        name: value
        for name in ("bus", "tray", "pitch", "product", "price", "card_price", "capacity", "par")
        if (value := getattr(change, name)) is not None
    }
    if "capacity" in named and "par" not in named and state.par == state.capacity:
        named["par"] = named["capacity"]
    in_use = False if change.retire else (state.in_use or "product" in named)
    return state._replace(start=change.start, path=("change", at), in_use=in_use, **named)
