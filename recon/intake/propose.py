"""A description proposed for an export that nobody described: each part with its reason, and what could not
be settled.

Nothing here is certain. What the contents prove is told apart from what is only assumed, and what neither
settles is left for a person to fill in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

import polars as pl

from recon.intake.dialect import fold
from recon.intake.propose_columns import (
    AMOUNT,
    Column,
    Fit,
    Machine,
    columns_of,
    fit_of,
    machine_named,
    number_share,
    plain_amount,
    price_shares,
    whole_number,
)  # fmt: skip
from recon.intake.propose_files import machine_pattern
from recon.intake.propose_slots import settled_by_cells
from recon.intake.propose_times import When, read_when
from recon.intake.table import TextTable
from recon.intake.texts import CLOCKED, DAYS
from recon.intake.word_meanings import meaning
from recon.model.errors import ReconError
from recon.model.source import FIELDS
from recon.model.words import OUTCOMES, TENDERS, FileKind

_MONEY = ("price", "total", "notes", "coins", "tubes", "gross", "fees", "net")
_SHOWN_NOT = ("counter", "note", "reason")
"""Fields whose cells may name people: no samples of them are shown."""
_MOST_WORDS = 200
_FEWEST_NUMBERS = 3
"""Different numbers or labels of a machine from which on its layout can be told by them."""


@dataclass(frozen=True, slots=True)
class Guess:
    """One line of the description: its value, None where a person has to fill it in, and the reason."""

    value: str | None
    reason: str


@dataclass(frozen=True, slots=True)
class ColumnGuess:
    """Our field, their header, the reason, and some cells."""

    field: str
    header: str
    reason: str
    samples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WordGuess:
    """A word or machine name of the file; ours, or None where it is not settled; and the rows that have
    it.
    """

    theirs: str
    ours: str | None
    rows: int
    reason: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed description. None or empty: the description needs no such line.

    lacking: fields that must be there and have no column, each with its alternatives. machine: `machine` or
    `machine_from_name`, by which key. when: how the times read. zone, encoding: filled in by whoever knows
    the route and the file's bytes.
    """

    file: str
    rows: int
    kind: FileKind
    columns: tuple[ColumnGuess, ...]
    lacking: tuple[tuple[tuple[str, ...], ...], ...]
    unused: tuple[str, ...]
    glob: Guess
    machine: tuple[str, Guess] | None
    machines: tuple[WordGuess, ...]
    known_machines: tuple[str, ...]
    tenders: tuple[WordGuess, ...]
    outcomes: tuple[WordGuess, ...]
    bus_base: Guess | None
    decimal: Guess | None
    minor_units: Guess | None
    when: Mapping[str, When] = field(default_factory=dict)
    zone: Guess | None = None
    encoding: Guess | None = None

    @property
    def own_names(self) -> bool:
        """Whether the file is in our own field names and words, so that it needs no description."""
        same = all(guess.header.casefold() == guess.field for guess in self.columns)
        formats = any(when.ways or (when.format and not when.inferred) for when in self.when.values())
        extra = (
            self.machine
            or self.encoding
            or any(guess.ours for guess in self.machines)
            or self.tenders
            or self.outcomes
            or self.bus_base
            or self.minor_units
        )
        return (
            same and not self.lacking and not formats and not extra and (self.zone is None or self.zone.value is None)
        )


def propose(table: TextTable, file: str, machines: Sequence[Machine], glob: Guess, *, now: datetime) -> Proposal:
    """Propose how to read `table`, which came from a file of this name (without folder).

    machines: what the layouts tell; empty where the route is not known. glob: the files that it is to speak
    for. now: the moment after which nothing can have happened. Raises ReconError where the file looks like
    none of the six kinds.
    """
    columns = columns_of(table.frame, table.header, now)
    fit = settled_by_cells(fit_of(columns, machines, file), columns, machines)
    if len([each for each in fit.lacking if each != (("machine",),)]) > 2 or (len(fit.lacking) > 1 and fit.total < 1.0):
        kinds = "sales log, count sheet, load slip, cash sheet, payout statement or list of test vends"
        raise ReconError(
            f"{file} looks like no {kinds}: its columns are {', '.join(table.header)}. Write its description by hand"
        )
    by_field = {
        name: next(column for column in columns if column.header == header) for name, header in fit.columns.items()
    }
    base = _base(by_field, machines)
    seen = _seen(by_field, 16 if base is not None else 10)
    machine, names = _machines(fit, by_field, file, machines, seen)
    return Proposal(
        file=file, rows=table.rows, kind=fit.kind,
        columns=tuple(
            _column(name, by_field[name], machines, table.doubled) for name in FIELDS[fit.kind] if name in by_field
        ),
        lacking=tuple(each for each in fit.lacking if each != (("machine",),)),
        unused=tuple(column.header for column in columns if column.header not in fit.columns.values()),
        glob=glob, machine=machine, machines=names, known_machines=tuple(each.id for each in machines),
        tenders=_words("tender", by_field.get("tender")), outcomes=_words("outcome", by_field.get("outcome")),
        bus_base=base, decimal=_decimal(by_field), minor_units=_minor_units(by_field, machines),
        when=_when(fit.kind, by_field, now),
    )  # fmt: skip


def _column(name: str, column: Column, machines: Sequence[Machine], doubled: frozenset[str]) -> ColumnGuess:
    found = [_FROM_HEADER if column.header.casefold() == name else ""]
    if name in ("bus", "label") and machines:
        base = 16 if name == "bus" and number_share(column, machines, 16) > number_share(column, machines, 10) else 10
        known = {label.casefold() for machine in machines for label in machine.labels}
        share = (
            number_share(column, machines, base)
            if name == "bus"
            else sum(cell.casefold() in known for cell in column.sample) / max(len(column.sample), 1)
        )
        found.append(f"{share:.0%} of its cells are {'numbers' if name == 'bus' else 'labels'} of the layouts")
    elif name == "reference" and column.distinct == column.cells.len():
        found.append("no two cells are the same")
    elif name in ("tender", "outcome"):
        found.append("one word" if column.distinct == 1 else f"{column.distinct} different words")
    reason = ", ".join(part for part in found if part)
    # The first of several columns of one name goes by its number too.
    header = f"{column.header} (1)" if fold(column.header) in doubled else column.header
    return ColumnGuess(name, header, reason, () if name in _SHOWN_NOT else tuple(column.shown()))


_FROM_HEADER = "our own name"


def _words(name: str, column: Column | None) -> tuple[WordGuess, ...]:
    """Every word of the column that is not ours, with its meaning where that is known."""
    if column is None:
        return ()
    own = TENDERS if name == "tender" else OUTCOMES
    counted = (
        pl.DataFrame({"cell": column.cells})
        .group_by(pl.col("cell").str.to_lowercase().alias("fold"))
        .agg(pl.col("cell").min(), pl.len())
    )
    found = counted.sort(["len", "cell"], descending=[True, False]).head(_MOST_WORDS)
    return tuple(
        WordGuess(cell, meaning(name, cell), rows, "")
        for lower, cell, rows in found.select("fold", "cell", "len").iter_rows()
        if lower not in own
    )


def _base(by_field: Mapping[str, Column], machines: Sequence[Machine]) -> Guess | None:
    """16 where the numbers only read, or only fit the layouts, in hexadecimal; None where decimal does."""
    column = by_field.get("bus")
    if column is None:
        return None
    plain = [cell for cell in column.sample if not cell.lower().startswith("0x")]
    lettered = [cell for cell in plain if whole_number(cell, 10) is None and whole_number(cell, 16) is not None]
    if lettered:
        return Guess("16", f'numbers such as "{lettered[0]}" are hexadecimal')
    ten, sixteen = number_share(column, machines, 10), number_share(column, machines, 16)
    if plain and sixteen > ten + 0.3:
        return Guess(
            "16",
            f"read as hexadecimal {sixteen:.0%} of the cells are numbers of the layouts, as decimal {ten:.0%}",
        )
    return None


_Seen = Mapping[str | None, tuple[frozenset[int], frozenset[str]]]
"""Machine as the file names it (None: no such column) to the bus numbers and the labels (in lower case) it
has there.
"""


def _seen(by_field: Mapping[str, Column], base: int) -> _Seen:
    there = [name for name in ("machine", "bus", "label") if name in by_field]
    if not {"bus", "label"} & set(there):
        return {}
    unique = pl.DataFrame({name: by_field[name].texts for name in there}).unique()
    found: dict[str | None, tuple[set[int], set[str]]] = {}
    for row in unique.iter_rows(named=True):
        numbers, labels = found.setdefault(row.get("machine"), (set(), set()))
        number = whole_number(row["bus"], base) if row.get("bus") else None
        numbers |= {number} if number is not None else set()
        labels |= {row["label"].casefold()} if row.get("label") else set()
    return {name: (frozenset(numbers), frozenset(labels)) for name, (numbers, labels) in found.items()}


def _by_slots(seen: tuple[frozenset[int], frozenset[str]], machines: Sequence[Machine]) -> tuple[str, str] | None:
    """The one machine whose layout has the numbers (or labels) that were seen, and the reason; None where
    none or several do.
    """
    numbers, labels = seen
    size, what = (len(numbers), "numbers") if numbers else (len(labels), "labels")
    if size < _FEWEST_NUMBERS:
        return None
    held = {
        each.id: len(numbers & each.numbers) if numbers else len(labels & {label.casefold() for label in each.labels})
        for each in machines
    }
    fitting = [machine for machine, count in held.items() if count >= 0.9 * size]
    if len(fitting) != 1:
        return None
    return fitting[
        0
    ], f"by its {what}: {held[fitting[0]]} of {size} are in this layout, and no other layout has so many"


def _machines(
    fit: Fit, by_field: Mapping[str, Column], file: str, machines: Sequence[Machine], seen: _Seen
) -> tuple[tuple[str, Guess] | None, tuple[WordGuess, ...]]:
    if "machine" in by_field:
        return None, _named(by_field["machine"], machines, seen)
    if "machine" not in FIELDS[fit.kind] or (("machine",),) not in fit.lacking:
        return None, ()
    found = machine_pattern(file, machines)
    if found is not None:
        pattern, theirs, ours = found
        names = (WordGuess(theirs, ours, 0, "as the file's name spells it"),) if theirs != ours else ()
        return (
            "machine_from_name",
            Guess(pattern, f'no column names the machine; the file\'s name does: "{theirs}"'),
        ), names
    by_slots = _by_slots(seen[None], machines) if None in seen else None
    if by_slots is not None:
        return ("machine", Guess(by_slots[0], f"no column names the machine; {by_slots[1]}")), ()
    if len(machines) == 1:
        return (
            "machine",
            Guess(machines[0].id, "no column names the machine; assumed, for the route has no other"),
        ), ()
    return ("machine", Guess(None, "no column and no part of the file's name tells the machine")), ()


def _named(column: Column, machines: Sequence[Machine], seen: _Seen) -> tuple[WordGuess, ...]:
    """Every machine name of the file that is not the id of a layout, with the machine that it can only be."""
    counted = pl.DataFrame({"cell": column.cells}).group_by("cell").len().sort("cell").head(_MOST_WORDS)
    rows = {str(cell): int(count) for cell, count in counted.iter_rows()}
    ids = {machine.id for machine in machines}
    if not machines:
        return ()
    by_name = {
        theirs: ours for theirs in rows if theirs not in ids and (ours := machine_named(theirs, machines)) is not None
    }
    taken = {*by_name.values(), *(rows.keys() & ids)}
    left = [machine for machine in machines if machine.id not in taken]
    by_slots = {
        theirs: fits
        for theirs in rows
        if theirs not in ids
        and theirs not in by_name
        and theirs in seen
        and (fits := _by_slots(seen[theirs], left)) is not None
    }
    claims = [ours for ours, _ in by_slots.values()]
    found: list[WordGuess] = []
    for theirs, count in rows.items():
        if theirs in ids:
            continue
        if theirs in by_name:
            found.append(WordGuess(theirs, by_name[theirs], count, "by its name"))
        elif theirs in by_slots and claims.count(by_slots[theirs][0]) == 1:
            found.append(WordGuess(theirs, by_slots[theirs][0], count, by_slots[theirs][1]))
        else:
            found.append(WordGuess(theirs, None, count, "no layout, or more than one, fits its name and its slots"))
    return tuple(found)


def _decimal(by_field: Mapping[str, Column]) -> Guess | None:
    """The decimal comma, where amounts have one. A point needs no line."""
    marks: set[str] = set()
    example = ""
    for name in _MONEY:
        for cell in by_field[name].sample if name in by_field else ():
            found = AMOUNT.fullmatch(cell)
            figures = found[1].rstrip() if found else ""
            mark = figures[max(figures.rfind(","), figures.rfind("."))] if "," in figures or "." in figures else ""
            tail = len(figures) - figures.rfind(mark) - 1 if mark else 0
            if mark and tail != 3:
                marks.add(mark)
                example = cell if mark == "," else example
    return Guess(",", f'amounts such as "{example}"') if marks == {","} else None


def _minor_units(by_field: Mapping[str, Column], machines: Sequence[Machine]) -> Guess | None:
    """Whether prices are whole minor units: those of the layouts tell. Without them, whole prices of some
    size are a question.
    """
    column = by_field.get("price")
    if column is None or not column.sample or any("." in cell or "," in cell for cell in column.sample):
        return None
    major, minor = price_shares(column, machines)
    if minor >= 0.5 and minor > major + 0.3:
        return Guess(
            "true",
            f'"{column.sample[0]}" and the like are prices of the layouts in whole minor units '
            f"({minor:.0%}; as they stand {major:.0%})",
        )
    amounts = [amount for cell in column.sample if (amount := plain_amount(cell))]
    digits = min((machine.digits for machine in machines), default=2)
    if major < 0.5 and digits and amounts and min(amounts) >= Decimal(20):
        return Guess(None, f'"{column.sample[0]}" may be whole minor units; no layout\'s prices tell')
    return None


def _when(kind: FileKind, by_field: Mapping[str, Column], now: datetime) -> dict[str, When]:
    """How each column of times reads, the whole of it. The moment stands under `time`, however many columns
    make it.
    """
    if kind not in CLOCKED:
        return {name: read_when(by_field[name].cells, now=now, with_clock=False) for name in DAYS if name in by_field}
    if "time" in by_field:
        cells = by_field["time"].cells
    elif {"date", "clock"} <= by_field.keys():
        parts = pl.DataFrame({name: by_field[name].texts for name in ("date", "clock")})
        cells = parts.select(pl.concat_str("date", "clock", separator=" ")).to_series().drop_nulls()
    else:
        return {}
    return {"time": read_when(cells, now=now, with_clock=True)}
