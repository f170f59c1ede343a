"""Times that happened twice, placed by their neighbours in the log; zoneinfo (IANA tz, PEP 495) is the oracle."""

import random
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from recon.intake.moments import to_moments

HALIFAX = "America/Halifax"
# IANA tz: Halifax sets its clocks back on 2026-11-01 at 02:00 ADT (05:00 UTC); 01:00 to 02:00 happens twice.
NIGHT = datetime(2026, 11, 1, 3, 0, tzinfo=UTC)


def log(moments: list[datetime], *, zone: str = HALIFAX, machines: list[str] | None = None) -> pl.DataFrame:
    local = [moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for moment in moments]
    count = len(moments)
    return pl.DataFrame(
        {
            "file": [0] * count, "row": list(range(2, count + 2)), "machine": machines or ["m-1"] * count,
            "zone": [zone] * count, "local": local, "moment": [None] * count,
        },
        schema={
            "file": pl.Int32, "row": pl.Int64, "machine": pl.String, "zone": pl.String,
            "local": pl.Datetime("us"), "moment": pl.Datetime("us", "UTC"),
        },
    )  # fmt: skip


def every(minutes: int, hours: int = 6) -> list[datetime]:
    return [NIGHT + timedelta(minutes=at) for at in range(0, hours * 60, minutes)]


@pytest.mark.parametrize("backward", [False, True])
def test_a_log_that_jumps_back_once_tells_both_passes(backward: bool) -> None:
    moments = every(20)
    if backward:
        moments.reverse()
    out = to_moments(log(moments))
    assert out["time"].to_list() == moments
    assert out["clock"].null_count() == out.height


def test_a_log_that_runs_through_the_hour_once_does_not_tell() -> None:
    # One vend a pass at most, and the second pass empty: nothing jumps back.
    moments = [
        NIGHT,
        NIGHT + timedelta(hours=1, minutes=10),
        NIGHT + timedelta(hours=1, minutes=40),
        NIGHT + timedelta(hours=5),
    ]
    out = to_moments(log(moments))
    assert out["time"].to_list() == moments  # the earlier is taken, which is right here
    assert out["clock"].to_list() == [None, "ambiguous-time", "ambiguous-time", None]


def test_a_log_out_of_order_is_not_trusted() -> None:
    moments = every(7)
    random.Random(4).shuffle(moments)
    out = to_moments(log(moments))
    folded = out.filter(pl.col("clock") == "ambiguous-time")
    assert folded.height == sum(NIGHT + timedelta(hours=1) <= moment < NIGHT + timedelta(hours=3) for moment in moments)
    assert all(moment < NIGHT + timedelta(hours=2) for moment in folded["time"].to_list())


def test_machines_in_blocks_are_read_one_by_one() -> None:
    one, two = every(20), every(25)
    out = to_moments(log(one + two, machines=["m-1"] * len(one) + ["m-2"] * len(two)))
    assert out["time"].to_list() == one + two


def test_half_an_hour_at_lord_howe() -> None:
    # IANA tz: Lord Howe's clocks go back half an hour on 2024-04-07 at 02:00 local; 01:30 to 02:00 happens twice.
    begin = datetime(2024, 4, 6, 14, 0, tzinfo=UTC)
    moments = [begin + timedelta(minutes=at) for at in range(0, 120, 5)]
    out = to_moments(log(moments, zone="Australia/Lord_Howe"))
    assert out["time"].to_list() == moments
    assert out["clock"].null_count() == out.height
