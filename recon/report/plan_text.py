"""The load list for a person: machine by machine what to bring and what to look at, then the van's total."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import polars as pl

from recon.balance.plan import Plan
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report.asked_lines import TIED, many, percent, said, shown, table

CAUTION = (
    "Open a machine only in the way its maker calls safe, keep hands away from anything that turns, lift cases with "
    "the knees, and never tip or shake a machine."
)
_BASES = {
    "machine-product": "its product in this machine", "route-product": "its product on the route",
    "machine": "all slots of this machine",
}  # fmt: skip


def plan_text(done: Reconciliation, made: Plan) -> str:
    """The load list in plain text of at most 79 columns, ending in a line break."""
    lines = [*_head(done, made)]
    for visit in made.visits.iter_rows(named=True):
        own = made.slots.filter(pl.col("machine") == visit["machine"])
        lines += ["", *_machine(visit, own, made, zone(done.zones.get(visit["machine"], done.zone)))]
    lines += ["", *_van(made.van), "", *said("Care", CAUTION)]
    return "\n".join(lines) + "\n"


def _head(done: Reconciliation, made: Plan) -> Iterator[str]:
    wishes = made.wishes
    aims = {
        "par": "every slot filled to par",
        "demand": f"filled to last until the visit after with a chance of {percent(wishes.chance)}",
        "worth": "what has a shelf life filled to the level that earns most, all else to last with a chance of "
        + percent(wishes.chance),
    }
    yield f"Load list  {shown(done.name, 60)}"
    yield from said("Aim", f"{aims[wishes.fill]}. Demand is each slot's own, taken as Poisson, empty hours left out.")


def _when(moment: datetime | None, here: Any) -> str:
    return "-" if moment is None else f"{moment.astimezone(here):%Y-%m-%d %H:%M}"


def _machine(visit: dict[str, Any], own: Frame, made: Plan, here: Any) -> Iterator[str]:
    site = "" if visit["site"] is None else f"  {shown(visit['site'], 60 - len(visit['machine'][:20]))}"
    yield f"{visit['machine']}{site}"
    yield from said("Visit", _visits(visit, here))
    known = own["known_at"].drop_nulls()
    if own.height == 0:
        yield from said("Slots", "none in use")
        return
    if known.is_empty():
        yield from said("Known", "nothing of what is in it: no slot was ever counted")
    else:
        ago = (visit["next_visit"] - min(known)).total_seconds() / 86400
        yield from said("Known", f"what is in it up to {_when(min(known), here)}, {ago:.1f} days before that visit")
    yield from _slots(own)
    for name, text in _notes(own, visit, made, here):
        yield from said(name, text)


def _visits(visit: dict[str, Any], here: Any) -> str:
    gap = f"{visit['gap_days']:g} days"
    basis = {
        "machine": f"{gap}, the median of {many(visit['gaps'], 'gap')} between its counts and loads, rounded up",
        "route": f"{gap}, the median of the route: it was visited on one day only",
        "assumed": f"{gap}, assumed: no machine was visited on two days",
        "given": f"{gap}, as asked for",
    }[visit["gap_basis"]]
    return f"{_when(visit['next_visit'], here)}, and after it {_when(visit['until'], here)} ({basis})"


def _slots(own: Frame) -> Iterator[str]:
    rows = []
    for row in own.iter_rows(named=True):
        doubt = "?" if row["units"] is not None and _doubtful(row) else ""
        rows.append(
            (
                shown(row["label"], 8), shown(row["name"] or row["product"], 24),
                "-" if row["units"] is None else f"{row['units']}{doubt}",
                "-" if row["units_then"] is None else f"{row['units_then']:.1f}",
                "-" if row["empty_chance"] is None else percent(row["empty_chance"]),
                "-" if row["level"] is None else str(row["level"]),
                "-" if row["carry"] is None else str(row["carry"]),
                "-" if row["short_chance"] is None else percent(row["short_chance"]),
            )
        )  # fmt: skip
    yield from table(("slot", "product", "held", "then", "empty", "fill to", "bring", "short"), rows, (0, 1))
    uncounted = own["units"].null_count()
    need = "needs" if uncounted == 1 else "need"
    told = f", and what {many(uncounted, 'slot')} never counted {need}" if uncounted else ""
    yield f"Bring {many(int(own['carry'].sum()), 'unit')}{told}."


def _doubtful(row: dict[str, Any]) -> bool:
    return bool(row["units_low"] != row["units_high"] or row["units"] < 0)


def _notes(own: Frame, visit: dict[str, Any], made: Plan, here: Any) -> Iterator[tuple[str, str]]:
    wishes = made.wishes
    rows = list(own.iter_rows(named=True))
    risk = 1 - wishes.chance
    out = [
        f"{row['label']} ({percent(row['empty_chance'])}{_about(row['empty_at'], here)})"
        for row in rows if (row["empty_chance"] or 0) > risk
    ]  # fmt: skip
    short = [
        f"{row['label']} ({percent(row['short_chance'])}{_about(row['short_at'], here)})"
        for row in rows if (row["short_chance"] or 0) > risk
    ]  # fmt: skip
    yield from _listed("Empty", "may be empty at the visit: ", out)
    yield from _listed("Short", "may sell out before the visit after, though filled: ", short)
    yield from _listed("Doubt", "", [_doubt(row) for row in rows if row["units"] is not None and _doubtful(row)])
    strays = max((row["unmapped"] for row in rows), default=0)
    if strays:
        units = f"{many(strays, 'unit')} vended since the last count from numbers that no slot has"
        yield "Strays", f"{units}: some slots may hold less"
    bare = [row["label"] for row in rows if row["level"] is None]
    yield from _listed("Par", "neither par nor capacity in the layout, so nothing to fill up to: ", bare)
    swapped = [row["label"] for row in rows if row["swap"]]
    yield from _listed("Swap", "another product by then, take out what is left: ", swapped)
    yield from _listed("Stale", "", [_stale(row, wishes.long_days) for row in rows if _goes_stale(row)])
    yield from _listed("Rate", "", list(_borrowed(rows)))
    yield from _listed("Layout", "", [_advice(row, wishes.slow) for row in rows if row["advice"] != "keep"])


def _listed(name: str, before: str, found: list[str]) -> Iterator[tuple[str, str]]:
    if found:
        yield name, before + ("; " if not before else ", ").join(found)


def _about(moment: datetime | None, here: Any) -> str:
    return "" if moment is None else f", about {moment.astimezone(here):%m-%d}{TIED}{moment.astimezone(here):%H:%M}"


def _doubt(row: dict[str, Any]) -> str:
    if row["units"] < 0:
        return f"{row['label']} {row['units']} by the book: a load or a count is missing"
    return f"{row['label']} {row['units_low']} to {row['units_high']}: vends close to its count, or refunded"


def _goes_stale(row: dict[str, Any]) -> bool:
    return bool(row["outlasts"] or (row["stale_units"] or 0) >= 0.5)


def _stale(row: dict[str, Any], long_days: float) -> str:
    if row["stale_units"] is not None:
        return f"{row['label']} {row['stale_units']:.0f} unsold after its {row['shelf_days']} days"
    if row["lasts_days"] is None:
        return f"{row['label']} sold nothing: its stock outlasts any time"
    return f"{row['label']} lasts {row['lasts_days']:.0f} days, more than {long_days:g}"


def _borrowed(rows: list[dict[str, Any]]) -> Iterator[str]:
    for basis, words in _BASES.items():
        labels = [row["label"] for row in rows if row["basis"] == basis]
        if labels:
            yield f"{', '.join(labels)}: too little of its own, so by {words}"
    none = [row["label"] for row in rows if row["basis"] == "none"]
    if none:
        yield f"{', '.join(none)}: nobody's sales tell, so filled to par"


def _advice(row: dict[str, Any], slow: float) -> str:
    if row["advice"] == "widen":
        return (
            f"{row['label']} ran empty in {row['emptied']} of the {row['full']} windows that it opened at par: "
            "widen it or give it a second slot"
        )
    told = f"{row['label']} sells {row['per_visit']:.1f} from visit to visit, fewer than {slow:g}"
    if row["advice"] == "move":
        return f"{told}: move its product, which sells at {row['sells_at']}"
    return f"{told}: drop its product"


def _van(van: Frame) -> Iterator[str]:
    yield f"The van: {many(int(van['units'].sum()), 'unit')} of {many(van.height, 'product')}"
    rows = []
    for row in van.iter_rows(named=True):
        cases = "-" if row["cases"] is None else f"{row['cases']} x {row['case_size']}"
        left = "-" if row["leftover"] is None else str(row["leftover"])
        rows.append((shown(row["name"] or row["product"], 36), str(row["units"]), cases, left))
    if rows:
        yield from table(("product", "units", "cases", "left over"), rows)
