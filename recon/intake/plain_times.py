"""Times as people and programs of other places write them, brought to the forms that recon.intake.time_formats has.

Only the writing changes: names of months become short English ones, names of weekdays and the words between day and
clock go, clocks get colons, the halves of the day AM and PM, a 24:00 the mark that a day has to be added.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

import polars as pl

from recon.intake.calendar_names import ENGLISH, MONTH_AND_WEEKDAY, MONTHS, WEEKDAYS

_CLOCK: Final = r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: [AP]M)?"


class Plain(NamedTuple):
    """texts: the same times in plain writing. days: how many days later than it says each lies (24:00: one)."""

    texts: pl.Series
    days: pl.Series


def _months() -> Iterator[tuple[str, str]]:
    for number, english in enumerate(ENGLISH, start=1):
        names = sorted((name for name, month in MONTHS.items() if month == number), key=lambda name: (-len(name), name))
        yield rf"(?i)(^|[^\p{{L}}])(?:{'|'.join(names)})\.?([^\p{{L}}.]|$)", f"${{1}} {english} ${{2}}"


_CLOCKS: Final[tuple[tuple[str, str], ...]] = (
    # Marks of direction and unusual blanks.
    (r"[\u{200e}\u{200f}\u{061c}]", ""), (r"[\s\u{a0}\u{2009}\u{202f}]+", " "), (r"^[' ]+| +$", ""),
    # The name of a zone in brackets says nothing beside its offset.
    (r"(?i)([+-]\d{2}:?\d{2}|\bUTC|\bGMT|\dZ) ?\([A-Za-z ]+\)$", "${1}"),
    (r"^(\d{4})年(\d{1,2})月(\d{1,2})日", "${1}-${2}-${3}"),
    (rf"(?i)^(?:{'|'.join(map(re.escape, WEEKDAYS))})\b[.,]*(?: den| the)? +([^ ])", "${1}"),
    (r"(?i)[,\s]+(?:at|um|à|alle ore|alle|ore|om|às|as|a las|kl\.?|-|–) +(\d)", " ${1}"),
    # Clocks: 21h05, 21 h 05 min 30 s, 21:05 Uhr, 21:05:30,5, 9:05 p. m., 9 PM.
    (r"(?i)(\d{1,2}) ?h ?(\d{2})(?: ?(?:m|min)? ?(\d{2}) ?s?| ?min)?([^\p{L}\d]|$)", "${1}:${2}:${3}${4}"),
    (r"(:\d{2}):( |$)", "${1}${2}"),
    (r"(?i)(\d) ?(?:uhr|uur|hs|h)\b\.?", "${1}"), (r"(:\d{2}:\d{2}),(\d)", "${1}.${2}"),
    (r"(?i)(\d) ?a(?:\. ?m\.?|m\b\.?)", "${1} AM"), (r"(?i)(\d) ?p(?:\. ?m\.?|m\b\.?)", "${1} PM"),
    (r"([ ,])(\d{1,2})( [AP]M)", "${1}${2}:00${3}"),
    # Offsets: UTC, GMT+2, +02.
    (r"(?i) ?\b(?:UTC|GMT|UT|TU) ?([+-])(\d{1,2})(?::?(\d{2}))?$", " ${1}${2}:${3}"),
    (r"( [+-])(\d)(:\d*)?$", "${1}0${2}${3}"),
    (r"([:.]\d{2}(?:\.\d+)?(?: [AP]M)?) ?([+-]\d{2}):?$", "${1} ${2}:00"),
    (r"(?i)(\d(?: [AP]M)?) ?(?:UTC|GMT|UT|TU)$", "${1} Z"),
    # Points in the clock, where a day stands before it.
    (r"^(.*\d{4}.*|.*\d[./-]\d.*)([ T])(\d{1,2})\.(\d{2})(?:\.(\d{2}))?( [AP]M)?( Z| [+-]\d{2}:?\d{2})?$",
     "${1}${2}${3}:${4}:${5}${6}${7}"),
    (r"(:\d{2}):( |$)", "${1}${2}"),
)  # fmt: skip

_NAMES: Final[tuple[tuple[str, str], ...]] = (
    *_months(),
    # Tuesday, short, where a day follows that has a month of its own.
    (rf"(?i)^ *{MONTH_AND_WEEKDAY}[ ,]+(\d{{1,4}}[-/.]\d|\d{{1,2}}\.? (?:de )? *[A-Z][a-z]{{2}} )", "${1}"),
    # Words and marks within the day.
    (r"(?i)\b(?:de|of|del|den|the)\b", " "), (r"(?i)^((?:\D* )?\d{1,2})(?:st|nd|rd|th|er|[ºª°])( |,|$)", "${1}${2}"),
    (r"^(\d{1,2})\.? *[-/.]? *([A-Z][a-z]{2})\b *[-/.,]? *(\d{4}|\d{2})\b\.?", "${1} ${2} ${3}"),
    (r"^ *([A-Z][a-z]{2}) *[-/]? *(\d{1,2})\.? *[-/,]? *(\d{4}|\d{2})([^:\d]|$)", "${1} ${2} ${3}${4}"),
    (r"^(\d{4})\.? *[-/]? *([A-Z][a-z]{2})\b *[-/]? *(\d{1,2})\b\.?", "${1} ${2} ${3}"),
)  # fmt: skip
"""Steps for texts with names in them; most columns are without."""

_DAYS: Final[tuple[tuple[str, str], ...]] = (
    (r"^(\d{1,2})\. ?(\d{1,2})\. ?(\d{4})\.?", "${1}.${2}.${3}"),
    (r"^(\d{4})\. ?(\d{1,2})\. ?(\d{1,2})\.?( |$)", "${1}.${2}.${3}${4}"),
    (r"^(\d{1,2})\. (\d{1,2})\. (\d{2})([ ,]|$)", "${1}.${2}.${3}${4}"),
    (r"[ ,]+", " "), (r"^ | $", ""),
    # The clock before the day or within it; a date with an empty clock beside a clock with an empty date.
    (rf"^({_CLOCK}) (.*\d.*)$", "${2} ${1}"),
    (rf"^([A-Z][a-z]{{2}}) (\d{{1,2}}) ({_CLOCK})((?: Z| UTC| GMT)?) (\d{{4}})$", "${1} ${2} ${5} ${3}${4}"),
    (r" (?:UTC|GMT)$", " Z"),
    (r" (?:1899-12-3[01]|1900-01-0[01])[ T](\d)", " ${1}"),
    (r"^(.*\d{4}.*) 0?0:00(?::00(?:\.0+)?)? (\d{1,2}:.*)$", "${1} ${2}"),
)  # fmt: skip


def plainly(texts: pl.Series) -> Plain:
    """Bring a column to plain writing. Each step is one replacement over the whole column."""
    # As in most logs, hardly a time may be written twice: then there is nothing to gain by reading each once.
    some = texts.gather_every(max(1, texts.len() // 1000))
    once = texts.unique(maintain_order=True) if texts.len() > 1000 and some.n_unique() * 2 < some.len() else texts
    shapes = _shapes(once) if once.len() > 10 * _FEW_SHAPES else None
    written, shapes = _stepped(once, _CLOCKS, shapes)
    if written.str.contains(r"\p{L}{3}").any():
        written, shapes = _stepped(written, _NAMES, shapes)
    written, _ = _stepped(written, _DAYS, shapes)
    midnight = written.str.contains(r"(?:^|[ T])24:00(?::00(?:\.0+)?)?(?:$|[ Z+-])").fill_null(False)
    if midnight.any():
        written = written.zip_with(~midnight, written.str.replace(r"([ T])24:00", "${1}00:00"))
    if once.len() == texts.len():
        return Plain(written, midnight.cast(pl.Int64))
    read = pl.DataFrame({"text": once, "plain": written, "days": midnight.cast(pl.Int64)})
    read = texts.alias("text").to_frame().join(read, on="text", how="left", nulls_equal=True, maintain_order="left")
    return Plain(read["plain"], read["days"])


_FEW_SHAPES = 500
"""Shapes of texts up to which it pays to ask them first which steps there are to take."""


def _stepped(
    texts: pl.Series, steps: tuple[tuple[str, str], ...], shapes: pl.Series | None
) -> tuple[pl.Series, pl.Series | None]:
    """Take the steps one after the other; where the shapes of the texts are known and few, those alone that find
    something. Returns the texts and their shapes."""
    if shapes is None or shapes.len() > _FEW_SHAPES:
        return _replaced(texts, steps), None
    needed: list[tuple[str, str]] = []
    for at, (found, instead) in enumerate(steps):
        if _names_digits(found):
            texts, needed = _replaced(texts, needed), []
            if texts.str.contains(found).any():
                # What becomes of the shapes then, they do not show.
                return _replaced(texts, steps[at:]), None
        elif shapes.str.contains(found).any():
            needed.append((found, instead))
            shapes = _shapes(_replaced(shapes, [(found, instead)]))
    return _replaced(texts, needed), shapes


def _shapes(texts: pl.Series) -> pl.Series:
    """The different texts, where any digit is as good as another: a step finds the same in all texts of one shape."""
    return texts.str.replace_all("[0-9]", "9").unique()


def _names_digits(pattern: str) -> bool:
    """Whether a step looks for certain digits, which a shape does not show; it has to be tried."""
    return re.search("[0-9]", re.sub(r"\\u\{[0-9a-f]+\}|\{[0-9,]+\}", "", pattern)) is not None


def _replaced(texts: pl.Series, steps: Iterable[tuple[str, str]]) -> pl.Series:
    written = pl.col("text")
    for found, instead in steps:
        written = written.str.replace_all(found, instead)
    return texts.alias("text").to_frame().select(written.alias("text")).to_series()
