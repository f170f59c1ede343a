"""Exports in another zone than they are said to be."""

import random
from collections import Counter
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.match import hours as module
from recon.match.hours import HOURS, by_hour, likeness, moved, suspect_zones

ZONES = {"m-1": "America/Halifax"}


def sales(file: int, count: int, *, off: int = 0, seed: int = 1, hours: tuple[int, int] = (7, 19)) -> pl.DataFrame:
    """Vends of m-1 between two local hours (UTC-3 in summer), written `off` hours too late."""
    rng = random.Random(seed * 100 + file)
    start = datetime(2026, 7, 1, 3, tzinfo=UTC)
    times = [
        start + timedelta(days=rng.randrange(28), hours=rng.randrange(*hours) + off, minutes=rng.randrange(60))
        for _ in range(count)
    ]
    return pl.DataFrame(
        {"file": [file] * count, "machine": ["m-1"] * count, "time": times},
        schema={"file": pl.Int32, "machine": pl.String, "time": pl.Datetime("us", "UTC")},
    )


@pytest.mark.parametrize("off", [-9, -5, 4, 6, 10, 12])
def test_an_export_off_by_hours_is_pointed_out_with_the_offset_that_fits(off: int) -> None:
    vends = pl.concat([sales(0, 400), sales(1, 400), sales(2, 200, off=off)])
    found = suspect_zones(by_hour(vends, ZONES, "UTC"))
    assert found["file"].to_list() == [2]
    assert (found["offset"][0] + off) % 24 == 0


@pytest.mark.parametrize("seed", range(20))
def test_exports_in_the_right_zone_are_left_alone(seed: int) -> None:
    vends = pl.concat([sales(file, 80, seed=seed) for file in range(4)])
    assert suspect_zones(by_hour(vends, ZONES, "UTC")).height == 0


def test_few_vends_say_nothing() -> None:
    assert suspect_zones(by_hour(pl.concat([sales(0, 400), sales(1, 20, off=9)]), ZONES, "UTC")).height == 0


def test_alone_only_sales_through_the_night_are_pointed_out() -> None:
    assert suspect_zones(by_hour(sales(0, 200, off=3), ZONES, "UTC")).height == 0
    found = suspect_zones(by_hour(sales(0, 200, off=-11, hours=(11, 17)), ZONES, "UTC"))
    assert found.height == 1
    assert found["night"][0] > 0.6


@given(st.lists(st.integers(0, 50), min_size=24, max_size=24), st.integers(-30, 30))
def test_moving_keeps_every_vend_and_turns_back(profile: list[int], offset: int) -> None:
    assert sum(moved(profile, offset)) == sum(profile)
    assert moved(moved(profile, offset), -offset) == profile
    assert len(moved(profile, offset)) == len(HOURS)


def test_likeness_by_hand() -> None:
    # Bhattacharyya coefficient, by its definition: two halves against one whole share root(1/2 x 1) of themselves.
    one, other = [1, 1] + [0] * 22, [1] + [0] * 23
    assert likeness(one, other) == pytest.approx(0.5**0.5)
    assert likeness(one, one) == pytest.approx(1.0)
    assert likeness(one, [0, 0, 1] + [0] * 21) == 0.0


@given(
    vends=st.lists(
        st.tuples(st.integers(0, 3), st.sampled_from(["m-1", "m-2", "m-3"]), st.integers(0, 400 * 24 * 60)), max_size=60
    ),
    at_once=st.integers(1, 20),
    grouped=st.booleans(),
)
def test_hours_of_files_and_of_their_machines_as_counted_one_by_one(
    vends: list[tuple[int, str, int]], at_once: int, grouped: bool
) -> None:
    zones = {"m-1": "America/Halifax", "m-2": "Asia/Kolkata"}
    start = datetime(2026, 1, 1, tzinfo=UTC)
    if grouped:
        vends = sorted(vends, key=lambda vend: vend[1])
    rows = [(file, machine, start + timedelta(minutes=passed)) for file, machine, passed in vends]
    schema = {"file": pl.Int32, "machine": pl.String, "time": pl.Datetime("us", "UTC")}
    frame = pl.DataFrame(rows, schema=schema, orient="row")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_AT_ONCE", at_once)
        counted = by_hour(frame, zones, "UTC")
    mine, of_machine, pairs = Counter[tuple[int, int]](), Counter[tuple[str, int]](), set[tuple[int, str]]()
    for file, machine, time in rows:
        # The hour that the clock showed when the hour of the vend began in UTC.
        hour = time.replace(minute=0).astimezone(ZoneInfo(zones.get(machine, "UTC"))).hour
        mine[file, hour] += 1
        of_machine[machine, hour] += 1
        pairs.add((file, machine))
    expected = {
        file: [mine[file, hour] for hour in HOURS]
        + [sum(of_machine[machine, hour] for own, machine in pairs if own == file) for hour in HOURS]
        for file in {file for file, _ in pairs}
    }
    found = counted.select("file", *module.AT, *module.OF_MACHINES)
    assert {file: cells for file, *cells in found.iter_rows()} == expected
