"""Hours by a machine's clock and the reach of a log: short ways against the plain ones."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from recon.balance.over_time import _local_hours
from recon.balance.selling import log_reach
from recon.model.frames import TIME

MONDAY = datetime(1969, 12, 29)
ZONES = (
    "UTC", "America/Halifax", "Asia/Kathmandu", "Australia/Lord_Howe", "America/St_Johns", "Pacific/Apia",
    "Africa/Monrovia", "America/Havana",
)  # fmt: skip
"""Offsets of quarters of an hour, one put back by half an hour, one that left out a day, one at an odd second, one
changed at midnight."""
CHANGES = (
    datetime(2026, 3, 8, 6), datetime(2026, 4, 4, 15), datetime(2026, 11, 1, 4), datetime(2011, 12, 30, 10),
    datetime(1972, 1, 7, 0, 44, 30),
)  # fmt: skip
moments = st.one_of(
    st.datetimes(datetime(1971, 1, 1), datetime(2030, 1, 1)),
    st.builds(lambda at, by: at + timedelta(seconds=by), st.sampled_from(CHANGES), st.integers(-7200, 7200)),
)


@given(st.lists(st.tuples(st.sampled_from(ZONES), st.lists(moments, min_size=1, max_size=20)), max_size=6))
def test_hours_are_those_of_each_clock(machines: list[tuple[str, list[datetime]]]) -> None:
    times = [at.replace(tzinfo=UTC) for _, some in machines for at in some]
    number = pl.Series([at for at, (_, some) in enumerate(machines) for _ in some], dtype=pl.Int64)
    found = _local_hours(pl.Series(times, dtype=TIME), number, [zone for zone, _ in machines])
    clocks = [
        at.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None) for zone, some in machines for at in some
    ]
    assert found.to_list() == [(clock - MONDAY) // timedelta(hours=1) for clock in clocks]


rows = st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 3), st.integers(0, 50)), min_size=1, max_size=40)


@given(rows)
def test_a_log_reaches_as_far_as_any_of_its_files_reaches(found: list[tuple[str, int, int]]) -> None:
    start = datetime(2026, 9, 1, tzinfo=UTC)
    ordered = sorted(found, key=lambda row: (row[0], row[2]))
    vends = pl.DataFrame(
        [(machine, file, start + timedelta(hours=hour)) for machine, file, hour in ordered],
        schema={"machine": pl.String, "file": pl.Int32, "time": TIME}, orient="row",
    )  # fmt: skip
    laid = [("a", start + timedelta(hours=10)), ("b", start)]
    states = pl.DataFrame(laid, schema={"machine": pl.String, "starts": TIME}, orient="row")
    expected = {}
    for machine in sorted({row[0] for row in found}):
        files = {row[1] for row in found if row[0] == machine}
        hours = [row[2] for row in found if row[1] in files]
        begin = max(min(hours), 10) if machine == "a" else min(hours)
        expected[machine] = (start + timedelta(hours=begin), start + timedelta(hours=max(hours)))
    reach = log_reach(vends, states)
    assert {machine: (first, last) for machine, first, last in reach.iter_rows()} == expected
