"""Selection labels that a spreadsheet changed, mended where the layout leaves no doubt.

A spreadsheet reads 07 as the number 7, 110 as 110.0 or 1.10E+02, 1E2 as 100, 3-1 and MAR1 as days. A label as written
that the machine's layout has is taken as it stands. One that it does not have is mended where exactly one label of the
layout can have become it; where none or several can, nothing is guessed.
"""

import difflib
import re
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

import polars as pl

from recon.intake.calendar_names import MONTHS
from recon.intake.known import Known
from recon.intake.table import FEW_ROWS
from recon.model.frames import NOTICES, Frame

_NUMBER = re.compile(r"\+?[0-9]{1,12}(?:[.,][0-9]{1,12})?(?:e[+-]?[0-9]{1,3})?", re.IGNORECASE)
_ISO_DAY = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[ T]00:00(?::00(?:\.0+)?)?)?")
_THREE = re.compile(r"([0-9]{1,2})[-/. ]([0-9]{1,2})[-/. ]([0-9]{4}|[0-9]{2})(?: 0{1,2}:00(?::00)?)?")
_TWO = re.compile(r"([0-9]{1,2})[-/. ]([0-9]{1,2})\.?")
_WITH_NAME = re.compile(r"(?:([0-9]{1,4})[-/. ]*)?([^\W\d_]{3,})\.?(?:[-/. ]*([0-9]{1,4}))?(?:[-/. ]+([0-9]{2,4}))?")
_EPOCH = date(1899, 12, 30)
_SERIALS = range(36_526, 73_051)
"""Day numbers of a spreadsheet that lie in the years 2000 to 2099."""

_Day = tuple[str, int, int]
"""A day as a spreadsheet keeps it for a label: ("day", month, day), or ("month", month, year of two digits)."""


def mended(work: Frame, known: Known) -> Frame:
    """Mend the column `label` of rows whose machine has a layout.

    Adds `label_as_written` (where it was mended, else null) and `why_stray` (where the layout has no such label), if
    there is such a row at all.
    """
    named = work.select("machine", "label").unique() if work.height > FEW_ROWS else work
    strays = [
        (machine, label)
        for machine, label in dict.fromkeys(zip(named["machine"], named["label"], strict=True))
        if label is not None and machine in known.labels and label not in known.labels[machine]
    ]
    if not strays:
        return work
    found = [(machine, label, candidates(label, known.labels[machine])) for machine, label in strays]
    told = pl.DataFrame(
        [
            (machine, label, *((fits[0], None) if len(fits) == 1 else (None, _stray(machine, label, fits, known))))
            for machine, label, fits in found
        ],
        schema={"machine": pl.String, "label": pl.String, "mended": pl.String, "why_stray": pl.String}, orient="row",
    )  # fmt: skip
    joined = work.join(told, on=["machine", "label"], how="left", maintain_order="left")
    return joined.with_columns(
        pl.when(pl.col("mended").is_not_null()).then("label").alias("label_as_written"),
        pl.coalesce("mended", "label").alias("label"),
    ).drop("mended")


def repaired_notices(work: Frame) -> Frame:
    """A remark `label-repaired` for every row whose label was mended; the detail is `label "7" read as 07`."""
    said = work.filter(pl.col("label_as_written").is_not_null())
    detail = pl.format('label "{}" read as {}', pl.col("label_as_written").str.slice(0, 80), "label")
    told = {
        "kind": pl.lit("label-repaired"),
        "file": pl.col("file"),
        "row": pl.col("row"),
        "machine": pl.col("machine"),
        "detail": detail,
    }
    return said.select(told.get(name, pl.lit(None)).cast(dtype).alias(name) for name, dtype in NOTICES.schema.items())


def candidates(written: str, labels: list[str]) -> list[str]:
    """The labels of a layout that a spreadsheet or a hasty hand can have turned into `written`, in their order."""
    bare = written.strip().removeprefix("'")
    text = bare.removeprefix("=").strip('"').strip()
    meant = (text.casefold(), bare.casefold())
    fitting = [label for label in dict.fromkeys(labels) if label.casefold() in meant]
    if not fitting:
        fitting = [label for label in dict.fromkeys(labels) if _same_number(text, label)]
    if not fitting:
        days = _days_meant(text)
        fitting = [label for label in dict.fromkeys(labels) if days & _days_of(label)]
    return fitting


def _stray(machine: str, label: str, fits: list[str], known: Known) -> str:
    """The reason for a label that the machine's layout does not have, with those that it may be."""
    if fits:
        hint = f"; it may be {' or '.join(fits)}"
    else:
        near = difflib.get_close_matches(label, known.labels[machine], n=1)
        hint = f"; the nearest is {near[0]}" if near else ""
    return f'label "{label[:80]}" is not in the layout of {machine}{hint}'


def _same_number(text: str, label: str) -> bool:
    """Whether text and label are the same number; 1.1E+02 is every number that so few digits can stand for."""
    written, meant = _number(text), _number(label)
    if written is None or meant is None:
        return False
    if "e" not in text.lower():
        return written == meant
    shown = len(re.sub(r"[^0-9]", "", re.split("e", text, flags=re.IGNORECASE)[0]).lstrip("0"))
    return written == meant or (meant != 0 and _to_digits(meant, shown) == written)


def _number(text: str) -> Decimal | None:
    if not _NUMBER.fullmatch(text):
        return None
    try:
        return Decimal(text.replace(",", "."))
    except InvalidOperation:  # an exponent beyond what decimals can hold
        return None


def _to_digits(number: Decimal, digits: int) -> Decimal:
    """Rounded as spreadsheets show it, half up, to so many digits."""
    last = Decimal(1).scaleb(number.adjusted() - max(digits, 1) + 1)
    return (number / last).to_integral_value(ROUND_HALF_UP) * last


def _days_meant(text: str) -> frozenset[_Day]:
    """The days that a cell may show: 03-Jan, Mar-40, 2026-03-01, 01/03/2026, 1/3, 46082."""
    if text.isascii() and text.isdigit() and len(text) == 5 and int(text) in _SERIALS:
        return frozenset(_of_date(_EPOCH + timedelta(days=int(text))))
    if found := _ISO_DAY.fullmatch(text):
        return frozenset(_of_parts(int(found[1]), int(found[2]), int(found[3])))
    if found := _THREE.fullmatch(text):
        one, two, year = int(found[1]), int(found[2]), int(found[3])
        return frozenset([*_of_parts(year, one, two), *_of_parts(year, two, one)])
    return _days_of(text)


def _of_parts(year: int, month: int, day: int) -> Iterator[_Day]:
    try:
        yield from _of_date(date(year if year > 99 else 2000 + year, month, day))
    except ValueError:  # no such day
        return


def _of_date(day: date) -> Iterator[_Day]:
    yield "day", day.month, day.day
    if day.day == 1:
        yield "month", day.month, day.year % 100


def _days_of(label: str) -> frozenset[_Day]:
    """The days as which a spreadsheet may take a label such as 3-1, 1/3, MAR1, 12-40; none for most."""
    if found := _TWO.fullmatch(label):
        one, two = int(found[1]), int(found[2])
        return frozenset([*_month_and_number(one, two), *_month_and_number(two, one)])
    found = _WITH_NAME.fullmatch(label)
    if found is None or found[2].casefold() not in MONTHS:
        return frozenset()
    month = MONTHS[found[2].casefold()]
    numbers = [int(number) for number in (found[1], found[3]) if number]
    return frozenset(day for number in numbers[:1] for day in _month_and_number(month, number))


def _month_and_number(month: int, number: int) -> Iterator[_Day]:
    if not 1 <= month <= 12:
        return
    if 1 <= number <= 31:
        yield "day", month, number
    elif number <= 99 or 1900 <= number <= 2099:
        yield "month", month, number % 100
