"""Where learned numbers go in a layout that stands: into slots, into changes, into new changes, or nowhere."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from recon.model.layout import Layout, Numbering, Slot

ByRule = Callable[[Layout], Sequence[int | None]]
"""What a layout's numbering rule gives each of its slots, in file order."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be written.

    rule: the rule that the file is to name, None for none. slots, pitches: position to number, to pitch. changes: place
    in the file to number, for changes that named another. dated: labels and numbers of new changes, from `since` on.
    added: labels and numbers of new slots.
    """

    rule: Numbering | None
    slots: Mapping[int, int]
    changes: Mapping[int, int]
    dated: tuple[tuple[str, int], ...]
    added: tuple[tuple[str, int | None], ...]
    pitches: Mapping[int, int]
    since: datetime | None

    def holds_in(self, layout: Layout) -> bool:
        """Whether the layout names every number of the plan for its label, and no other rule."""
        named = {(slot.label, slot.bus) for slot in layout.slots}
        named |= {(change.label, change.bus) for change in layout.changes}
        labels = [slot.label for slot in layout.slots]
        every = [(labels[at], bus) for at, bus in self.slots.items()]
        every += [(layout.changes[at].label, bus) for at, bus in self.changes.items()] if not self.dated else []
        return {*every, *self.dated, *self.added} <= named and layout.numbering == self.rule


@dataclass(frozen=True)
class _Asked:
    """The layout as it stands with the slots to be added, and what the rule before and after gives each slot."""

    layout: Layout
    numbers: Mapping[str, int]
    since: datetime | None
    before: Sequence[int | None]
    after: Sequence[int | None]


def plan_numbers(
    layout: Layout,
    numbers: Mapping[str, int],
    rule: Numbering | None,
    *,
    since: datetime | None,
    pitches: Mapping[str, int],
    by_rule: ByRule,
    names_rule: bool,
) -> Plan:
    """Decide what changes. Arguments as for write_numbers; names_rule: whether the file can name a rule at all.

    A rule stays or comes in only where it contradicts no number of the file. Otherwise none is named, and every slot
    that had its number from a rule gets it written.
    """
    labels = {slot.label for slot in layout.slots}
    added = tuple(Slot(label=label, pitch=pitches.get(label, 1)) for label in numbers if label not in labels)
    asks = [pitches.get(slot.label, slot.pitch) for slot in layout.slots]
    wide = {at: pitch for at, (slot, pitch) in enumerate(zip(layout.slots, asks, strict=True)) if pitch != slot.pitch}
    whole = layout.model_copy(update={"slots": (*(_pitched(layout, wide)), *added)})
    wanted = layout.numbering if rule is None else rule
    before = by_rule(layout.model_copy(update={"slots": (*layout.slots, *added)}))
    asked = _Asked(whole, numbers, since, before, by_rule(whole.model_copy(update={"numbering": wanted})))
    plan = Plan(wanted, {}, {}, (), (), wide, since)
    if names_rule and not _moved(asked, layout.numbering, wanted):
        kept = _edits(asked, plan, asked.after)
        if not _contradicts(asked, kept):
            return _split(kept, asked, len(layout.slots))
    return _split(_written_out(asked, plan, rule), asked, len(layout.slots))


def _pitched(layout: Layout, wide: Mapping[int, int]) -> list[Slot]:
    return [slot.model_copy(update={"pitch": wide.get(at, slot.pitch)}) for at, slot in enumerate(layout.slots)]


def _moved(asked: _Asked, old: Numbering | None, new: Numbering | None) -> bool:
    """Whether another rule would change, for all time, numbers that only change from `since` on."""
    if asked.since is None or old is None or old == new:
        return False
    return any(
        slot.bus is None and before is not None and before != after
        for slot, before, after in zip(asked.layout.slots, asked.before, asked.after, strict=True)
    )


def _edits(asked: _Asked, plan: Plan, given: Sequence[int | None]) -> Plan:
    """What has to be written where the file's rule gives `given` (all None: no rule)."""
    slots: dict[int, int] = {}
    changes: dict[int, int] = {}
    dated: list[tuple[str, int]] = []
    places = {slot.label: at for at, slot in reversed(list(enumerate(asked.layout.slots)))}
    for label, bus in asked.numbers.items():
        at = places[label]
        own = [
            (change.start, place)
            for place, change in enumerate(asked.layout.changes)
            if change.label == label and change.start >= asked.layout.effective
        ]
        naming = [(start, place) for start, place in own if asked.layout.changes[place].bus is not None]
        if asked.since is not None:
            naming = [each for each in naming if each[0] <= asked.since]
        written = asked.layout.changes[max(naming)[1]].bus if naming else asked.layout.slots[at].bus
        in_force = asked.before[at] if written is None else written
        same_moment = next((place for start, place in own if start == asked.since), None)
        if written == bus or (written is None and given[at] == bus):
            continue
        if asked.since is None and naming:
            changes[max(naming)[1]] = bus
        elif asked.since is None or in_force is None or asked.since <= asked.layout.effective:
            slots[at] = bus
        elif in_force == bus:
            # It is so already, by a rule that the file will not name any more.
            slots[at] = bus
        elif same_moment is not None:
            changes[same_moment] = bus
        else:
            dated.append((label, bus))
    return replace(plan, slots=slots, changes=changes, dated=tuple(dated))


def _contradicts(asked: _Asked, plan: Plan) -> bool:
    """Whether the rule gives another number than one that will be written."""
    given = {slot.label: number for slot, number in zip(asked.layout.slots, asked.after, strict=True)}
    written = [(slot.label, plan.slots.get(at, slot.bus)) for at, slot in enumerate(asked.layout.slots)]
    written += [
        (change.label, plan.changes.get(place, change.bus)) for place, change in enumerate(asked.layout.changes)
    ]
    written += plan.dated
    return any(bus is not None and given.get(label) is not None and given[label] != bus for label, bus in written)


def _written_out(asked: _Asked, plan: Plan, rule: Numbering | None) -> Plan:
    """The same without a rule: every number is written, that of the rule before where it was in force."""
    learned = dict(asked.numbers)
    changed = {change.label for change in asked.layout.changes if change.bus is not None}
    if rule is not None:
        for slot, number in zip(asked.layout.slots, asked.after, strict=True):
            if slot.bus is None and slot.label not in changed and number is not None:
                learned.setdefault(slot.label, number)
    bare = _edits(replace(asked, numbers=learned), plan, [None] * len(asked.before))
    slots = dict(bare.slots)
    for at, (slot, number) in enumerate(zip(asked.layout.slots, asked.before, strict=True)):
        if slot.bus is None and number is not None:
            slots.setdefault(at, number)
    return replace(bare, slots=slots, rule=None)


def _split(plan: Plan, asked: _Asked, stands: int) -> Plan:
    """Tell the numbers of the `stands` slots that stand from those of the slots to be added."""
    added = tuple((slot.label, plan.slots.get(stands + at)) for at, slot in enumerate(asked.layout.slots[stands:]))
    return replace(plan, slots={at: bus for at, bus in plan.slots.items() if at < stands}, added=added)
