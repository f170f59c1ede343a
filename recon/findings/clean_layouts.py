"""Which layouts need no closer look: those in which no rule of recon.findings.layouts can find anything.

Most layouts are right, and the machines of a route share most of their slots: what a slot comes to is worked out once
for all layouts that have it. A layout of which this cannot be said at a glance is left to the rules; a test holds their
verdict against this one.
"""

from collections.abc import Container
from datetime import datetime
from decimal import Decimal

from recon.match.numbering import body_of, numbers
from recon.model.layout import Change, Layout, Slot
from recon.model.words import LARGEST_BUS
from recon.route.amounts import on_step


class Glance:
    """A look at layouts whose slots stay as they are meanwhile. products: the ids there are; None: any id will do."""

    def __init__(self, products: Container[str] | None) -> None:
        self._products = products
        self._fit: dict[tuple[object, ...], bool] = {}
        self._sound: dict[tuple[int, int | None, Decimal | None], bool] = {}

    def is_clean(self, layout: Layout) -> bool:
        """Tell whether no rule for one layout can find anything in it. False says nothing."""
        body = (layout.price_step, *body_of(layout))
        if body not in self._fit:
            self._fit[body] = self._fits(layout)
        if not self._fit[body]:
            return False
        if not layout.changes:
            return True
        last = dict.fromkeys((slot.label for slot in layout.slots), (layout.effective, 0))
        return all(self._in_order(change, last, layout.price_step) for change in layout.changes)

    def _fits(self, layout: Layout) -> bool:
        """Tell whether the slots are sound, and no two have the same label or number."""
        given, step, sound = numbers(layout), layout.price_step, self._sound
        for slot, number in zip(layout.slots, given, strict=True):
            key = (id(slot), number, step)
            if key not in sound:
                sound[key] = self._is_sound(slot, number, step)
            if not sound[key]:
                return False
        labels = {slot.label for slot in layout.slots}
        buses = {number if slot.bus is None else slot.bus for slot, number in zip(layout.slots, given, strict=True)}
        return len(layout.slots) == len(labels) == len(buses)

    def _is_sound(self, slot: Slot, given: int | None, step: Decimal | None) -> bool:
        """Tell whether a slot is in one tray of single width, with a number, a price and what else belongs to it."""
        number = given if slot.bus is None else slot.bus
        return (
            number is not None
            and 0 <= number <= LARGEST_BUS
            and given in (None, number)
            and slot.price is not None
            and slot.pitch == 1
            and (slot.par is None or slot.capacity is None or slot.par <= slot.capacity)
            and self._is_for_sale(slot, step)
        )

    def _is_for_sale(self, entry: Slot | Change, step: Decimal | None) -> bool:
        amounts = (entry.price, entry.card_price)
        return (step is None or all(amount is None or on_step(amount, step) for amount in amounts)) and (
            self._products is None or entry.product is None or entry.product in self._products
        )

    def _in_order(self, change: Change, last: dict[str, tuple[datetime, int]], step: Decimal | None) -> bool:
        """Tell whether a change is of a slot, comes after the last one, and leaves number, width and units as they are.

        last: when each slot was changed last, and 1 where that was by a change: a second one of that moment is out of
        order, while a first one may be of the moment at which the layout takes effect.
        """
        before = last.get(change.label)
        if before is None or (change.start, 0) < before:
            return False
        last[change.label] = (change.start, 1)
        as_before = change.bus is None and change.pitch in (None, 1) and change.capacity is None and change.par is None
        return as_before and self._is_for_sale(change, step)
