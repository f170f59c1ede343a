"""What a trace is asked about: a slot, a machine, a finding, a collection or a payout, told from its text.

    quay-2/110              a slot
    quay-2                  a machine
    b139d330ed7b            a finding; the first six or more of its digits will do
    quay-2@2026-09-14       a collection, by the day on which the money was taken, or with the clock: T07:30
    ST-20260830             a payout, by its reference
    payout@2026-09-20       a payout, by the day on which it was paid
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from difflib import get_close_matches
from typing import Any, Literal

import polars as pl

from recon.model.errors import ReconError
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.route.nearest import nearest

TargetKind = Literal["slot", "machine", "finding", "collection", "payout"]

_ID = re.compile(r"[0-9a-f]{6,12}")
_WHEN = re.compile(r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d)(?::\d\d)?)?")
_FORMS = (
    "Name a slot (quay-2/110), a machine (quay-2), a finding (its id), a collection (quay-2@2026-09-14)"
    " or a payout (its reference, or payout@2026-09-20)"
)


@dataclass(frozen=True, slots=True)
class Target:
    """text: as it was given. machine, label: of a slot, machine or collection. finding: its row, by column. at: the
    moments (UTC) of the collections. payouts: file and row of the payouts."""

    kind: TargetKind
    text: str
    machine: str | None = None
    label: str | None = None
    finding: dict[str, Any] | None = None
    at: tuple[datetime, ...] = ()
    payouts: tuple[tuple[int, int], ...] = ()


def target_of(text: str, done: Reconciliation) -> Target:
    """What the text names in this run; where it could name several things, the first of the order above that fits.

    Raises ReconError where it names nothing, with the nearest names that there are.
    """
    # What was typed is said again in errors: nothing of it may steer the terminal.
    asked = "".join(mark if mark.isprintable() else "?" for mark in text.strip())
    machines = _machines(done)
    checks = done.frames["payout_checks"]
    if asked in machines:
        return Target("machine", asked, asked)
    if asked and asked in set(checks["reference"].drop_nulls()):
        return _payouts(asked, checks.filter(pl.col("reference") == asked))
    for at in (at for at, mark in enumerate(asked) if mark == "/"):
        if asked[:at] in machines:
            return _slot(asked, asked[:at], asked[at + 1 :], done)
    name, _, when = asked.rpartition("@")
    if name and (found := _WHEN.fullmatch(when)):
        day = _day(found[1], asked)
        return _paid_on(asked, day, checks) if name == "payout" else _collection(asked, name, day, found[2], done)
    if _ID.fullmatch(asked.lower()):
        return _finding(asked, done)
    raise ReconError(f'"{asked}" is nothing that this run knows.{_nearest_of_all(asked, machines, checks)}')


def _machines(done: Reconciliation) -> set[str]:
    """Machines with a layout, and those that files name without one."""
    names = [done.frames[name]["machine"].unique() for name in ("machines", "priced", "counts", "loads", "cash")]
    return set(pl.concat([series.cast(pl.String) for series in names]).drop_nulls())


def _slot(text: str, machine: str, label: str, done: Reconciliation) -> Target:
    labels = done.frames["slots"].filter(pl.col("machine") == machine)["label"].to_list()
    if label in labels:
        return Target("slot", text, machine, label)
    known = {each.casefold(): each for each in labels}
    if label.casefold() in known:
        return Target("slot", text, machine, known[label.casefold()])
    if not labels:
        raise ReconError(f'machine "{machine}" has no layout, so no slot of it is known: recon trace ROUTE {machine}')
    there = _listed(_alike(label, labels), labels, "Its labels")
    raise ReconError(f'machine "{machine}" has no slot "{label}". {there}')


def _day(text: str, asked: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ReconError(f'"{asked}": {text} is no day of the calendar') from None


def _collection(text: str, machine: str, day: date, clock: str | None, done: Reconciliation) -> Target:
    if machine not in _machines(done):
        raise ReconError(f'there is no machine "{machine}".{_meant(machine, _machines(done))}')
    here = zone(done.zones.get(machine, done.zone))
    every = done.frames["cash"].filter(pl.col("machine") == machine)["time"].unique().sort().to_list()
    local = [(moment, moment.astimezone(here)) for moment in every]
    found = [
        moment for moment, own in local if own.date() == day and (clock is None or own.strftime("%H:%M") == clock)
    ]
    closing = set(done.frames["cash_windows"].filter(pl.col("machine") == machine)["closed_at"].to_list())
    told = [f"{own:%Y-%m-%d}" if clock is None else f"{own:%Y-%m-%dT%H:%M}" for moment, own in local]
    if not every:
        raise ReconError(f'there is no collection of machine "{machine}" in inbox/')
    wanted = day.isoformat() if clock is None else f"{day.isoformat()}T{clock}"
    if not found:
        there = _listed(_nearest_day(day, told), told, "Collections")
        raise ReconError(f'machine "{machine}" has no collection at {wanted}. {there}')
    at = tuple(moment for moment in found if moment in closing)
    if not at:
        first = found == every[: len(found)]
        why = "is its first in the books: it opens the account and closes none" if first else "is not in the time shown"
        others = _listed(None, told[1:], "Others")
        raise ReconError(f'the collection of machine "{machine}" at {wanted} {why}. {others}')
    return Target("collection", text, machine, at=at)


def _paid_on(text: str, day: date, checks: Frame) -> Target:
    found = checks.filter(pl.col("paid_on") == day)
    if found.height == 0:
        days = [paid.isoformat() for paid in checks["paid_on"].unique().sort().to_list()]
        raise ReconError(f"no payout of {day.isoformat()}. {_listed(_nearest_day(day, days), days, 'Days of payouts')}")
    return _payouts(text, found)


def _payouts(text: str, found: Frame) -> Target:
    return Target("payout", text, payouts=tuple(found.select("file", "row").iter_rows()))


def _finding(text: str, done: Reconciliation) -> Target:
    findings = done.frames["findings"]
    begun = findings.filter(pl.col("id").str.starts_with(text.lower()))
    if begun.height == 1:
        return Target("finding", text, finding=begun.row(0, named=True))
    if begun.height == 0:
        decided = _decided(text, done)
        if decided is not None:
            raise ReconError(decided)
        near = get_close_matches(text.lower(), findings["id"].to_list(), n=1)
        meant = f' Did you mean "{near[0]}"?' if near else ""
        raise ReconError(
            f"no finding of this run has an id that begins with {text}.{meant} A finding goes when its figures agree;"
            " the ids stand in brackets behind the findings of: recon run --all"
        )
    ids = ", ".join(begun["id"].head(5).to_list())
    raise ReconError(f"{begun.height} findings have an id that begins with {text}: {ids}. Give more of its digits")


def _decided(text: str, done: Reconciliation) -> str | None:
    """What to say of a finding that was decided about and occurs no more, such as one that a correction ended."""
    decisions = done.frames.get("decisions")
    if decisions is None:
        return None
    own = decisions.filter(pl.col("finding").str.starts_with(text.lower())).sort("entry")
    if own.height == 0:
        return None
    last = own.row(-1, named=True)
    slot = "/".join(part for part in (last["machine"], last["label"]) if part is not None)
    after = f" Its slot or machine: recon trace ROUTE {slot}" if slot else ""
    return (
        f"the finding {last['finding']} ({last['kind']}) does not occur in the time shown. Entry {last['entry']} of the"
        f" ledger decided about it: {last['state']}.{after}"
    )


def _nearest_of_all(asked: str, machines: set[str], checks: Frame) -> str:
    name = asked.partition("/")[0].rpartition("@")[0] or asked.partition("/")[0]
    return f"{_meant(name, {*machines, *checks['reference'].drop_nulls().to_list()})} {_FORMS}"


def _meant(name: str, known: Iterable[str]) -> str:
    near = nearest(name, sorted(known))
    return f' Did you mean "{near}"?' if near else ""


def _alike(asked: str, known: list[str]) -> str | None:
    """The label nearest to one: by number where both are digits."""
    numbers = [label for label in known if label.isascii() and label.isdigit()]
    if numbers and asked.isascii() and asked.isdigit():
        return min(numbers, key=lambda label: abs(int(label) - int(asked)))
    near = get_close_matches(asked, known, n=1, cutoff=0.5)
    return near[0] if near else None


def _nearest_day(day: date, known: list[str]) -> str | None:
    """Of days, with or without a clock, the nearest one; of two as near the earlier."""
    return min(known, key=lambda text: abs(date.fromisoformat(text[:10]) - day), default=None)


def _listed(near: str | None, known: list[str], noun: str) -> str:
    """The nearest name, if any, and the names themselves as far as they are few."""
    distinct = list(dict.fromkeys(known))
    shown = ", ".join(distinct[:12]) + (f" and {len(distinct) - 12} more" if len(distinct) > 12 else "")
    listed = f"{noun}: {shown}" if distinct else "There are none"
    return f'Did you mean "{near}"? {listed}' if near else listed
