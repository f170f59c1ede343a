"""What to bring to one machine at its next visit."""


from typing import NamedTuple

from recon.model.frames import Frame
from recon.report.html.spelling import Spelling, how_many, units_text


class NextVisit(NamedTuple):
    """says: when, how many units. rows: label, product, units in it, expected then, chance that it is empty
    then, fill to, bring, advice."""

    says: str
    rows: tuple[tuple[str, ...], ...]


def next_visit(spell: Spelling, machine: str, visits: Frame, slots: Frame) -> NextVisit | None:
    """visits, slots: the rows of the machine in `plan_visits` and, of these SLOT_PLAN, in `plan_slots`. None where
    there is no visit to plan."""
    if visits.height == 0 or slots.height == 0:
        return None
    visit = visits.row(0, named=True)
    says = f"Next visit {spell.day(visit['next_visit'], machine)}, the one after {spell.day(visit['until'], machine)}"
    says += f": bring {how_many(visit['carry'], 'unit')}"
    says += f", and what {how_many(visit['uncounted'], 'slot')} never counted need." if visit["uncounted"] else "."
    return NextVisit(says, tuple([_row(*row) for row in slots.rows()]))


SLOT_PLAN = ("label", "name", "product", "units", "units_then", "empty_chance", "level", "carry", "advice")
"""What a slot's row shows of the frame `plan_slots`."""


def _row(
    label: str,
    name: str | None,
    product: str,
    units: int | None,
    then: float | None,
    empty: float | None,
    level: int | None,
    carry: int | None,
    advice: str | None,
) -> tuple[str, ...]:
    return (
        label,
        name or product,
        _known(units),
        "" if then is None else f"{then:.1f}",
        "" if empty is None else f"{100 * empty:.0f} %",
        _known(level),
        _known(carry),
        "" if advice in (None, "keep") else str(advice),
    )


def _known(units: int | None) -> str:
    return "" if units is None else units_text(units)
