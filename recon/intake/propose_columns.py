"""Which column of an unknown export is which of our fields: by header, by contents, and one column for one
field.

Every pair of column and field gets a score; of all ways to give each field at most one column and each
column at most one field, the one with the highest sum is taken. The kind of the file is the one that
explains most in this way.
"""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cached_property

import polars as pl

from recon.intake.header_words import fold, header_fit, kind_fit
from recon.intake.propose_times import When, read_when
from recon.intake.values import UNDEFINED_NUMBERS, UNDEFINED_PRICES, trimmed
from recon.intake.word_meanings import meaning
from recon.model.source import FIELDS, REQUIRED
from recon.model.words import FILE_KINDS, FileKind

_LOOKED_AT = 500
"""Cells of a column that are looked at one by one, spread over the whole of it."""
_FEW_WORDS = 40
_HEADER, _ENOUGH = 1.5, 0.75
"""Weight of the header against the contents, and what a pair must reach to count at all."""

_DATED = re.compile(
    r"\d{1,4}([-/.])\d{1,2}\1\d{1,4}|^20\d{6}([ T]?\d{4,6})?|^\d{4}20\d\d \d{4,6}"
    r"|\d[- .]{1,2}[^\W\d_]{3,}|[^\W\d_]{3,}[- .]{1,2}\d"
)
"""Where dates may stand. Whether they do is for the reading to say; it is not asked about other cells."""
_CLOCK = re.compile(r"\d{1,2}[:h]\d{2}(:\d{2}(\.\d+)?)?( ?[ap]\.?m\.?)?|\d{1,2}\.\d{2}(\.\d{2})?", re.IGNORECASE)
_WHOLE = re.compile(r"\+?\d{1,7}(\.0+)?")
_NUMBER = re.compile(r"(0[xX])?[0-9A-Fa-f]{1,8}|-1")
_CODE = re.compile(r"(?=\S*\d)(?=\S*[A-Za-z])\S{4,}|\d{6,}")
_MANY_ROWS = 20
_LABEL = re.compile(r"[A-Za-z]{0,2}[-. ]?\d{1,4}")
AMOUNT = re.compile(
    r"\(?(?:[A-Z]{3} ?|[A-Z]{0,2}[$€£¥] ?)?[-+−]?"
    r"(?:[A-Z]{0,2}[$€£¥] ?)?(\d[\d .,'’\u00a0\u202f]*)(?: ?[A-Z]{3}| ?[$€£¥])?-?\)?"
)
"""An amount as exports write it, with a sign, a currency and marks between thousands. The group is its
figures.
"""


@dataclass(frozen=True, slots=True)
class Machine:
    """What the layout of a machine tells. numbers: every bus number that a slot ever had. prices: every
    price, cash or card.
    """

    id: str
    site: str | None
    labels: frozenset[str]
    numbers: frozenset[int]
    prices: frozenset[Decimal]
    digits: int


@dataclass(frozen=True)
class Column:
    """One column of the export. texts: its cells, trimmed, null where empty."""

    header: str
    texts: pl.Series
    now: datetime

    @property
    def rows(self) -> int:
        return self.texts.len()

    @cached_property
    def cells(self) -> pl.Series:
        """The filled cells."""
        return self.texts.drop_nulls()

    @cached_property
    def sample(self) -> list[str]:
        head, rest = self.cells.head(_LOOKED_AT // 2), self.cells.slice(_LOOKED_AT // 2)
        # Machines and slots recur in step: a stride that shares no small factor with them meets them all.
        step = next(
            step for step in range(-(-rest.len() * 2 // _LOOKED_AT) or 1, rest.len() + 3) if math.gcd(step, 2310) == 1
        )
        return [str(cell) for cell in (*head.to_list(), *rest.gather_every(step).to_list())]

    @cached_property
    def words(self) -> dict[str, int]:
        """Every distinct cell and how often it stands, the commonest first; empty where there are many."""
        if self.distinct > _FEW_WORDS:
            return {}
        counted = (
            pl.DataFrame({"cell": self.cells}).group_by("cell").len().sort(["len", "cell"], descending=[True, False])
        )
        return dict(counted.iter_rows())

    @cached_property
    def distinct(self) -> int:
        return self.cells.n_unique()

    @cached_property
    def moment(self) -> When:
        return self._when(with_clock=True)

    @cached_property
    def day(self) -> When:
        return self._when(with_clock=False)

    def _when(self, *, with_clock: bool) -> When:
        dated = sum(1 for cell in self.sample if _DATED.search(cell))
        if not self.sample or dated < 0.5 * len(self.sample):
            return When(0.0)
        return read_when(pl.Series(self.sample, dtype=pl.String), now=self.now, with_clock=with_clock)

    def share(self, pattern: re.Pattern[str]) -> float:
        """Share of the cells that are wholly of this pattern."""
        return sum(1 for cell in self.sample if pattern.fullmatch(cell)) / len(self.sample) if self.sample else 0.0

    def shown(self, count: int = 2) -> list[str]:
        """A few different cells, in the order of the file."""
        return list(dict.fromkeys(self.sample))[:count]


def columns_of(frame: pl.DataFrame, header: Sequence[str], now: datetime) -> list[Column]:
    """The columns, without those whose header another repeats in other case: the last of these would be
    read for all.
    """
    last = {name.casefold(): name for name in header}
    names = [name for name in header if last[name.casefold()] == name]
    # By a name of ours: polars takes a column called "*" for all of them, and "^a$" for a pattern.
    return [Column(name, _trimmed(frame.get_column(name)), now) for name in names]


def _trimmed(texts: pl.Series) -> pl.Series:
    return pl.DataFrame({"text": texts}).select(trimmed("text").alias("text")).to_series()


def whole_number(cell: str, base: int) -> int | None:
    """A bus number as the intake would read it; None for FFFFh in any form and for what is no number."""
    lower = cell.lower()
    if lower in UNDEFINED_NUMBERS:
        return None
    try:
        return int(lower, 16 if base == 16 or lower.startswith("0x") else 10)
    except ValueError:
        return None


def number_share(column: Column, machines: Sequence[Machine], base: int) -> float:
    """Share of the cells that are a bus number of some machine's layout, those without a number left out."""
    known = frozenset[int]().union(*(machine.numbers for machine in machines))
    read = [whole_number(cell, base) for cell in column.sample if cell.lower() not in UNDEFINED_NUMBERS]
    return sum(number in known for number in read) / len(read) if read else 0.0


def label_share(column: Column, machines: Sequence[Machine]) -> float:
    """Share of the cells that are a label of some machine's layout."""
    known = {label.casefold() for machine in machines for label in machine.labels}
    return sum(cell.casefold() in known for cell in column.sample) / len(column.sample) if column.sample else 0.0


def plain_amount(cell: str) -> Decimal | None:
    """An amount without its marks; the last of comma and point is its decimal mark, unless three digits
    follow it.
    """
    found = AMOUNT.fullmatch(cell)
    if found is None:
        return None
    figures = re.sub(r"[ '’\u00a0\u202f]", "", found[1])
    mark = max(figures.rfind(","), figures.rfind("."))
    if mark >= 0 and len(figures) - mark - 1 != 3:
        figures = re.sub(r"[.,]", "", figures[:mark]) + "." + figures[mark + 1 :]
    else:
        figures = (
            re.sub(r"[.,]", "", figures) if figures.count(".") + figures.count(",") > 1 else figures.replace(",", ".")
        )
    return Decimal(figures.rstrip(".") or "0")


def price_shares(column: Column, machines: Sequence[Machine]) -> tuple[float, float]:
    """Shares of the prices that are some layout's: as they stand, and read as minor units."""
    known = frozenset[Decimal]().union(*(machine.prices for machine in machines))
    digits = min((machine.digits for machine in machines), default=2)
    amounts = [
        amount
        for cell in column.sample
        if re.sub(r"\D", "", cell).lstrip("0") not in UNDEFINED_PRICES and (amount := plain_amount(cell))
    ]
    if not amounts:
        return 0.0, 0.0
    return sum(amount in known for amount in amounts) / len(amounts), sum(
        amount.scaleb(-digits) in known for amount in amounts
    ) / len(amounts)


def machine_named(text: str, machines: Iterable[Machine]) -> str | None:
    """The one machine whose id or site this text is, or holds as words of its own; None where none is or
    several are.
    """
    folded = fold(text)
    same = {
        machine.id
        for machine in machines
        if folded.replace(" ", "") in (fold(machine.id).replace(" ", ""), fold(machine.site or "\0").replace(" ", ""))
    }
    if len(same) == 1:
        return same.pop()
    held = {machine.id for machine in machines if f" {fold(machine.id)} " in f" {folded} "}
    return held.pop() if len(held) == 1 else None


def _content(field: str, column: Column, machines: Sequence[Machine]) -> float | None:
    """How well the cells are such as this field has, 0 to 1; None where they cannot be."""
    if not column.sample:
        return 0.0
    return _CONTENTS[field](column, machines)


def _machine(column: Column, machines: Sequence[Machine]) -> float | None:
    if column.moment.share > 0.5 or column.day.share > 0.5 or column.share(re.compile(r"\d+[.,]\d{1,3}")) > 0.5:
        return None
    if not column.words:
        return 0.0
    named = sum(machine_named(word, machines) is not None for word in column.words) / len(column.words)
    return 1.0 if named > 0.5 else 0.3 if column.distinct * 2 <= max(column.rows, 2) else 0.1


def _time(column: Column, machines: Sequence[Machine]) -> float | None:
    return column.moment.share if column.moment.share > 0.5 else None


def _date(column: Column, machines: Sequence[Machine]) -> float | None:
    return column.day.share if column.day.share > 0.5 and column.moment.share < 0.5 else None


def _clock(column: Column, machines: Sequence[Machine]) -> float | None:
    share = column.share(_CLOCK)
    return share if share > 0.9 and column.moment.share < 0.5 else None


def _day(column: Column, machines: Sequence[Machine]) -> float | None:
    return 0.4 * column.day.share if column.day.share > 0.5 else None


def _bus(column: Column, machines: Sequence[Machine]) -> float | None:
    if column.share(_NUMBER) < 0.9 or column.day.share > 0.5:
        return None
    if not any(machine.numbers for machine in machines):
        return 0.3
    ten, sixteen = (number_share(column, machines, base) for base in (10, 16))
    # Where numbers follow labels as hexadecimal, every label reads as a number too: labels then they are.
    return ten if ten >= sixteen or label_share(column, machines) >= sixteen else sixteen


def _label(column: Column, machines: Sequence[Machine]) -> float | None:
    if column.moment.share > 0.5 or column.day.share > 0.5 or max(map(len, column.sample)) > 64:
        return None
    if any(machine.labels for machine in machines):
        return label_share(column, machines)
    return 0.3 if column.share(_LABEL) > 0.9 else 0.0


def _price(column: Column, machines: Sequence[Machine]) -> float | None:
    if column.share(AMOUNT) < 0.9 or column.day.share > 0.5:
        return None
    known = max(price_shares(column, machines))
    return 0.9 if known > 0.5 else 0.3


def _worded(field: str, column: Column) -> float | None:
    if not column.words:
        return None
    known = sum(count for word, count in column.words.items() if meaning(field, word) is not None) / column.cells.len()
    return known or (0.2 if column.share(AMOUNT) < 0.5 and len(column.words) <= 15 else 0.0)


def _tender(column: Column, machines: Sequence[Machine]) -> float | None:
    return _worded("tender", column)


def _outcome(column: Column, machines: Sequence[Machine]) -> float | None:
    return _worded("outcome", column)


def _reference(column: Column, machines: Sequence[Machine]) -> float | None:
    if column.moment.share > 0.5 or column.share(re.compile(r"\d+[.,]\d{1,2}")) > 0.5:
        return None
    if column.sample[:3] == ["1", "2", "3"][: len(column.sample)]:
        # The numbers of the rows begin anew in every export: they tell no vend from another.
        return None
    unique = column.distinct >= 0.95 * column.cells.len()
    if unique and column.rows >= _MANY_ROWS and column.share(_CODE) == 1.0:
        return 0.8
    return 0.5 if unique else 0.1


def _units(column: Column, machines: Sequence[Machine]) -> float | None:
    return 0.3 if column.share(_WHOLE) >= 0.9 and column.day.share < 0.5 else None


def _money(column: Column, machines: Sequence[Machine]) -> float | None:
    return 0.35 if column.share(AMOUNT) >= 0.9 and column.day.share < 0.5 else None


def _text(column: Column, machines: Sequence[Machine]) -> float | None:
    return 0.15 if column.share(AMOUNT) < 0.5 and column.moment.share < 0.5 else None


_CONTENTS = {
    "machine": _machine, "time": _time, "date": _date, "clock": _clock, "bus": _bus, "label": _label, "price": _price,
    "tender": _tender, "outcome": _outcome, "reference": _reference, "quantity": _units, "counted": _units,
    "loaded": _units, "removed": _units, "counter": _text, "note": _text, "reason": _text, "total": _money,
    "notes": _money, "coins": _money,
    "tubes": _money, "paid_on": _day, "from": _day, "to": _day, "gross": _money, "fees": _money, "net": _money,
}  # fmt: skip


def scores(column: Column, machines: Sequence[Machine]) -> dict[str, float]:
    """What counts for each field that this column may be."""
    found: dict[str, float] = {}
    for field in _CONTENTS:
        content = _content(field, column, machines)
        if content is None and column.header.casefold() == field and field not in ("time", "date", "clock"):
            # Our own name says what the column is, and the reading says what is wrong with its cells.
            content = 0.0
        if content is not None and (score := _HEADER * header_fit(column.header, field) + content - _ENOUGH) > 0:
            found[field] = round(score, 6)
    return found


@dataclass(frozen=True, slots=True)
class Fit:
    """A file read as one kind. columns: our field to the column's header. lacking: what must be there and
    is not.
    """

    kind: FileKind
    columns: Mapping[str, str]
    lacking: tuple[tuple[tuple[str, ...], ...], ...]
    total: float


def fit_of(columns: Sequence[Column], machines: Sequence[Machine], name: str) -> Fit:
    """The kind that explains the columns best, and which of them is which of its fields. name: of the file,
    without folder.
    """
    scored = {column.header: scores(column, machines) for column in columns}
    fits = [_fit(kind, scored, name) for kind in FILE_KINDS]
    return max(fits, key=lambda fit: fit.total)


def _fit(kind: FileKind, scored: Mapping[str, Mapping[str, float]], name: str) -> Fit:
    best: Fit | None = None
    for without in ({"date", "clock"}, {"time"}):
        fields = [field for field in FIELDS[kind] if field not in without]
        total, picked = assign(
            {header: {f: s for f, s in own.items() if f in fields} for header, own in scored.items()}
        )
        lacking = tuple(each for each in REQUIRED[kind] if not any(picked.keys() >= set(group) for group in each))
        cost = sum(0.3 if each == (("machine",),) else 1.2 for each in lacking)
        found = Fit(kind, picked, lacking, round(total - cost + (0.6 if kind_fit(name, kind) else 0.0), 6))
        if best is None or found.total > best.total:
            best = found
    assert best is not None
    return best


def assign(scored: Mapping[str, Mapping[str, float]]) -> tuple[float, dict[str, str]]:
    """Give each field at most one column and each column at most one field, so that the sum of scores is
    highest.

    Exact over the four best fields of each column: the best sum for every set of fields given so far,
    column by column. Returns the sum, and field to column.
    """
    best: dict[frozenset[str], tuple[float, tuple[tuple[str, str], ...]]] = {frozenset(): (0.0, ())}
    for header, own in scored.items():
        likely = sorted(own.items(), key=lambda entry: (-entry[1], entry[0]))[:4]
        for given, (total, picks) in list(best.items()):
            for field, score in likely:
                if field in given:
                    continue
                with_it = given | {field}
                if with_it not in best or total + score > best[with_it][0] + 1e-9:
                    best[with_it] = (total + score, (*picks, (field, header)))
    total, picks = max(best.values(), key=lambda entry: entry[0])
    return total, dict(picks)
