"""The formats of written times, and which of them can read a text: its shape tells, far cheaper than trying."""

import re
from collections import Counter
from functools import cache

import polars as pl

ORDERS = ("year first", "day first", "month first")

_CLOCKS = ("%H:%M:%S%.f", "%H:%M", "%I:%M:%S %p", "%I:%M %p")
_OFFSETS = ("", "%#z", " %#z")
_DATES = {
    "year first": ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%Y %b %d"),
    "day first": (
        "%d/%m/%y", "%d/%m/%Y", "%d.%m.%y", "%d.%m.%Y", "%d-%m-%y", "%d-%m-%Y", "%d %b %Y", "%d %B %Y",
        "%d-%b-%Y", "%d %b %y",
    ),
    "month first": (
        "%m/%d/%y", "%m/%d/%Y", "%m-%d-%y", "%m-%d-%Y", "%m.%d.%y", "%m.%d.%Y", "%b %d, %Y", "%B %d, %Y",
        "%b %d %Y", "%b %d %y",
    ),
}  # fmt: skip
"""The formats of each order. Two-digit years stand last. Names of months are English: see recon.intake.plain_times."""

_JOINTS = {"year first": (" ", "T", ", "), "day first": (" ", ", "), "month first": (" ", ", ")}
_RUN_TOGETHER = {"year first": ("%Y%m%d%H%M%S", "%Y%m%d%H%M")}

_SHAPES = {
    "%Y": r"\d{4}", "%y": r"\d{2}", "%m": r"\d{1,2}", "%d": r"\d{1,2}", "%b": "[a-z]{3}", "%B": "[a-z]{3,}",
    "%H": r"\d{1,2}",
    "%I": r"\d{1,2}", "%M": r"\d{2}", "%S": r"\d{2}", "%.f": r"(\.\d{1,9})?", "%p": "[ap]m",
    "%#z": r"(z|[+-]\d{2}:?\d{2})",
}  # fmt: skip


@cache
def _pattern(form: str) -> re.Pattern[str]:
    """A pattern for the texts that a part of a format can read."""
    parts = re.split(r"(%#z|%\.f|%[A-Za-z])", form)
    return re.compile("".join(_SHAPES.get(part) or re.escape(part) for part in parts), re.IGNORECASE)


def shapes(texts: pl.Series) -> list[str]:
    """The shapes of some texts (every digit a 9), each once, the commonest first."""
    found = Counter(re.sub(r"\d", "9", text).lower() for text in texts.drop_nulls().to_list())
    return [shape for shape, _ in found.most_common(20)]


@cache
def possible(shape: str, order: str, with_clock: bool) -> tuple[str, ...]:
    """The formats of an order that can read texts of this shape: a day, a joint, a clock, an offset."""
    found = [form for form in _RUN_TOGETHER.get(order, ()) if with_clock and _pattern(form).fullmatch(shape)]
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
                found += [f"{day}{join}{clock}" for clock in _clocks(rest[len(join) :])]
    return tuple(found)


def _clocks(rest: str) -> list[str]:
    return [f"{clock}{mark}" for mark in _OFFSETS for clock in _CLOCKS if _pattern(clock + mark).fullmatch(rest)]


def with_other_clocks(form: str) -> list[str]:
    """A format and those with the same day and another clock: a log leaves out the seconds where they are 0."""
    for clock in (*_CLOCKS, "%H:%M:%S", "%H:%M:%S.%f"):
        if form.endswith(clock) and any(form.startswith(day) for days in _DATES.values() for day in days):
            stem = form[: -len(clock)]
            return [form, *(stem + other for other in _CLOCKS if stem + other != form)]
    return [form]
