"""Written times as read: the format settled from the whole column.

Which zone they are in, and what becomes of hours that happened twice or never, is settled in recon.intake.moments.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import polars as pl

from recon.intake.number_times import read_numbers
from recon.intake.plain_times import plainly
from recon.intake.recurring import recur
from recon.intake.table import FEW_ROWS, begin_between
from recon.intake.time_formats import ORDERS, possible, shapes, with_other_clocks
from recon.model.frames import TIME

OLDEST_YEAR = 2000
"""A vend, count or payout from before this year comes from a clock that was never set."""

_1900, _2000 = -2_208_988_800_000_000, 946_684_800_000_000
"""The first moments of these years, in microseconds since 1970."""

_FURTHEST_AHEAD = timedelta(hours=14)
"""No zone's clocks are further ahead of UTC: a local time may be later than the run's UTC by so much and not lie
ahead."""


class AmbiguousFormat(Exception):
    """A column cannot be read one way: two readings fit equally well, or the format given is none.

    The text shows what was found and the line that settles it.
    """


class Written(NamedTuple):
    """A column of times as read from their text.

    local: naive Datetime("us"), null where an offset was given or nothing reads. moment: UTC where an offset was given.
    """

    local: pl.Series
    moment: pl.Series

    @property
    def read(self) -> int:
        """How many cells read as a time."""
        for one, other in ((self.local, self.moment), (self.moment, self.local)):
            if other.null_count() == other.len():
                return one.len() - one.null_count()
        return int((self.local.is_not_null() | self.moment.is_not_null()).sum())

    def later(self, days: pl.Series) -> "Written":
        """The same, each time so many days later."""
        if not (days > 0).any():
            return self
        on = (days * 86_400_000_000).cast(pl.Duration("us"))
        return Written(self.local + on, self.moment + on)


@dataclass(frozen=True, slots=True)
class _Reading:
    """One way to read a column: the order of its days, the formats tried, what they give."""

    order: str
    formats: list[str]
    written: Written


def read_times(
    texts: pl.Series, form: str | None, *, now: datetime, with_clock: bool = True, key: str = "time",
    on_moment: Callable[[], None] = lambda: None,
) -> Written:  # fmt: skip
    """Read a column of trimmed text as times (or, without clock, as days).

    form: the description's format, or None to settle it from the whole column: year first, day first or month first,
    whichever reads the most cells. Where day first and month first read them equally well and differently, the one
    that puts a time after `now` is dropped; if both stand, AmbiguousFormat says so. What does not read as it stands is
    read again in plain writing (see recon.intake.plain_times), or as numbers (recon.intake.number_times). on_moment:
    called where `now` decided between two orders: at a later moment it may not.
    """
    if form is not None:
        return _by_description(texts, form)
    there = texts.len() - texts.null_count()
    readings = _readings(texts, with_clock=with_clock)
    if there and (not readings or readings[0].written.read < there):
        numbers = read_numbers(texts, with_clock=with_clock)
        if numbers is not None:
            return Written(*numbers)
        plain = plainly(texts)
        again = _readings(plain.texts, with_clock=with_clock)
        if again and (not readings or again[0].written.read > readings[0].written.read):
            texts = plain.texts
            readings = [_Reading(each.order, each.formats, each.written.later(plain.days)) for each in again]
    if not readings:
        return _by_formats(texts, [])
    differing = [each for each in readings[1:] if not _same(each.written, readings[0].written)]
    if not differing:
        _refuse_years_in_front(readings[0], texts, now, key, with_clock=with_clock)
        return readings[0].written
    settled = _settle([readings[0], *differing], texts, now, key)
    _refuse_years_in_front(replace(readings[0], written=settled), texts, now, key, with_clock=with_clock)
    on_moment()
    return settled


_LONG_AGO = timedelta(days=5 * 365)
"""A log is hardly older than this when it is read first."""


def _refuse_years_in_front(reading: _Reading, texts: pl.Series, now: datetime, key: str, *, with_clock: bool) -> None:
    """Raise AmbiguousFormat where a column such as 26-02-13 reads as recent days with its year of two digits in front,
    and as days of long ago, or of many years, with it behind: which is meant is for the description to say."""
    if not any("%y" in form for form in reading.formats):
        return
    latest = now.astimezone(UTC).replace(tzinfo=None) + _FURTHEST_AHEAD
    days = _days(reading.written)
    told = texts.drop_nulls()
    with_century = told.str.replace(r"^([0-9]{2})([-/.][0-9]{1,2}[-/.][0-9]{1,2})([^0-9]|$)", "20${1}${2}${3}")
    other = _read_order(with_century, ORDERS[0], shapes(with_century.head(200)), with_clock=with_clock)
    if other is None or other.written.read < told.len():
        return
    newer = _days(other.written)
    if (newer > latest).any() or (newer < latest - _LONG_AGO).any():
        return
    if not (days < latest - _LONG_AGO).all() and _span(newer) >= _span(days):
        return
    place = days.is_not_null().arg_max() or 0
    at = int(texts[: place].is_not_null().sum())
    form = _form_of(other, str(with_century[at])).replace("%Y", "%y")
    behind = _form_of(reading, str(texts[place]))
    raise AmbiguousFormat(
        f'the column of {key} can be read two ways ("{texts[place]}" is {days[place]:%d %B %Y}, or with the year in'
        f" front {newer[at]:%d %B %Y}): add to the description the line"
        f' format = "{behind}" or format = "{form}" under [time]'
    )


def _span(days: pl.Series) -> timedelta:
    first, last = days.min(), days.max()
    assert isinstance(first, datetime)
    assert isinstance(last, datetime)
    return last - first


def read_alike(texts: pl.Series, form: str | None, *, with_clock: bool = True, blanks: bool = True) -> Written:
    """Read the cells that say the same in whichever column they stand, and leave out all others.

    These are the ones that the description's format reads as it stands and, where it gives none, days and times as
    ISO 8601 has them: a column that holds nothing else needs not be settled by itself. blanks: whether a text may hold
    blanks.
    Raises AmbiguousFormat where the description's format is none.
    """
    if form is not None:
        try:
            return _by_formats(texts, [form.replace(".%f", "%.f")])
        except pl.exceptions.ComputeError as error:
            raise AmbiguousFormat(str(error)) from error
    if with_clock and not blanks and begin_between(texts, "0", ":"):
        sizes = texts.str.len_bytes()
        if sizes.min() == sizes.max() == _ISO_LENGTH:
            # Polars takes fewer digits than a part has, and signs and blanks before them: not at this length, where the
            # first is a digit and none is a blank.
            read = _read(texts, _ISO_FORMATS[0])
            if read.null_count() == 0:
                return _written(read, None, texts.len())
    texts = _only(texts, _ISO if with_clock else _ISO_DAY)
    return _by_formats(texts, [*_ISO_FORMATS] if with_clock else ["%Y-%m-%d"])


def _only(texts: pl.Series, pattern: str) -> pl.Series:
    """Return the texts that are written so throughout, and null for all others."""
    if texts.len() <= FEW_ROWS:
        form = re.compile(pattern.strip("^$"))
        cells = [cell if cell is not None and form.fullmatch(cell) else None for cell in texts.to_list()]
        return pl.Series(cells, dtype=pl.String) if cells.count(None) > texts.null_count() else texts
    told = texts.str.contains(pattern)
    return texts if told.all() else texts.to_frame("t").select(pl.when(told).then("t")).to_series()


_ISO_DAY = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
_ISO = "^[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?$"
_ISO_LENGTH = 19
_ISO_FORMATS = ("%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M")


def _readings(texts: pl.Series, *, with_clock: bool) -> list[_Reading]:
    """The orders that read the most cells, each with what it reads; none where nothing reads."""
    best: list[_Reading] = []
    most = 0
    first = shapes(texts.drop_nulls().head(200))
    for order in ORDERS:
        if most == texts.len() - texts.null_count() and not any(possible(shape, order, with_clock) for shape in first):
            continue
        reading = _read_order(texts, order, first, with_clock=with_clock)
        count = reading.written.read if reading is not None else 0
        if reading is None or count == 0:
            continue
        if count > most:
            best, most = [reading], count
        elif count == most:
            best.append(reading)
    return best


def _read_order(texts: pl.Series, order: str, first: list[str], *, with_clock: bool) -> _Reading | None:
    """Read a column by the formats of one order: those that the first cells suggest, then those that the rest do."""
    formats = list(dict.fromkeys(form for shape in first for form in possible(shape, order, with_clock)))
    written = _by_formats(texts, formats)
    if written.read == texts.len() - texts.null_count():
        return _Reading(order, formats, written) if formats else None
    left = texts.filter(written.local.is_null() & written.moment.is_null()).drop_nulls()
    if left.len():
        more = [form for shape in shapes(left.head(10_000)) for form in possible(shape, order, with_clock)]
        if set(more) - set(formats):
            formats = list(dict.fromkeys(formats + more))
            written = _by_formats(texts, formats)
    return _Reading(order, formats, written) if formats else None


def _read(texts: pl.Series, form: str) -> pl.Series:
    """Read by one format; a two-digit year is one of 2000 to 2099, and never passes as the year 26."""
    read = _parsed(texts, form)
    # As a number: a datetime of Python's holds no year 0, which a written one may well have.
    oldest = read.cast(pl.Int64).min()
    if not isinstance(oldest, int):
        return read
    if "%y" in form and oldest < _2000:
        return (
            read.to_frame("t")
            .select(pl.when(pl.col("t").dt.year() < 2000).then(pl.col("t").dt.offset_by("100y")).otherwise("t"))
            .to_series()
        )
    if "%Y" not in form or oldest >= _1900:
        return read
    return read.to_frame("t").select(pl.when(pl.col("t").dt.year() >= 1900).then(pl.col("t"))).to_series()


def _parsed(texts: pl.Series, form: str) -> pl.Series:
    """Read by a format as it stands. A clock without parts of a second is read first: that takes a quarter of the time.

    Only where the year has four digits: polars takes more than two digits for a short one where it reads in haste.
    """
    # Where hardly a text recurs, to look each up among those read before takes as long as to read it.
    cache = texts.len() <= FEW_ROWS or recur(texts)
    if not form.endswith("%S%.f") or "%Y" not in form:
        return texts.str.to_datetime(form, time_unit="us", strict=False, cache=cache)
    read = texts.str.to_datetime(form.removesuffix("%.f"), time_unit="us", strict=False, cache=cache)
    if read.null_count() == texts.null_count():
        return read
    left = read.is_null() & texts.str.contains(_PARTS).fill_null(False)
    if not left.any():
        return read
    return read.scatter(left.arg_true(), texts.filter(left).str.to_datetime(form, time_unit="us", strict=False))


_PARTS = r":[0-9]+\.|:60"
"""Parts of a second, or a second put in between two days."""


def _is_moment(form: str) -> bool:
    return "%z" in form or "%#z" in form or "%:z" in form


def _by_formats(texts: pl.Series, formats: list[str]) -> Written:
    local: pl.Series | None = None
    moment: pl.Series | None = None
    there = texts.len() - texts.null_count()
    for form in formats:
        read = _read(texts, form)
        if _is_moment(form):
            read = read.dt.convert_time_zone("UTC")
            moment = read if moment is None else moment.zip_with(moment.is_not_null(), read)
        else:
            local = read if local is None else local.zip_with(local.is_not_null(), read)
        if _written(local, moment, texts.len()).read == there:
            break
    return _written(local, moment, texts.len())


def _written(local: pl.Series | None, moment: pl.Series | None, rows: int) -> Written:
    """With empty columns for what there is not."""
    return Written(
        _none(pl.Datetime("us"), rows) if local is None else local, _none(TIME, rows) if moment is None else moment
    )


def _none(dtype: pl.DataType, rows: int) -> pl.Series:
    return pl.Series([None], dtype=dtype).new_from_index(0, rows)


def _by_description(texts: pl.Series, form: str) -> Written:
    """Read by the format that the description gives; what does not fit it, in plain writing or with another clock."""
    try:
        written = _by_formats(texts, [form.replace(".%f", "%.f")])
        if written.read == texts.len() - texts.null_count():
            return written
        plain = plainly(texts)
        again = _by_formats(plain.texts, [other.replace(".%f", "%.f") for other in with_other_clocks(form)]).later(
            plain.days
        )
    except pl.exceptions.ComputeError as error:
        fault = str(error).partition("\n")[0]
        raise AmbiguousFormat(f'the format "{form}" under [time] in the description cannot be used: {fault}') from error
    local = written.local.zip_with(written.local.is_not_null() | written.moment.is_not_null(), again.local)
    return Written(
        local, written.moment.zip_with(written.local.is_not_null() | written.moment.is_not_null(), again.moment)
    )


def _same(one: Written, other: Written) -> bool:
    return bool(one.local.equals(other.local, null_equal=True) and one.moment.equals(other.moment, null_equal=True))


def _settle(readings: list[_Reading], texts: pl.Series, now: datetime, key: str) -> Written:
    """Of readings that fit equally well the one that lies before the run; else the column is refused, both shown."""
    latest = now.astimezone(UTC).replace(tzinfo=None) + _FURTHEST_AHEAD
    fitting = [each for each in readings if not bool((_days(each.written) > latest).any())]
    if len(fitting) == 1:
        return fitting[0].written
    apart = (_days(readings[0].written) != _days(readings[1].written)).fill_null(False)
    # Where no cell reads both ways, each order reads cells that the other does not.
    where = [apart.arg_max() if apart.any() else _days(each.written).is_not_null().arg_max() for each in readings]
    examples = [str(texts[at or 0]) for at in where]
    told = [f"{each.order}: {_days(each.written)[at or 0]:%d %B %Y}" for each, at in zip(readings, where, strict=True)]
    first, *others = zip(examples, told, strict=True)
    shown = f'"{first[0]}" is {first[1]}' + "".join(
        f" or {said}" if text == first[0] else f', "{text}" is {said}' for text, said in others
    )
    lines = " or ".join(
        f'format = "{_form_of(each, example)}"' for each, example in zip(readings, examples, strict=True)
    )
    raise AmbiguousFormat(
        f"the column of {key} can be read two ways ({shown}): add to the description the line {lines} under [time]"
    )


def _days(written: Written) -> pl.Series:
    """Local times, and moments as UTC shows them."""
    return written.local.zip_with(written.local.is_not_null(), written.moment.dt.replace_time_zone(None))


def _form_of(reading: _Reading, text: str) -> str:
    """The format by which a reading reads a text, as a description spells it."""
    one = pl.Series([text])
    form = next((form for form in reading.formats if _by_formats(one, [form]).read), reading.formats[0])
    return form.replace("%.f", "").replace("%#z", "%z")
