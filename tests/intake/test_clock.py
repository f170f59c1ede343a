"""Written times: the format settled from the whole column, the moment as zoneinfo has it."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.intake.clock import AmbiguousFormat, read_times
from recon.intake.moments import to_moments

NOW = datetime(2026, 12, 1, 12, tzinfo=UTC)
EVENING = datetime(2026, 9, 14, 21, 5, 30)


def local(*texts: str | None, form: str | None = None, now: datetime = NOW) -> list[datetime | None]:
    written = read_times(pl.Series(texts, dtype=pl.String), form, now=now)
    assert written.moment.null_count() == len(texts)
    return written.local.to_list()


def moment(text: str, form: str | None = None) -> datetime | None:
    """The moment of one text; by itself, or as a local time in UTC."""
    written = read_times(pl.Series([text], dtype=pl.String), form, now=NOW)
    assert written.local.null_count() == 1
    return written.moment.to_list()[0]


@pytest.mark.parametrize(
    "text",
    ["2026-09-14 21:05:30", "2026-09-14T21:05:30", "2026/09/14 21:05:30", "2026.09.14 21:05:30",
     "20260914 21:05:30",
     "20260914T21:05:30", "14/09/2026 21:05:30", "14.09.2026 21:05:30", "14-09-2026 21:05:30",
     "14/09/26 21:05:30",
     "14.09.26 21:05:30", "14-09-26 21:05:30", "14 Sep 2026 21:05:30", "14 September 2026 21:05:30",
     "14-Sep-2026 21:05:30", "09/14/2026 21:05:30", "09-14-2026 21:05:30", "09/14/26 21:05:30",
     "9/14/2026 21:05:30",
     "Sep 14, 2026 21:05:30", "September 14, 2026 21:05:30", "14/09/2026, 21:05:30", "09/14/2026 09:05:30 PM",
     "9/14/2026 9:05:30 PM", "14/09/2026 9:05:30 pm", "2026-09-14 09:05:30 PM", "2026-09-14 21:05:30.000",
     "2026-09-14, 21:05:30"],
)  # fmt: skip
def test_each_way_of_writing_a_time(text: str) -> None:
    assert local(text) == [EVENING]


@pytest.mark.parametrize(
    ("text", "hour"),
    [("12:00 AM", 0), ("12:30 am", 0), ("1:00 AM", 1), ("11:59 AM", 11), ("12:00 PM", 12), ("12:30 pm", 12),
     ("1:00 PM", 13), ("11:59 PM", 23)],
)  # fmt: skip
def test_twelve_hours_begin_with_twelve(text: str, hour: int) -> None:
    """Check: strptime of the standard library."""
    expected = datetime.strptime(f"2026-09-14 {text}", "%Y-%m-%d %I:%M %p")  # noqa: DTZ007 - a local time
    assert local(f"2026-09-14 {text}") == [expected]
    assert expected.hour == hour


@pytest.mark.parametrize(
    "text",
    ["", "soon", "2026-13-01 10:00", "2026-02-29 10:00", "2026-09-31 10:00", "2026-09-14 24:00:01",
     "2026-09-14 10:60",
     "2026-09-14 13:00 PM", "10:00", "2026-09-14", "1789041600", "26-9-14-10-00"],
)  # fmt: skip
def test_what_is_no_time_stays_empty(text: str) -> None:
    assert local(text, "2026-09-14 10:00") == [None, datetime(2026, 9, 14, 10)]


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57)),
        ("1990-12-31T23:59:60Z", datetime(1991, 1, 1)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000)),
    ],
)
def test_the_examples_of_rfc_3339(text: str, utc: datetime) -> None:
    """Source: RFC 3339 section 5.8, from memory. (A leap second is the second after it: UTC here has
    none.)
    """
    assert moment(text) == utc.replace(tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    ["2026-09-15T00:05:30Z", "2026-09-15T00:05:30z", "2026-09-14T21:05:30-03:00", "2026-09-14 21:05:30-0300",
     "2026-09-14 21:05:30 -03:00", "2026-09-15 05:50:30 +05:45", "2026-09-15T00:05:30-00:00",
     "20260914T210530-0300"],
)  # fmt: skip
def test_an_offset_says_the_moment(text: str) -> None:
    form = "%Y%m%dT%H%M%S%z" if text.startswith("2026091") else None
    assert moment(text, form) == datetime(2026, 9, 15, 0, 5, 30, tzinfo=UTC)


def test_offsets_and_local_times_in_one_column() -> None:
    written = read_times(pl.Series(["2026-09-14 21:05", None, "2026-09-14T21:05:30-03:00"]), None, now=NOW)
    assert written.local.to_list() == [datetime(2026, 9, 14, 21, 5), None, None]
    assert written.moment.to_list() == [None, None, datetime(2026, 9, 15, 0, 5, 30, tzinfo=UTC)]


@pytest.mark.parametrize(
    ("form", "text"),
    [("%m/%d/%Y %I:%M:%S %p", "09/14/2026 09:05:30 PM"), ("%d.%m.%y %H:%M:%S", "14.09.26 21:05:30"),
     ("%Y%m%d%H%M%S", "20260914210530"), ("%Y-%j %H:%M:%S", "2026-257 21:05:30"),
     ("on %d %b %Y at %H.%M.%S", "on 14 Sep 2026 at 21.05.30"),
     ("%Y-%m-%d %H:%M:%S.%f", "2026-09-14 21:05:30.000")],
)  # fmt: skip
def test_a_format_that_the_description_gives(form: str, text: str) -> None:
    """Check: strptime of the standard library."""
    assert local(text, "2026-09-14T21:05", form=form) == [EVENING, None]
    assert datetime.strptime(text, form) == EVENING  # noqa: DTZ007 - a local time


def test_the_format_of_the_description_settles_day_and_month() -> None:
    assert local("03/04/2026 10:00", form="%d/%m/%Y %H:%M") == [datetime(2026, 4, 3, 10)]
    assert local("03/04/2026 10:00", form="%m/%d/%Y %H:%M") == [datetime(2026, 3, 4, 10)]


def test_a_format_that_no_time_can_be_read_by_is_told() -> None:
    with pytest.raises(AmbiguousFormat) as error:
        local("2026-09-14 21", form="%Y-%m-%d %H")
    assert "%Y-%m-%d %H" in str(error.value)


@pytest.mark.parametrize(
    ("mark", "clock"), [("/", "10:00"), ("-", "10:00:30"), (".", "10:00"), ("/", "9:30 PM")]
)
def test_day_and_month_that_could_be_either_are_refused_with_both_readings(mark: str, clock: str) -> None:
    with pytest.raises(AmbiguousFormat) as error:
        local(f"03{mark}04{mark}2026 {clock}", f"05{mark}06{mark}2026 {clock}")
    assert "03 April 2026" in str(error.value)
    assert "04 March 2026" in str(error.value)
    assert f"03{mark}04{mark}2026" in str(error.value)
    assert "[time]" in str(error.value)


def test_a_day_above_twelve_settles_the_whole_column() -> None:
    assert local("03/04/2026 10:00", "13/04/2026 10:00") == [
        datetime(2026, 4, 3, 10),
        datetime(2026, 4, 13, 10),
    ]
    assert local("03/04/2026 10:00", "04/13/2026 10:00") == [
        datetime(2026, 3, 4, 10),
        datetime(2026, 4, 13, 10),
    ]


def test_a_day_above_twelve_may_stand_at_the_end_of_a_long_column() -> None:
    early = ["03/04/2026 10:00"] * 500
    assert local(*early, "28/04/2026 10:00")[0] == datetime(2026, 4, 3, 10)


def test_a_reading_that_lies_ahead_of_the_run_is_dropped() -> None:
    march = datetime(2026, 3, 20, tzinfo=UTC)
    assert local("03/04/2026 10:00", now=march) == [datetime(2026, 3, 4, 10)]
    assert local("05/03/2026 10:00", now=march) == [datetime(2026, 3, 5, 10)]


def test_clocks_ahead_of_utc_do_not_lie_ahead_of_the_run() -> None:
    """At 00:30 UTC of 1 December it is 13:30 in Auckland: read day first, 13:00 is now, not the 12th of
    January.
    """
    with pytest.raises(AmbiguousFormat):
        local("01/12/2026 13:00", now=datetime(2026, 12, 1, 0, 30, tzinfo=UTC))


def test_the_moment_of_the_run_may_be_in_any_zone() -> None:
    now = datetime(2026, 3, 20, 1, tzinfo=ZoneInfo("Pacific/Auckland"))
    assert local("03/04/2026 10:00", now=now) == [datetime(2026, 3, 4, 10)]


def test_days_where_day_and_month_are_the_same_are_not_ambiguous() -> None:
    assert local("03/03/2026 10:00", "04/04/2026 10:00") == [
        datetime(2026, 3, 3, 10),
        datetime(2026, 4, 4, 10),
    ]


def test_days_without_a_clock() -> None:
    texts = pl.Series(["2026-09-14", "2026-09-15", None, "2026-09-31", "x"])
    written = read_times(texts, None, now=NOW, with_clock=False, key="paid_on")
    assert written.local.dt.date().to_list() == [date(2026, 9, 14), date(2026, 9, 15), None, None, None]
    with pytest.raises(AmbiguousFormat, match="paid_on"):
        read_times(pl.Series(["03/04/2026"]), None, now=NOW, with_clock=False, key="paid_on")


FORMS = ["%Y-%m-%d %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %I:%M %p", "%d.%m.%y %H:%M:%S", "%b %d, %Y %H:%M"]
TIMES = st.datetimes(datetime(2000, 1, 1), datetime(2026, 11, 30)).map(
    lambda at: at.replace(second=0, microsecond=0)
)


@given(st.lists(TIMES, min_size=1, max_size=12), st.sampled_from(FORMS))
def test_a_column_is_read_as_it_was_written_or_refused(times: list[datetime], form: str) -> None:
    """Check: strftime of the standard library."""
    try:
        read = local(*(at.strftime(form) for at in times))
    except AmbiguousFormat:
        assert form[:2] in ("%d", "%m")
        # Days 21 to 26 may be the years of days that have their year in front, of the last five years.
        assert all(at.day <= 12 for at in times) or ("%y" in form and all(21 <= at.day <= 26 for at in times))
    else:
        # What was written lies before the run; so only the other reading can have been dropped.
        assert read == times


# --- local times as moments ---


def moments(*rows: tuple[datetime | None, str]) -> list[tuple[datetime | None, str | None]]:
    """(time in UTC, what is remarked) of local times with their zones."""
    frame = pl.DataFrame(rows, schema={"local": pl.Datetime("us"), "zone": pl.String}, orient="row")
    out = to_moments(frame.with_columns(pl.lit(None, pl.Datetime("us", "UTC")).alias("moment")))
    return [
        (None if at is None else at.replace(tzinfo=None), clock)
        for at, clock in out.select("time", "clock").rows()
    ]


FOLDS = [
    ("America/New_York", datetime(2024, 11, 3, 1, 30), datetime(2024, 11, 3, 5, 30)),
    ("America/Chicago", datetime(2025, 11, 2, 1, 15), datetime(2025, 11, 2, 6, 15)),
    ("Europe/London", datetime(2024, 10, 27, 1, 30), datetime(2024, 10, 27, 0, 30)),
    ("Australia/Lord_Howe", datetime(2024, 4, 7, 1, 45), datetime(2024, 4, 6, 14, 45)),
]
GAPS = [
    ("America/New_York", datetime(2024, 3, 10, 2, 30), datetime(2024, 3, 10, 7, 30)),
    ("Europe/London", datetime(2024, 3, 31, 1, 30), datetime(2024, 3, 31, 1, 30)),
    ("Australia/Lord_Howe", datetime(2024, 10, 6, 2, 15), datetime(2024, 10, 5, 15, 45)),
]


@pytest.mark.parametrize(("zone", "at", "earlier"), FOLDS)
def test_a_time_that_came_twice_is_the_earlier_and_said(zone: str, at: datetime, earlier: datetime) -> None:
    """Source: IANA tz database and PEP 495 (fold 0 is the earlier of the two)."""
    assert moments((at, zone)) == [(earlier, "ambiguous-time")]


@pytest.mark.parametrize(("zone", "at", "moved"), GAPS)
def test_a_time_that_never_came_is_moved_on_and_said(zone: str, at: datetime, moved: datetime) -> None:
    """Source: IANA tz database and PEP 495 (in a gap, fold 0 has the offset from before it)."""
    assert moments((at, zone)) == [(moved, "nonexistent-time")]
    gap = timedelta(minutes=30) if zone == "Australia/Lord_Howe" else timedelta(hours=1)
    shown = moved.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    assert shown == at + gap


def test_phoenix_never_changes_its_clocks() -> None:
    """Source: IANA tz database."""
    hours = [(datetime(2024, 1, 1) + timedelta(hours=at), "America/Phoenix") for at in range(366 * 24)]
    assert {clock for _, clock in moments(*hours)} == {None}


@pytest.mark.parametrize(("day", "hours"), [(datetime(2024, 3, 10), 23), (datetime(2024, 11, 3), 25)])
def test_the_day_of_a_change_is_an_hour_shorter_or_longer(day: datetime, hours: int) -> None:
    """Source: IANA tz database, New York."""
    zone = "America/New_York"
    (start, _), (end, _) = moments((day, zone), (day + timedelta(days=1), zone))
    assert start is not None
    assert end is not None
    assert end - start == timedelta(hours=hours)


ZONES = [
    "America/New_York", "America/Chicago", "America/Halifax", "America/St_Johns", "Europe/London",
    "Australia/Lord_Howe", "America/Phoenix", "Asia/Kathmandu",
]  # fmt: skip
TURNS = [datetime(2024, 3, 10, 2), datetime(2024, 11, 3, 1), datetime(2024, 3, 31, 1), datetime(2024, 10,
27, 1),
         datetime(2024, 4, 7, 1, 30), datetime(2024, 10, 6, 2)]  # fmt: skip
LOCALS = st.one_of(
    st.datetimes(datetime(2000, 1, 1), datetime(2037, 12, 31)),
    st.builds(
        lambda at, minutes: at + timedelta(minutes=minutes), st.sampled_from(TURNS), st.integers(-90, 150)
    ),
)


@given(st.lists(st.tuples(st.one_of(st.none(), LOCALS), st.sampled_from(ZONES)), max_size=8))
def test_any_local_time_is_the_moment_that_zoneinfo_says(rows: list[tuple[datetime | None, str]]) -> None:
    """Check: zoneinfo of the standard library, with fold 0 (PEP 495)."""
    for (at, zone), (time, clock) in zip(rows, moments(*rows), strict=True):
        if at is None:
            assert (time, clock) == (None, None)
            continue
        early = at.replace(tzinfo=ZoneInfo(zone), fold=0).astimezone(UTC)
        late = at.replace(tzinfo=ZoneInfo(zone), fold=1).astimezone(UTC)
        assert time == early.replace(tzinfo=None)
        back = early.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
        if back != at:
            assert clock == "nonexistent-time"
        else:
            assert clock == ("ambiguous-time" if early != late else None)


def test_a_moment_that_was_written_needs_no_zone() -> None:
    at = datetime(2024, 11, 3, 6, 30, tzinfo=UTC)
    frame = pl.DataFrame(
        {"local": [None], "zone": ["America/New_York"], "moment": [at]},
        schema={"local": pl.Datetime("us"), "zone": pl.String, "moment": pl.Datetime("us", "UTC")},
    )
    assert to_moments(frame).select("time", "clock").rows() == [(at, None)]
