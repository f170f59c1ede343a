"""Written times as read: the format settled from the whole column.

Which zone they are in, and what becomes of hours that happened twice or never, is settled in recon.intake.moments.
"""

import re
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache

import polars as pl

from recon.model.frames import TIME

OLDEST_YEAR = 2000
"""A vend, count or payout from before this year comes from a clock that was never set."""

_FURTHEST_AHEAD = timedelta(hours=14)
"""No zone's clocks are further ahead of UTC: a local time may be later than the run's UTC by so much and not lie ahead."""

_CLOCKS_24 = ("%H:%M:%S%.f", "%H:%M")
_CLOCKS = (*_CLOCKS_24, "%I:%M:%S %p", "%I:%M %p")
_DATES = {
    "year first": ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d"),
    "day first": ("%d/%m/%y", "%d/%m/%Y", "%d.%m.%y", "%d.%m.%Y", "%d-%m-%y", "%d-%m-%Y", "%d %b %Y", "%d %B %Y", "%d-%b-%Y"),
    "month first": ("%m/%d/%y", "%m/%d/%Y", "%m-%d-%y", "%m-%d-%Y", "%m.%d.%Y", "%b %d, %Y", "%B %d, %Y"),
}  # fmt: skip

_JOINTS = {"year first": (" ", "T", ", "), "day first": (" ", ", "), "month first": (" ", ", ")}


class AmbiguousFormat(Exception):
    """A column of times cannot be read one way: two readings fit equally well, or the format given is none.

    The text shows what was found and the line that settles it.
    """


@dataclass(frozen=True, slots=True)
class Written:
    """A column of times as read from their text.

    local: naive Datetime("us"), null where an offset was given or nothing reads. moment: UTC where an offset was given.
    """

    local: pl.Series
    moment: pl.Series


_SHAPES = {
    "%Y": r"\d{4}", "%y": r"\d{2}", "%m": r"\d{1,2}", "%d": r"\d{1,2}", "%b": "[a-z]{3}", "%B": "[a-z]{3,}", "%H": r"\d{1,2}",
    "%I": r"\d{1,2}", "%M": r"\d{2}", "%S": r"\d{2}", "%.f": r"(\.\d{1,9})?", "%p": "[ap]m", "%#z": r"(z|[+-]\d{2}:?\d{2})",
}  # fmt: skip


@cache
def _pattern(form: str) -> re.Pattern[str]:
    """A pattern for the texts that a part of a format can read: trying patterns is far cheaper than trying formats."""
    parts = re.split(r"(%#z|%\.f|%[A-Za-z])", form)
    return re.compile("".join(_SHAPES.get(part) or re.escape(part) for part in parts), re.IGNORECASE)


@cache
def _possible(shape: str, order: str, with_clock: bool) -> tuple[str, ...]:
    """The formats of an order that can read texts of this shape (every digit a 9): a day, a joint, a clock, an offset."""
    found: list[str] = []
    for day in _DATES[order]:
        begins = _pattern(day).match(shape)
        if begins is None:
            continue
        rest = shape[begins.end() :]
        if not with_clock:
            found += [day] if not rest else []
            continue
        for join in _JOINTS[order]:
            if rest.startswith(join.lower()):
                found += [f"{day}{join}{clock}" for clock in _clocks(rest[len(join) :], order)]
    return tuple(found)


def _clocks(rest: str, order: str) -> list[str]:
    plain = [clock for clock in _CLOCKS if _pattern(clock).fullmatch(rest)]
    if order != "year first":
        return plain
    # An offset stands behind times written in the order of ISO 8601 and RFC 3339, and hardly behind others.
    offset = [f"{clock}{mark}" for clock in _CLOCKS_24 for mark in ("%#z", " %#z") if _pattern(clock + mark).fullmatch(rest)]
    return plain + offset


def _shapes(texts: pl.Series) -> list[str]:
    """The shapes of some texts, each once, the commonest first."""
    shapes = Counter(re.sub(r"\d", "9", text).lower() for text in texts.drop_nulls().to_list())
    return [shape for shape, _ in shapes.most_common(20)]


def _read_order(texts: pl.Series, order: str, shapes: list[str], *, with_clock: bool) -> Written | None:
    """Read a column by the formats of one order: those that the first cells suggest (`shapes`), then those that the rest do."""
    formats = list(dict.fromkeys(form for shape in shapes for form in _possible(shape, order, with_clock)))
    written = _by_formats(texts, formats)
    left = texts.filter(written.local.is_null() & written.moment.is_null()).drop_nulls()
    if left.len():
        more = [form for shape in _shapes(left.head(10_000)) for form in _possible(shape, order, with_clock)]
        if set(more) - set(formats):
            formats = list(dict.fromkeys(formats + more))
            written = _by_formats(texts, formats)
    return written if formats else None


def _read(texts: pl.Series, form: str) -> pl.Series:
    """Read by one format; a two-digit year never passes as the year 26."""
    read = texts.str.to_datetime(form, time_unit="us", strict=False)
    if "%Y" not in form or not (read.dt.year() < 1900).any():
        return read
    return read.to_frame("t").select(pl.when(pl.col("t").dt.year() >= 1900).then(pl.col("t"))).to_series()


def _is_moment(form: str) -> bool:
    return "%z" in form or "%#z" in form or "%:z" in form


def _by_formats(texts: pl.Series, formats: list[str]) -> Written:
    local = pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, texts.len())
    moment = pl.Series([None], dtype=TIME).new_from_index(0, texts.len())
    for form in formats:
        read = _read(texts, form)
        if _is_moment(form):
            moment = moment.zip_with(moment.is_not_null(), read.dt.convert_time_zone("UTC"))
        else:
            local = local.zip_with(local.is_not_null(), read)
        if (local.is_not_null() | moment.is_not_null() | texts.is_null()).all():
            break
    return Written(local, moment)


def read_times(texts: pl.Series, form: str | None, *, now: datetime, with_clock: bool = True, key: str = "time") -> Written:
    """Read a column of trimmed text as times (or, without clock, as days).

    form: the description's format, or None to settle it from the whole column: year first, day first or month first,
    whichever reads the most cells. Where day first and month first read them equally well and differently, the one
    that puts a time after `now` is dropped; if both stand, AmbiguousFormat says so.
    """
    if form is not None:
        try:
            return _by_formats(texts, [form.replace(".%f", "%.f")])
        except pl.exceptions.ComputeError as error:
            fault = str(error).partition("\n")[0]
            raise AmbiguousFormat(f'the format "{form}" under [time] in the description cannot be used: {fault}') from error
    best: list[tuple[str, Written]] = []
    most = 0
    shapes = _shapes(texts.drop_nulls().head(200))
    for order in _DATES:
        if most == texts.len() - texts.null_count() and not any(_possible(shape, order, with_clock) for shape in shapes):
            continue
        written = _read_order(texts, order, shapes, with_clock=with_clock)
        if written is None:
            continue
        count = int((written.local.is_not_null() | written.moment.is_not_null()).sum())
        if count > most:
            best, most = [(order, written)], count
        elif count == most:
            best.append((order, written))
    if not best:
        return _by_formats(texts, [])
    differing = [entry for entry in best[1:] if not _same(entry[1], best[0][1])]
    return _settle([best[0], *differing], texts, now, key) if differing else best[0][1]


def _same(one: Written, other: Written) -> bool:
    return bool(one.local.equals(other.local, null_equal=True) and one.moment.equals(other.moment, null_equal=True))


def _settle(readings: list[tuple[str, Written]], texts: pl.Series, now: datetime, key: str) -> Written:
    latest = now.astimezone(UTC).replace(tzinfo=None) + _FURTHEST_AHEAD
    possible = [entry for entry in readings if not bool((entry[1].local > latest).any())]
    if len(possible) == 1:
        return possible[0][1]
    example = str(texts.drop_nulls()[0])
    shown = " or ".join(
        f"{order}: {written.local.drop_nulls()[0]:%d %B %Y}" for order, written in readings if written.local.drop_nulls().len()
    )
    raise AmbiguousFormat(
        f'the column of {key} can be read two ways ("{example}" is {shown}): add to the description'
        f' the line format = "%d/%m/%Y ..." or format = "%m/%d/%Y ..." under [time], spelled as the file spells it'
    )
