"""Zones told by the hours of few files: which of two is off, and two that are off alike."""

import random
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from recon.match.hours import by_hour, suspect_zones

ZONES = {"m-1": "UTC"}


def _sales(file: int, off: int = 0, count: int = 200) -> pl.DataFrame:
    """Vends about 13:00, most between 9 and 17, written `off` hours late."""
    rng = random.Random(file)
    start = datetime(2026, 7, 1, tzinfo=UTC)
    times = [
        start + timedelta(days=rng.randrange(28), hours=min(21.0, max(6.0, rng.gauss(13, 2.5))) + off)
        for _ in range(count)
    ]
    schema = {"file": pl.Int32, "machine": pl.String, "time": pl.Datetime("us", "UTC")}
    return pl.DataFrame({"file": [file] * count, "machine": ["m-1"] * count, "time": times}, schema=schema)


@pytest.mark.parametrize("off", [-7, -5, 4, 5, 9, 12])
@pytest.mark.parametrize("at", [0, 1])
def test_of_two_files_the_one_that_is_off_is_pointed_out(off: int, at: int) -> None:
    vends = pl.concat([_sales(at, off), _sales(1 - at)])
    found = suspect_zones(by_hour(vends, ZONES, "UTC"))
    assert found["file"].to_list() == [at]
    assert (found["offset"][0] + off) % 24 in (0, 1, 23)


def test_two_files_in_one_wrong_zone_are_both_pointed_out() -> None:
    found = suspect_zones(by_hour(pl.concat([_sales(0, -11), _sales(1, -11)]), ZONES, "UTC"))
    assert found["file"].to_list() == [0, 1]
    assert all(abs(offset - 11) <= 2 for offset in found["offset"])


def test_files_that_agree_by_day_are_left_alone() -> None:
    assert suspect_zones(by_hour(pl.concat([_sales(0), _sales(1), _sales(2, 1)]), ZONES, "UTC")).height == 0
