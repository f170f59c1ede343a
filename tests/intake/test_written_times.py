"""Times in all the ways in which logs, spreadsheets and people write them."""

from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest
from dateutil.parser import isoparse
from hypothesis import given, settings
from hypothesis import strategies as st
from written import NOW, times

from recon.intake.clock import AmbiguousFormat

EVENING = datetime(2026, 9, 14, 21, 5, 30)
SHORT = datetime(2026, 9, 14, 21, 5)

STEADY = settings(deadline=None)
"""No limit of time: the first look at a format is slow."""


@pytest.mark.parametrize(
    "text",
    ["2026-09-14 09:05:30 p.m.", "2026-09-14 9:05:30pm", "14/09/2026 9:05:30 P.M.", "14/09/2026 9:05:30 p. m.",
     "14.09.2026 21.05.30",
     "14.09.2026 21:05:30 Uhr", "14.09.2026 21.05.30 Uhr", "14. 9. 2026 21:05:30", "14. September 2026 um 21:05:30 Uhr",
     "14. Sept. 2026 21:05:30", "14 sept. 2026 à 21:05:30", "14 septembre 2026 21h05m30s",
     "14 septembre 2026, 21 h 05 min 30 s",
     "14 de septiembre de 2026, 21:05:30", "14 settembre 2026 alle ore 21:05:30", "14 setembro 2026 às 21:05:30",
     "14 september 2026 om 21:05:30", "Mon, 14 Sep 2026 21:05:30", "lundi 14 septembre 2026 21:05:30",
     "Mo. 14.09.2026 21:05:30",
     "Mon Sep 14 21:05:30 2026", "September 14th, 2026 at 9:05:30 PM", "Sep. 14, 2026 21:05:30", "14-SEP-2026 21:05:30",
     "14-Sep-26 21:05:30", "14-SEP-26 09:05:30 PM", "14Sep2026 21:05:30", "2026-Sep-14 21:05:30",
     "2026. 09. 14. 21:05:30",
     "2026年9月14日 21:05:30", "14/09/2026  21:05:30", "14/09/2026\u00a021:05:30", "2026-09-14 21:05:30,000",
     "20260914210530",
     "21:05:30 14/09/2026", "21:05:30, 14 Sep 2026", "9/14/26 9:05:30\u202fPM", "2026-09-14 00:00:00 21:05:30",
     "2026-09-14 1899-12-30 21:05:30", "2026-09-14 00:00:00 1899-12-30 21:05:30"],
)  # fmt: skip
def test_each_way_of_writing_a_time(text: str) -> None:
    assert times(text) == [EVENING]


@pytest.mark.parametrize(
    "text",
    [
        "14/09/2026 21h05",
        "14/09/2026 21 h 05",
        "14.09.2026 21.05 Uhr",
        "14.09.2026 21.05",
        "14/09/2026 9.05 PM",
        "202609142105",
    ],
)
def test_clocks_without_seconds(text: str) -> None:
    assert times(text) == [SHORT]


@pytest.mark.parametrize("text", ["14/09/2026 9 PM", "14/09/2026 9pm", "Sep 14, 2026 9 p.m."])
def test_a_full_hour(text: str) -> None:
    assert times(text) == [datetime(2026, 9, 14, 21)]


@pytest.mark.parametrize(
    ("text", "utc"),
    [("2026-09-14 21:05 UTC", SHORT), ("2026-09-14 21:05:30 GMT", EVENING), ("14/09/2026 21:05 Z", SHORT),
     ("2026-09-14 23:05 UTC+2", SHORT),
     ("2026-09-14 23:05 GMT+02:00", SHORT), ("2026-09-14T23:05:30+02", EVENING), ("14 Sep 2026 18:05:30 -0300",
      EVENING),
     ("Mon, 14 Sep 2026 18:05:30 -0300 (ADT)", EVENING), ("9/14/2026 9:05:30 PM UTC", EVENING),
      ("2026-09-14T21:05:30.000Z", EVENING)],
)  # fmt: skip
def test_zones_behind_the_time(text: str, utc: datetime) -> None:
    assert times(text) == [utc.replace(tzinfo=UTC)]


@pytest.mark.parametrize("text", ["2026-09-14 21:05 CEST", "2026-09-14 21:05 EST"])
def test_letters_of_a_zone_that_may_mean_several_are_not_read(text: str) -> None:
    assert times(text, "2026-09-14 21:05 UTC") == [None, SHORT.replace(tzinfo=UTC)]


@pytest.mark.parametrize(
    "text",
    [
        "Fri, 21 Nov 1997 09:55:06 -0600",
        "Tue, 1 Jul 2003 10:52:37 +0200",
        "Thu, 13 Feb 1969 23:32:54 -0330",
        "Mon, 24 Nov 1997 14:22:01 -0800",
    ],
)
def test_the_examples_of_rfc_2822(text: str) -> None:
    """Source: RFC 2822, appendix A (from memory); the value is what the standard library reads."""
    from email.utils import parsedate_to_datetime

    assert times(text) == [parsedate_to_datetime(text).astimezone(UTC)]


@STEADY
@given(
    st.datetimes(datetime(2000, 1, 1), datetime(2026, 11, 30), timezones=st.just(UTC)).map(
        lambda at: at.replace(microsecond=0)
    )
)
def test_mail_dates(at: datetime) -> None:
    """Check: the writer of the standard library (RFC 2822)."""
    assert times(format_datetime(at)) == [at]


ISO = ["%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%dT%H:%M:%S+0200", "%Y-%m-%dT%H:%M:%S.%f",
"%Y%m%dT%H:%M:%S",
       "%Y-%m-%dT%H:%M:%S,%f", "%Y-%m-%dT%H:%M:%S-03:30"]  # fmt: skip


@STEADY
@given(st.datetimes(datetime(2000, 1, 1), datetime(2026, 11, 29)), st.sampled_from(ISO))
def test_iso_8601(at: datetime, form: str) -> None:
    """Check: dateutil's reader of ISO 8601."""
    text = at.strftime(form)
    second = isoparse(text)
    assert times(text) == [second if second.tzinfo is None else second.astimezone(UTC)]


def test_midnight_at_the_end_of_a_day() -> None:
    """Source: ISO 8601 (2004), 24:00 is the end of a day (from memory)."""
    read = times(
        "2026-09-14 24:00", "2026-09-14 24:00:00", "2026-09-30T24:00:00", "2026-09-14 10:24:00", "2026-09-14 24:00:01"
    )
    assert read == [
        datetime(2026, 9, 15),
        datetime(2026, 9, 15),
        datetime(2026, 10, 1),
        datetime(2026, 9, 14, 10, 24),
        None,
    ]
    assert times("2026-09-14T24:00:00Z") == [datetime(2026, 9, 15, tzinfo=UTC)]
    assert times("14/09/2026 24:00", form="%d/%m/%Y %H:%M") == [datetime(2026, 9, 15)]


@pytest.mark.parametrize(
    ("text", "year"),
    [("14/09/00 10:00", 2000), ("14/09/26 10:00", 2026), ("14.09.69 10:00", 2069), ("14.09.99 10:00", 2099)],
)
def test_years_of_two_digits_are_of_this_century(text: str, year: int) -> None:
    assert times(text, now=datetime(2100, 1, 1, tzinfo=UTC)) == [datetime(year, 9, 14, 10)]


@STEADY
@given(st.lists(st.datetimes(datetime(2001, 9, 10), datetime(2026, 11, 30)), min_size=1, max_size=5))
def test_seconds_and_milliseconds_since_1970(moments: list[datetime]) -> None:
    """Check: the standard library."""
    whole = [at.replace(microsecond=0, tzinfo=UTC) for at in moments]
    assert times(*(str(int(at.timestamp())) for at in whole)) == whole
    assert times(*(str(int(at.timestamp()) * 1000) for at in whole)) == whole


@STEADY
@given(
    st.lists(st.datetimes(datetime(2000, 1, 1), datetime(2026, 11, 30)), min_size=1, max_size=5),
    st.sampled_from([".", ","]),
)
def test_day_numbers_of_spreadsheets(moments: list[datetime], mark: str) -> None:
    """Source: days since 1899-12-30, as spreadsheets count (common practice). 45000.5 is 2023-03-15 12:00."""
    whole = [at.replace(microsecond=0) for at in moments]
    since = [at - datetime(1899, 12, 30) for at in whole]
    texts = [f"{span.days}{mark}{span.seconds * 10**10 // 86400:010d}" for span in since]
    assert times(*texts) == whole
    assert times("45000.5") == [datetime(2023, 3, 15, 12)]


def test_numbers_are_times_only_where_the_whole_column_is() -> None:
    assert times("45000.5", "2026-09-14 10:00") == [None, datetime(2026, 9, 14, 10)]
    assert times("1789041600", "12") == [None, None]
    assert times("45000") == [None]
    assert times("45000", clock=False) == [datetime(2023, 3, 15)]
    assert times("99999.5", "999.5") == [None, None]
    assert times("46279 0.5") == [datetime(2026, 9, 14, 12)]


@pytest.mark.parametrize(
    "text",
    ["2026-09-14", "14 September 2026", "September 2026", "21:05", "14/09 21:05", "2026-09-14 25:00",
     "31/02/2026 10:00", "14 Foo 2026 10:00",
     "Sep 14 10:00", "10.30 Uhr", "26. 9. 14. 21:05", "14/09/2026 13:00 PM", "2026-09-14 10:00 + 2", "14,5", "1.75",
     "٢٠٢٦-٠٩-١٤ ١٠:٠٠"],
)  # fmt: skip
def test_what_is_no_time_of_a_day_is_not_read(text: str) -> None:
    assert times(text, "2026-09-14 10:00")[0] is None


@pytest.mark.parametrize(
    ("cells", "lines"),
    [(["03/04/2026 9:30 p.m."], ('"%d/%m/%Y %I:%M %p"', '"%m/%d/%Y %I:%M %p"')),
     (["03/04/2026 21:30", "03/04/2026 21:30:10"], ('"%d/%m/%Y %H:%M"', '"%m/%d/%Y %H:%M"')), (["3.4.26 21.30"],
      ('"%d.%m.%y %H:%M"', '"%m.%d.%y %H:%M"'))],
)  # fmt: skip
def test_the_line_that_settles_the_order_does_settle_it(cells: list[str], lines: tuple[str, str]) -> None:
    """Both lines that the refusal shows, put into a description, read every cell of the column."""
    with pytest.raises(AmbiguousFormat) as error:
        times(*cells)
    for line, month in zip(lines, (4, 3), strict=True):
        assert f"format = {line}" in str(error.value)
        read = times(*cells, form=line.strip('"'))
        assert [at.month if at else None for at in read] == [month] * len(cells)


def test_a_day_alone_is_read_where_the_format_says_so() -> None:
    assert times("2026-09-14", form="%Y-%m-%d") == [datetime(2026, 9, 14)]


@STEADY
@given(st.lists(st.text(st.sampled_from("0123456789:/.-TZ apmSep,"), max_size=20), min_size=1, max_size=4))
def test_any_text_is_a_time_or_not_read(cells: list[str]) -> None:
    try:
        read = times(*cells)
    except AmbiguousFormat:
        return
    assert len(read) == len(cells)


FORMS = ["{d:02d}.{m:02d}.{y} {H:02d}.{M:02d}", "{d}. {m}. {y} {H}:{M:02d}", "{d:02d}/{m:02d}/{y} {H}h{M:02d}",
"{m}/{d}/{y2:02d} {h}:{M:02d} {p}.m.",
         "{y}. {m}. {d}. {H}:{M:02d}", "{H:02d}:{M:02d} {d:02d}-{m:02d}-{y}",
         "{m:02d}/{d:02d}/{y}, {h}:{M:02d}\u202f{p}m"]  # fmt: skip


@STEADY
@given(
    st.lists(st.datetimes(datetime(2000, 1, 1), NOW.replace(tzinfo=None) - timedelta(days=1)), min_size=1, max_size=8),
    st.sampled_from(FORMS),
)
def test_a_column_in_any_style_reads_as_it_was_written_or_is_refused(moments: list[datetime], form: str) -> None:
    texts = [
        form.format(
            d=at.day,
            m=at.month,
            y=at.year,
            y2=at.year % 100,
            H=at.hour,
            h=at.hour % 12 or 12,
            M=at.minute,
            p="p" if at.hour >= 12 else "a",
        )
        for at in moments
    ]
    try:
        read = times(*texts)
    except AmbiguousFormat:
        assert all(at.day <= 12 for at in moments)
        return
    assert read == [at.replace(second=0, microsecond=0) for at in moments]
