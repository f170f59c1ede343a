"""What to bring to one machine at its next visit."""

from dataclasses import dataclass
from typing import Any

from recon.model.frames import Frame
from recon.report.html.spelling import Spelling, how_many


@dataclass(frozen=True, slots=True)
class NextVisit:
    """says: when, how many units. rows: label, product, units in it, expected then, chance that it is empty
    then, fill to, bring, advice."""

    says: str
    rows: tuple[tuple[str, ...], ...]


def next_visit(spell: Spelling, machine: str, visits: Frame, slots: Frame) -> NextVisit | None:
    """visits, slots: the machine's rows of `plan_visits` and `plan_slots`; None where there is no visit to plan."""
    if visits.height == 0 or slots.height == 0:
        return None
    visit = visits.row(0, named=True)
    says = f"Next visit {spell.day(visit['next_visit'], machine)}, the one after {spell.day(visit['until'], machine)}"
    says += f": bring {how_many(visit['carry'], 'unit')}"
    says += f", and what {how_many(visit['uncounted'], 'slot')} never counted need." if visit["uncounted"] else "."
    return NextVisit(says, tuple(_row(row) for row in slots.iter_rows(named=True)))


def _row(row: dict[str, Any]) -> tuple[str, ...]:
    return (
        row["label"],
        row["name"] or row["product"],
        _known(row["units"]),
        "" if row["units_then"] is None else f"{row['units_then']:.1f}",
        "" if row["empty_chance"] is None else f"{100 * row['empty_chance']:.0f} %",
        _known(row["level"]),
        _known(row["carry"]),
        "" if row["advice"] in (None, "keep") else str(row["advice"]),
    )


def _known(units: int | None) -> str:
    return "" if units is None else f"{units:,}".replace("-", "\u2212")
