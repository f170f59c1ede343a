"""Money and times in text columns are spelled as Python and zoneinfo spell them."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.model.money import to_text
from recon.model.spelling import DAY_AND_CLOCK, ISO, local_text, money_by_machine, money_text

AMOUNTS = st.one_of(st.none(), st.integers(-(10**14), 10**14), st.integers(-2000, 2000))
ZONES = [
    "America/New_York", "America/Halifax", "America/St_Johns", "Europe/London", "Australia/Lord_Howe",
    "America/Phoenix", "Asia/Kathmandu", "UTC",
]  # fmt: skip
MOMENTS = st.datetimes(datetime(2000, 1, 1), datetime(2037, 12, 31)).map(lambda at: at.replace(tzinfo=UTC))


@given(st.lists(AMOUNTS, max_size=8), st.sampled_from([0, 2, 3, 4]))
def test_a_column_of_money_is_spelled_like_one_amount(minor: list[int | None], digits: int) -> None:
    frame = pl.DataFrame({"m": minor}, schema={"m": pl.Int64})
    expected = [None if amount is None else to_text(amount, digits) for amount in minor]
    assert frame.select(money_text(pl.col("m"), digits)).to_series().to_list() == expected


@given(st.lists(st.tuples(st.sampled_from(["a", "b", "c", None]), AMOUNTS), max_size=8))
def test_each_machine_has_the_digits_of_its_currency(rows: list[tuple[str | None, int | None]]) -> None:
    digits = {"a": 0, "b": 3}
    frame = pl.DataFrame(rows, schema={"machine": pl.String, "m": pl.Int64}, orient="row")
    expected = [
        None if amount is None else to_text(amount, digits.get(machine or "", 2)) for machine, amount in rows
    ]
    assert frame.select(money_by_machine(pl.col("m"), digits, 2)).to_series().to_list() == expected


@given(st.lists(st.tuples(st.sampled_from([*ZONES, None]), st.one_of(st.none(), MOMENTS)), max_size=8))
def test_times_are_spelled_in_the_zone_of_their_machine(
    rows: list[tuple[str | None, datetime | None]],
) -> None:
    """Check: zoneinfo, of the standard library. The machine is called like its zone; one without a name is
    the route's.
    """
    frame = pl.DataFrame(rows, schema={"machine": pl.String, "at": pl.Datetime("us", "UTC")}, orient="row")
    frame = frame.with_columns(pl.col("at").alias("minute"))
    iso = local_text(frame, ["at"], {zone: zone for zone in ZONES}, "America/Halifax", ISO)
    both = local_text(iso, ["minute"], {zone: zone for zone in ZONES}, "America/Halifax", DAY_AND_CLOCK)
    assert both.columns == ["machine", "at", "minute"]
    assert both["machine"].to_list() == [machine for machine, _ in rows]
    for (machine, at), iso_text, minute in zip(rows, both["at"], both["minute"], strict=True):
        if at is None:
            assert iso_text is None
            assert minute is None
        else:
            local = at.astimezone(ZoneInfo(machine or "America/Halifax"))
            assert minute == local.strftime("%Y-%m-%d %H:%M")
            assert datetime.fromisoformat(iso_text) == at
            assert datetime.fromisoformat(iso_text).utcoffset() == local.utcoffset()


def test_whole_seconds_are_spelled_without_a_fraction() -> None:
    frame = pl.DataFrame({"machine": ["m"], "at": [datetime(2026, 9, 28, 15, tzinfo=UTC)]})
    spelled = local_text(frame, ["at"], {}, "America/Halifax", ISO)
    assert spelled["at"].to_list() == ["2026-09-28T12:00:00-03:00"]


@pytest.mark.parametrize("seconds", [0, 1, 3599])
def test_the_hour_that_comes_twice_keeps_its_offset(seconds: int) -> None:
    """Source: IANA tz database: New York, 2024-11-03, clocks set back at 06:00 UTC."""
    turn = datetime(2024, 11, 3, 6, tzinfo=UTC)
    early, late = turn - timedelta(hours=1) + timedelta(seconds=seconds), turn + timedelta(seconds=seconds)
    frame = pl.DataFrame(
        {"machine": ["m", "m"], "at": [early, late]}, schema_overrides={"at": pl.Datetime("us", "UTC")}
    )
    one, two = local_text(frame, ["at"], {"m": "America/New_York"}, "UTC", ISO)["at"].to_list()
    assert (one[:19], one[19:]) == (two[:19], "-04:00")
    assert two[19:] == "-05:00"


def test_no_rows_are_no_texts() -> None:
    frame = pl.DataFrame(schema={"machine": pl.String, "at": pl.Datetime("us", "UTC")})
    spelled = local_text(frame, ["at"], {}, "UTC", ISO)
    assert spelled.schema == {"machine": pl.String, "at": pl.String}
