"""Stock windows and running balances against an oracle that walks the events of a slot one by one in plain
Python.

The oracle is the contract's wording made code: units are counted, put in, taken out and sold in time order;
at one moment a count comes first (or last, under after-load), then removals, loads and vends.
"""

from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from stage_frames import COUNT_FILE, LOAD_FILE, at, frame, one_machine, priced

from recon.balance.running import breaches
from recon.balance.stock import Stock, stock_windows
from recon.model import frames

NEAR = 10
CAPACITY = 12


@dataclass(frozen=True)
class Event:
    minute: int
    slot: int
    units: int = 0
    removed: int = 0
    refunded: bool = False


@dataclass(frozen=True)
class Count:
    minute: int
    slot: int
    counted: int | None
    loaded: int
    removed: int


@dataclass(frozen=True)
class Day:
    counts: list[Count]
    loads: list[Event]
    vends: list[Event]
    count_first: bool


SLOTS = st.integers(0, 1)
UNITS = st.integers(1, 5)


@st.composite
def days(draw: st.DrawFn) -> Day:
    """Visits four minutes apart or eleven: of the first, several are within the boundary minutes of one vend."""
    apart = draw(st.sampled_from([4, NEAR + 1]))
    visits = sorted(draw(st.sets(st.integers(0, 12), min_size=1, max_size=4)))
    counts = [
        Count(
            visit * apart,
            slot,
            draw(st.none() | st.integers(0, 9)),
            draw(st.integers(0, 6)),
            draw(st.integers(0, 2)),
        )
        for visit in visits
        for slot in draw(st.sets(SLOTS, min_size=1))
    ]
    minutes = st.integers(0, 13 * apart) | st.sampled_from([count.minute for count in counts])
    loads = st.builds(Event, minutes, SLOTS, st.integers(0, 6), st.integers(0, 2))
    vends = st.builds(Event, minutes, SLOTS, UNITS, refunded=st.booleans())
    return Day(
        counts, draw(st.lists(loads, max_size=4)), draw(st.lists(vends, max_size=12)), draw(st.booleans())
    )


def balanced(day: Day) -> Stock:
    """The day through the engine's own stage."""
    slot = {"slot": pl.Int32()}
    counts = frame(
        frames.COUNTS,
        [
            {
                "file": COUNT_FILE,
                "row": row,
                "machine": "m-1",
                "zone": "UTC",
                "time": at(count.minute),
                "slot": count.slot,
                "counted": count.counted,
                "loaded": count.loaded,
                "removed": count.removed,
            }
            for row, count in enumerate(day.counts, start=2)
        ],
        **slot,
    )
    loads = frame(
        frames.LOADS,
        [
            {
                "file": LOAD_FILE,
                "row": row,
                "machine": "m-1",
                "zone": "UTC",
                "time": at(load.minute),
                "slot": load.slot,
                "loaded": load.units,
                "removed": load.removed,
            }
            for row, load in enumerate(day.loads, start=2)
        ],
        **slot,
    )
    vends = priced(
        {
            "minute": vend.minute,
            "slot": vend.slot,
            "quantity": vend.units,
            "outcome": "refunded" if vend.refunded else "vended",
        }
        for vend in day.vends
    )
    layouts = one_machine(2, capacity=CAPACITY)
    return stock_windows(
        counts, loads, vends, layouts, near=timedelta(minutes=NEAR), count_first=day.count_first
    )


def oracle(day: Day, slot: int) -> list[tuple[int, ...]]:
    """Each window as opened, closed, opening, loaded, removed, vended, expected, counted, low, high."""
    counts = [count for count in day.counts if count.slot == slot]
    loads = [(load.minute, load.units, load.removed) for load in day.loads if load.slot == slot]
    loads += [(count.minute, count.loaded, count.removed) for count in counts]
    vends = [vend for vend in day.vends if vend.slot == slot]
    marks = sorted((count.minute, count.counted) for count in counts if count.counted is not None)
    windows = []
    for (opened, before), (closed, counted) in pairwise(marks):
        if day.count_first:
            opening = before + sum(put - out for minute, put, out in loads if minute == opened)
            inside = [load for load in loads if opened < load[0] < closed]
        else:
            opening = before
            inside = [load for load in loads if opened < load[0] <= closed]
        sold = [vend for vend in vends if opened <= vend.minute < closed]
        doubtful = [
            vend
            for vend in sold
            if vend.refunded or vend.minute - opened <= NEAR or closed - vend.minute <= NEAR
        ]
        outside = [
            vend
            for vend in vends
            if closed <= vend.minute <= closed + NEAR or opened - NEAR <= vend.minute < opened
        ]
        loaded, removed = sum(load[1] for load in inside), sum(load[2] for load in inside)
        vended = sum(vend.units for vend in sold)
        expected = opening + loaded - removed - vended
        variance = counted - expected
        low, high = (
            variance - sum(vend.units for vend in doubtful),
            variance + sum(vend.units for vend in outside),
        )
        windows.append((opened, closed, opening, loaded, removed, vended, expected, counted, low, high))
    return windows


def minute_of(column: str) -> pl.Expr:
    return (pl.col(column) - at(0)).dt.total_minutes().alias(column)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(day=days())
def test_windows_are_those_of_walking_the_events(day: Day) -> None:
    windows = balanced(day).windows
    assert (
        windows.select((pl.col("counted") - pl.col("expected") - pl.col("variance")).abs().sum()).item() == 0
    )
    for slot in (0, 1):
        found = windows.filter(pl.col("slot") == slot).select(
            minute_of("opened_at"),
            minute_of("closed_at"),
            "opening",
            "loaded",
            "removed",
            "vended",
            "expected",
            "counted",
            "variance_low",
            "variance_high",
        )
        assert found.rows() == oracle(day, slot)


def running(day: Day, slot: int) -> set[tuple[int, str, int]]:
    """Windows by opening minute that pass below nothing (with the lowest balance) or above capacity (with the
    first such)."""
    counts = [count for count in day.counts if count.slot == slot]
    marks = sorted((count.minute, count.counted) for count in counts if count.counted is not None)
    loads = [(load.minute, load.units, load.removed) for load in day.loads if load.slot == slot]
    loads += [(count.minute, count.loaded, count.removed) for count in counts]
    told = set()
    for (opened, counted), closed in zip(marks, [*(minute for minute, _ in marks[1:]), None], strict=False):

        def within(minute: int, *, with_end: bool, opened: int = opened, closed: int | None = closed) -> bool:
            return minute > opened and (closed is None or minute < closed or (with_end and minute == closed))

        balance = sure = counted
        if day.count_first:
            balance = sure = counted + sum(put - out for minute, put, out in loads if minute == opened)
        steps = [
            (minute, 0, -out, False)
            for minute, _, out in loads
            if within(minute, with_end=not day.count_first)
        ]
        steps += [
            (minute, 1, put, False)
            for minute, put, _ in loads
            if within(minute, with_end=not day.count_first)
        ]
        for vend in (
            vend
            for vend in day.vends
            if vend.slot == slot and (vend.minute == opened or within(vend.minute, with_end=False))
        ):
            near = vend.minute - opened <= NEAR or (closed is not None and closed - vend.minute <= NEAR)
            steps.append((vend.minute, 2, -vend.units, near or vend.refunded))
        above = [balance] if balance > CAPACITY else []
        below = [balance] if balance < 0 else []
        for _, rank, units, doubtful in sorted(steps, key=lambda step: step[:2]):
            balance += units
            sure += 0 if doubtful else units
            if rank == 1 and balance > CAPACITY:
                above.append(balance)
            if balance < 0 and sure < 0:
                below.append(balance)
        told |= {(opened, "above-capacity", above[0])} if above else set()
        told |= {(opened, "below-zero", min(below))} if below else set()
    return told


def merged(day: Day) -> Day:
    """Loads of one slot and minute as one, so that the order among equals cannot matter to the first
    breach."""
    sums: dict[tuple[int, int], list[int]] = {}
    for load in day.loads:
        pair = sums.setdefault((load.minute, load.slot), [0, 0])
        pair[0], pair[1] = pair[0] + load.units, pair[1] + load.removed
    taken = {(count.minute, count.slot) for count in day.counts}
    loads = [
        Event(minute, slot, *pair) for (minute, slot), pair in sums.items() if (minute, slot) not in taken
    ]
    vends: dict[tuple[int, int], Event] = {(vend.minute, vend.slot): vend for vend in day.vends}
    return Day(day.counts, loads, list(vends.values()), day.count_first)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(day=days().map(merged))
def test_running_balances_are_those_of_walking_the_events(day: Day) -> None:
    stock = balanced(day)
    found = breaches(stock, one_machine(2, capacity=CAPACITY)).with_columns(minute_of("opened_at"))
    for slot in (0, 1):
        here = found.filter(pl.col("slot") == slot).select("opened_at", "kind", "balance").rows()
        assert set(here) == running(day, slot)
        assert len(here) == len(set(here))


@settings(max_examples=40, deadline=None, derandomize=True)
@given(day=days())
def test_units_are_conserved(day: Day) -> None:
    """What opens, comes in, goes out and is left agree as sums; every unit sold between two counts is in one
    window."""
    windows = balanced(day).windows
    opening, loaded, removed, vended, expected = windows.select(
        pl.col("opening", "loaded", "removed", "vended", "expected").sum()
    ).row(0)
    assert opening + loaded - removed - vended == expected
    between = 0
    for slot in (0, 1):
        marks = [count.minute for count in day.counts if count.slot == slot and count.counted is not None]
        if marks:
            between += sum(
                vend.units
                for vend in day.vends
                if vend.slot == slot and min(marks) <= vend.minute < max(marks)
            )
    assert vended == between
