"""Cash windows against an oracle that walks the vends of a machine one by one in plain Python."""

from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from stage_frames import CASH_FILE, at, frame, one_machine, priced

from recon.balance.cash import cash_vends, cash_windows
from recon.model import frames

NEAR = 10
MACHINES = ("m-1", "m-2")


@dataclass(frozen=True)
class Vend:
    minute: int
    machine: str
    low: int
    high: int
    quantity: int
    refunded: bool
    tender: str


@dataclass(frozen=True)
class Box:
    minute: int
    machine: str
    collected: int
    tubes: int | None


@st.composite
def days(draw: st.DrawFn) -> tuple[list[Box], list[Vend]]:
    """Collections four minutes apart or eleven: of the first, several are within the boundary minutes of one vend."""
    names = st.sampled_from(MACHINES)
    apart = draw(st.sampled_from([4, NEAR + 1]))
    visits = sorted(draw(st.sets(st.tuples(st.integers(0, 12), names), min_size=1, max_size=6)))
    tubes = st.none() | st.integers(0, 900)
    boxes = [Box(visit * apart, name, draw(st.integers(0, 3000)), draw(tubes)) for visit, name in visits]
    minutes = st.integers(0, 13 * apart) | st.sampled_from([box.minute for box in boxes])
    prices = st.tuples(st.integers(1, 400), st.sampled_from([0, 0, 50])).map(
        lambda pair: (pair[0], sum(pair))
    )
    vends = st.builds(
        lambda minute, name, price, quantity, refunded, tender: Vend(
            minute, name, *price, quantity, refunded, tender
        ),
        minutes,
        names,
        prices,
        st.integers(1, 3),
        st.booleans(),
        st.sampled_from(["cash", "cash", "card"]),
    )
    return boxes, draw(st.lists(vends, max_size=14))


def engine(boxes: list[Box], vends: list[Vend]) -> pl.DataFrame:
    cash = frame(
        frames.CASH,
        [
            {
                "file": CASH_FILE,
                "row": row,
                "machine": box.machine,
                "zone": "UTC",
                "time": at(box.minute),
                "collected": box.collected,
                "tubes": box.tubes,
            }
            for row, box in enumerate(boxes, start=2)
        ],
    )
    paid = priced(
        {
            "minute": vend.minute,
            "machine": vend.machine,
            "paid_low": vend.low,
            "paid_high": vend.high,
            "quantity": vend.quantity,
            "outcome": "refunded" if vend.refunded else "vended",
            "stayed_paid": not vend.refunded,
            "tender": vend.tender,
            "priced": "log" if vend.low == vend.high else "range",
        }
        for vend in vends
    )
    layouts = one_machine(machines=MACHINES)
    by_cash = cash_vends(cash, paid.sort("machine", "time"), layouts)
    return cash_windows(cash, by_cash, layouts, near=timedelta(minutes=NEAR))


def oracle(boxes: list[Box], vends: list[Vend], machine: str) -> list[tuple[object, ...]]:
    """Each window as opened, closed, vends, unpriced, expected, low, high, collected, tube change,
    over/short."""
    here = sorted((box for box in boxes if box.machine == machine), key=lambda box: box.minute)
    logged = [vend for vend in vends if vend.machine == machine and vend.tender == "cash"]
    windows: list[tuple[object, ...]] = []
    for before, box in pairwise(here):
        opened, closed = before.minute, box.minute
        inside = [vend for vend in logged if opened <= vend.minute < closed]
        kept = [vend for vend in inside if not vend.refunded]
        doubtful = [vend for vend in kept if vend.minute - opened <= NEAR or closed - vend.minute <= NEAR]
        outside = [
            vend
            for vend in logged
            if not vend.refunded
            and (closed <= vend.minute <= closed + NEAR or opened - NEAR <= vend.minute < opened)
        ]

        def low(some: list[Vend]) -> int:
            return sum(vend.low * vend.quantity for vend in some)

        def high(some: list[Vend]) -> int:
            return sum(vend.high * vend.quantity for vend in some)

        expected = (
            low(kept),
            low(kept) - low(doubtful),
            high(kept) + high([vend for vend in inside if vend.refunded]) + high(outside),
        )
        change = None if box.tubes is None or before.tubes is None else box.tubes - before.tubes
        over = box.collected + (change or 0) - expected[0]
        told = (
            (*expected, box.collected, change, over)
            if logged
            else (None, None, None, box.collected, change, None)
        )
        unpriced = sum(vend.quantity for vend in kept if vend.low != vend.high)
        windows.append((opened, closed, sum(vend.quantity for vend in kept), unpriced, *told))
    return windows


@settings(max_examples=80, deadline=None, derandomize=True)
@given(day=days())
def test_windows_are_those_of_walking_the_vends(day: tuple[list[Box], list[Vend]]) -> None:
    windows = engine(*day)
    minutes = [(pl.col(name) - at(0)).dt.total_minutes().alias(name) for name in ("opened_at", "closed_at")]
    for machine in MACHINES:
        found = windows.filter(pl.col("machine") == machine).select(
            *minutes,
            "vends",
            "unpriced_vends",
            "expected",
            "expected_low",
            "expected_high",
            "collected",
            "tube_change",
            "over_short",
        )
        assert found.rows() == oracle(*day, machine)
