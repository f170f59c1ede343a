"""How the times of an export are written, for its description: whether they read as they stand, and by
which format.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import polars as pl

from recon.intake.clock import AmbiguousFormat, Written, read_times

_NUMERIC = re.compile(r"(\d{1,2})([/.\-])(\d{1,2})\2(\d{2,4})(.*)")
_CLOCK = re.compile(r"(,? )\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?( ?[ap]m)?", re.IGNORECASE)

_ORDERS = ("%d{0}%m{0}", "%m{0}%d{0}")

_FIGURES = re.compile("%[YmdHMS]")
_SHAPES = {"%Y": r"\d{4}"}

_UNUSUAL = (
    "%Y%m%d%H%M%S", "%Y%m%d%H%M", "%Y%m%d %H%M%S", "%Y%m%d %H%M",
    "%d%m%Y %H%M%S", "%m%d%Y %H%M%S", "%d%m%Y %H%M", "%m%d%Y %H%M",
    "%Y-%m-%d %H.%M.%S", "%Y-%m-%d %H.%M", "%Y-%m-%d-%H.%M.%S", "%d.%m.%Y %H.%M.%S",
    "%d.%m.%Y %H.%M", "%d/%m/%Y %H.%M.%S", "%d/%m/%Y %H.%M", "%d-%m-%Y %H.%M.%S",
    "%d-%m-%Y %H.%M", "%d/%m/%Y %Hh%M", "%d-%m-%Y %Hh%M", "%d.%m.%Y %Hh%M",
    "%d.%m.%Y %H:%M Uhr", "%d.%m.%Y, %H:%M Uhr",
)  # fmt: skip
"""Ways of writing a moment that no inference tries, for they would read numbers that are no times."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way to read a column. first, last: its earliest and latest moment so read, as shown to a person."""

    format: str
    first: str
    last: str


@dataclass(frozen=True, slots=True)
class When:
    """What a column of times reads as. share: of its filled cells. format: to be named, where it is
    not inferred, or would not be from a file of the first days of a month.

    inferred: whether the format need not be named for this file. ways: two or more where it cannot be
    settled between them. offsets: whether the cells name their offset from UTC. local: naive, empty where
    offsets are given or nothing is settled. example: the first cell that does not read.
    """

    share: float
    format: str | None = None
    ways: tuple[Way, ...] = ()
    offsets: bool = False
    inferred: bool = True
    local: pl.Series | None = None
    example: str | None = None


def read_when(texts: pl.Series, *, now: datetime, with_clock: bool) -> When:
    """Read trimmed texts (no nulls) as moments, or without clock as days."""
    if texts.len() == 0:
        return When(0.0)
    try:
        written = read_times(texts, None, now=now, with_clock=with_clock)
    except AmbiguousFormat:
        return _either(texts, now, with_clock=with_clock)
    best = _when(texts, written)
    if best.share == 1.0:
        return replace(best, format=_named(texts, best, now, with_clock=with_clock))
    fitting = list(_fitting(texts, now)) if with_clock else []
    if not fitting:
        return best
    form, local = fitting[0]
    if any(not other.equals(local) for _, other in fitting[1:]):
        return When(1.0, ways=tuple(_way(*each) for each in fitting))
    return When(1.0, format=form, inferred=False, local=local)


def _fitting(texts: pl.Series, now: datetime) -> Iterator[tuple[str, pl.Series]]:
    """The unusual formats that read every cell, with what they read, unless that lies ahead."""
    first = str(texts[0])
    for form in _UNUSUAL:
        if re.fullmatch(_FIGURES.sub(lambda part: _SHAPES.get(part[0], r"\d{1,2}"), re.escape(form)), first) is None:
            continue
        local = read_times(texts, form, now=now).local
        if local.null_count() == 0 and not (local > now.replace(tzinfo=None)).any():
            yield form, local


def _named(texts: pl.Series, best: When, now: datetime, *, with_clock: bool) -> str | None:
    """The format, where days and months stand in figures and this file's own days settle which is which:
    the next file's may not.
    """
    if best.local is None or best.offsets:
        return None
    for form in dict.fromkeys(form for order in _ORDERS for form in _formats(texts, order)):
        local = read_times(texts, form, now=now, with_clock=with_clock).local
        if local.null_count() == 0 and local.equals(best.local):
            return form
    return None


def _when(texts: pl.Series, written: Written) -> When:
    read = written.local.is_not_null() | written.moment.is_not_null()
    share = int(read.sum()) / texts.len()
    unread = texts.filter(~read)
    return When(
        share, offsets=bool(written.moment.is_not_null().any()), local=written.local.drop_nulls(),
        example=str(unread[0]) if unread.len() else None,
    )  # fmt: skip


def _either(texts: pl.Series, now: datetime, *, with_clock: bool) -> When:
    """Day first and month first both read all: the formats of both, spelled as the file spells its times."""
    ways: list[Way] = []
    for order in _ORDERS:
        for form in dict.fromkeys(_formats(texts, order)):
            local = read_times(texts, form, now=now, with_clock=with_clock).local
            if local.null_count() == 0:
                ways.append(_way(form, local))
                break
    return When(1.0, ways=tuple(ways))


def _formats(texts: pl.Series, order: str) -> list[str]:
    found = []
    for text in texts.head(200).to_list():
        parts = _NUMERIC.fullmatch(text)
        if parts is None:
            continue
        _, mark, _, year, rest = parts.groups()
        day = order.format(mark) + ("%Y" if len(year) == 4 else "%y")
        clock = _CLOCK.fullmatch(rest)
        if clock is not None:
            joint, seconds, fraction, half = clock.groups()
            hours = "%I" if half else "%H"
            day += (
                f"{joint}{hours}:%M"
                + (":%S" if seconds else "")
                + ("%.f" if fraction else "")
                + ((half and half.upper().replace("AM", "%p").replace("PM", "%p")) or "")
            )
        elif rest:
            continue
        found.append(day)
    return found


def _way(form: str, local: pl.Series) -> Way:
    first, last = local.min(), local.max()
    assert isinstance(first, datetime)
    assert isinstance(last, datetime)
    return Way(form, f"{first:%d %B %Y}", f"{last:%d %B %Y}")
