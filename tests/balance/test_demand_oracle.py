"""Hours in which a slot could sell, against a reckoning minute by minute that shares no code with recon."""

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from builders import RouteBuilder, change, slot

from recon.balance.demand import demand

START = datetime(2026, 9, 1, tzinfo=UTC)
DAYS = 12
MINUTE = timedelta(minutes=1)


def stamp(minute: int) -> str:
    return (START + minute * MINUTE).strftime("%m-%d %H:%M")


@dataclass
class History:
    """What happened at one slot, by minute; no two things in the same one."""

    counts: list[tuple[int, int, int]] = field(default_factory=list)
    """Minute, units counted, units loaded at once after it."""
    loads: list[tuple[int, int, int]] = field(default_factory=list)
    """Minute, loaded, removed."""
    vends: list[tuple[int, int]] = field(default_factory=list)
    """Minute, units."""


def invented(seed: int) -> History:
    """A slot that often runs out, with loads between counts, and counts that seldom agree with the book."""
    chance = random.Random(seed)
    minutes = chance.sample(range(60, DAYS * 1440 - 60), 60)
    history = History()
    for at in minutes:
        kind = chance.random()
        if kind < 0.08:
            history.counts.append((at, chance.choice((0, 0, 1, 3, 6)), chance.choice((0, 4, 8))))
        elif kind < 0.2:
            history.loads.append((at, *chance.choice(((2, 0), (5, 0), (4, 1), (0, 1)))))
        else:
            history.vends.append((at, chance.choice((1, 1, 2))))
    history.counts.append((30, 5, 0))
    return history


def by_the_minute(history: History, count_when: str) -> tuple[int, int, int]:
    """Open minutes, empty minutes and units sold, from the first count to the end of the log.

    What a sheet loads is in the slot when its window opens, or was before the count that opens it.
    """
    end = DAYS * 1440
    counts = sorted(history.counts)
    open_minutes = empty_minutes = sold = 0
    for place, (begins, counted, loaded) in enumerate(counts):
        closing = counts[place + 1] if place + 1 < len(counts) else None
        ends = closing[0] if closing else end
        moves = {at: put - out for at, put, out in history.loads if begins < at < ends}
        vends = {at: units for at, units in history.vends if begins < at < ends}
        before_load = count_when == "before-load"
        balance = counted + (loaded if before_load else 0)
        if closing:
            last = 0 if before_load else closing[2]
            balance += closing[1] - (balance + sum(moves.values()) + last - sum(vends.values()))
        sold += sum(vends.values())
        for minute in range(begins, ends):
            balance += moves.get(minute, 0) - vends.get(minute, 0)
            coming = [at for at in (*moves, *vends) if at > minute]
            proved = bool(coming) and min(coming) in vends
            if balance > 0 or proved:
                open_minutes += 1
            else:
                empty_minutes += 1
    return open_minutes, empty_minutes, sold


@pytest.mark.parametrize("count_when", ["before-load", "after-load"])
@pytest.mark.parametrize("seed", range(15))
def test_open_and_empty_hours_are_those_of_the_minutes(seed: int, count_when: str, tmp_path: Path) -> None:
    history = invented(seed)
    route = RouteBuilder(tmp_path).settings(stock={"count_when": count_when}).machine("m-1", slot("A1"), slot("Z9"))
    route.counts(*(f"{stamp(at)}, A1, {units}, {loaded}" for at, units, loaded in sorted(history.counts)))
    route.loads(*(f"{stamp(at)}, A1, {put}, {out}" for at, put, out in sorted(history.loads)))
    sold = [f"{stamp(at)}, A1, cash, 2.00, vended, , {units}" for at, units in sorted(history.vends)]
    # The other slot's vends span the log, and leave no window without a vend of the machine.
    others = [f"{stamp(at)}, Z9, cash, 2.00" for at in range(0, DAYS * 1440 + 1, 30)]
    route.vends(*sold, *others)
    found = demand(route.run().reconciliation).row(0, named=True)
    assert found["label"] == "A1"
    open_minutes, empty_minutes, units = by_the_minute(history, count_when)
    assert empty_minutes > 0, "the history tries nothing"
    assert (found["open_seconds"], found["empty_seconds"], found["units"]) == (
        open_minutes * 60,
        empty_minutes * 60,
        units,
    )


def log(route: RouteBuilder, first: str, last: str) -> RouteBuilder:
    """Vends of another slot that span the log."""
    return route.vends(f"{first}, Z9, cash, 2.00", f"{last}, Z9, cash, 2.00")


def of(route: RouteBuilder, label: str = "A1") -> dict[str, object]:
    frame = demand(route.run().reconciliation)
    return next(row for row in frame.iter_rows(named=True) if row["label"] == label)


def test_a_rate_is_units_by_open_hours(tmp_path: Path) -> None:
    """10 days open, of which 4 empty: 12 units in 6 days."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"), slot("Z9"))
    route.counts("09-01 00:00, A1, 12", "09-11 00:00, A1, 0")
    route.vends("09-03 00:00, A1, cash, 2.00, vended, , 5", "09-07 00:00, A1, cash, 2.00, vended, , 7")
    found = of(log(route, "09-01 00:00", "09-11 00:00"))
    assert (found["units"], found["open_seconds"], found["empty_seconds"]) == (12, 6 * 86400, 4 * 86400)
    assert found["rate"] == pytest.approx(12 / (6 * 24))
    assert (found["basis"], found["basis_units"], found["basis_seconds"]) == ("own", 12, 6 * 86400)


def test_only_the_product_that_it_holds_now_counts(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine(
        "m-1", slot("A1"), slot("Z9"), changes=[change("2026-09-06T00:00:00", "A1", product="tea")]
    )
    route.counts("09-01 00:00, A1, 50", "09-06 00:00, A1, 20", "09-11 00:00, A1, 18")
    route.vends("09-03 00:00, A1, cash, 2.00, vended, , 30", "09-07 00:00, A1, cash, 2.00, vended, , 2")
    found = of(log(route, "09-01 00:00", "09-16 00:00"))
    assert (found["product"], found["units"], found["open_seconds"], found["windows"]) == ("tea", 2, 10 * 86400, 1)
    assert found["since"] == datetime(2026, 9, 6, tzinfo=UTC)


def test_time_out_of_use_is_left_out(tmp_path: Path) -> None:
    """Retired for three of ten days, and put back with the same product."""
    changes = [change("2026-09-03T00:00:00", "A1", retire=True), change("2026-09-06T00:00:00", "A1", product="gum")]
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"), slot("Z9"), changes=changes)
    route.counts("09-01 00:00, A1, 10")
    found = of(log(route, "09-01 00:00", "09-11 00:00"))
    assert (found["open_seconds"], found["empty_seconds"]) == (7 * 86400, 0)


def test_a_slot_out_of_use_now_is_not_there(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine(
        "m-1", slot("A1"), slot("Z9"), changes=[change("2026-09-03T00:00:00", "A1", retire=True)]
    )
    route.counts("09-01 00:00, A1, 10")
    frame = demand(log(route, "09-01 00:00", "09-11 00:00").run().reconciliation)
    assert frame["label"].to_list() == ["Z9"]


def test_a_window_in_which_the_machine_logged_nothing_tells_nothing(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"), slot("Z9"))
    route.counts("09-01 00:00, A1, 10", "09-03 00:00, A1, 8", "09-13 00:00, A1, 5", "09-15 00:00, A1, 5")
    route.vends("09-02 00:00, A1, cash, 2.00, vended, , 2")
    route.vends("09-14 00:00, Z9, cash, 2.00")
    found = of(log(route, "09-01 00:00", "09-15 00:00"))
    assert (found["units"], found["open_seconds"], found["windows"]) == (2, 4 * 86400, 2)


def test_too_little_history_falls_back_on_others_and_says_so(tmp_path: Path) -> None:
    """B1 has held its product for three days; its product in A1 has enough, and so has tea on the other machine."""
    route = RouteBuilder(tmp_path).machine(
        "m-1",
        slot("A1"), slot("B1", product="cola"), slot("C1", product="cola"), slot("D1", product="nuts"),
        changes=[change("2026-09-18", "B1", product="gum"), change("2026-09-18", "C1", product="tea")],
    ).machine("m-2", slot("A1", product="tea"))  # fmt: skip
    for label in ("A1", "B1", "C1"):
        route.counts(f"09-01 00:00, {label}, 40", machine="m-1")
    route.counts("09-01 00:00, A1, 40", machine="m-2")
    route.vends("09-01 00:00, A1, cash, 2.00", "09-21 00:00, A1, cash, 2.00, vended, , 19", machine="m-1")
    route.vends("09-01 00:00, A1, cash, 2.00", "09-21 00:00, A1, cash, 2.00, vended, , 9", machine="m-2")
    frame = demand(route.run().reconciliation)
    rates = {
        (row["machine"], row["label"]): (row["basis"], row["basis_units"], row["basis_seconds"] // 86400)
        for row in frame.iter_rows(named=True)
    }
    assert rates == {
        ("m-1", "A1"): ("own", 20, 20),
        ("m-1", "B1"): ("machine-product", 20, 20 + 3),
        ("m-1", "C1"): ("route-product", 10, 20 + 3),
        ("m-1", "D1"): ("machine", 20, 20 + 3 + 3),
        ("m-2", "A1"): ("own", 10, 20),
    }


def test_without_any_sales_there_is_no_rate(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).counts("09-01 00:00, A1, 10")
    found = of(route)
    assert (found["rate"], found["basis"], found["units"], found["open_seconds"]) == (None, "none", 0, 0)
