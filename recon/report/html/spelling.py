"""How figures, times and names are spelled on the page: one place, so that a figure never has two spellings."""

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache

import polars as pl

from recon.model.frames import Frame
from recon.model.money import to_text
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone

MINUS = "\u2212"
"""The minus sign proper: as wide as a plus, and read out as a minus."""

_PLAIN = re.compile(r"[a-z0-9][a-z0-9._-]{0,62}[a-z0-9]|[a-z0-9]")
_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")
"""Names that some systems keep for devices: no file can be called so."""


def slug(machine: str) -> str:
    """A name for a file and an anchor, different for every machine: the id itself where it is plain lower-case letters,
    digits, points, dashes and underlines, else what is plain of it and eight digits of its SHA-256.

    Machines of a log without a layout have whatever name the log gives them, and two ids may differ in case alone.
    """
    if _PLAIN.fullmatch(machine) and not _DEVICES.fullmatch(machine) and "__" not in machine:
        return machine
    plain = re.sub(r"[^a-z0-9]+", "-", machine.lower()).strip("-")[:40]
    # Two underlines stand in no plain name, so that nobody's id is taken for one made here.
    return f"{plain or 'machine'}__{hashlib.sha256(machine.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"


def how_many(count: int, one: str, many: str | None = None) -> str:
    """`1 window`, `1,204 windows`."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


@lru_cache(maxsize=4096)
def units_text(units: int) -> str:
    """`−2`, `0`, `1,204`."""
    return f"{MINUS}{-units:,}" if units < 0 else f"{units:,}"


@lru_cache(maxsize=4096)
def signed_units(units: int) -> str:
    """`−2`, `0`, `+3`."""
    return f"{MINUS}{-units:,}" if units < 0 else f"+{units:,}" if units else "0"


@lru_cache(maxsize=16384)
def amount_text(minor: int | None, digits: int) -> str:
    """An amount of so many decimal digits: `−1.75`, `1,204.00`; nothing where there is none.

    The same sums stand in every table of a page, and most are of few sizes: each is spelled once.
    """
    if minor is None:
        return ""
    whole, point, rest = to_text(abs(minor), digits).partition(".")
    return f"{MINUS if minor < 0 else ''}{int(whole):,}{point}{rest}"


@dataclass(frozen=True, slots=True)
class Spelling:
    """Spells what one run worked out: money in each machine's digits, times in its zone. laid: currency code of each
    machine with a layout."""

    done: Reconciliation
    laid: dict[str, str] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        laid = self.done.frames["machines"].select("machine", "currency")
        object.__setattr__(self, "laid", dict(laid.iter_rows()))

    def digits(self, machine: str | None) -> int:
        return self.done.digits if machine is None else self.done.digits_of.get(machine, self.done.digits)

    def money(self, minor: int | None, machine: str | None = None) -> str:
        """An amount in the machine's digits: `−1.75`, `1,204.00`; nothing where there is none."""
        return amount_text(minor, self.digits(machine))

    def signed(self, minor: int | None, machine: str | None = None) -> str:
        """An amount with its sign, plus too: `+1.00`, `−1.00`, `0.00`."""
        return ("+" if minor is not None and minor > 0 else "") + self.money(minor, machine)

    def column(self, minor: Iterable[int | None], machine: str | None = None) -> list[str]:
        """Many amounts of one machine, each as by `money`."""
        digits = self.digits(machine)
        return [amount_text(size, digits) for size in minor]

    def moment(self, at: datetime | None, machine: str | None = None) -> str:
        """Local day and clock of the machine, else of the route."""
        return "" if at is None else f"{self._local(at, machine):%Y-%m-%d %H:%M}"

    def day(self, at: datetime | date | None, machine: str | None = None) -> str:
        if at is None:
            return ""
        return f"{self._local(at, machine) if isinstance(at, datetime) else at:%Y-%m-%d}"

    def _local(self, at: datetime, machine: str | None) -> datetime:
        name = self.done.zone if machine is None else self.done.zones.get(machine, self.done.zone)
        return at.astimezone(zone(name))

    def sums(self, frame: Frame, column: str) -> list[tuple[str, int, int]]:
        """The sum of a money column by currency: code, digits, sum; the route's first. Never one sum over two."""
        added: dict[tuple[str, int], int] = {}
        for machine, size in frame.group_by("machine").agg(pl.col(column).sum()).iter_rows():
            key = self.laid.get(machine, self.done.currency), self.digits(machine)
            added[key] = added.get(key, 0) + int(size)
        route = self.done.currency
        return [(*key, added[key]) for key in sorted(added, key=lambda key: (key[0] != route, key))]

    def total(self, frame: Frame, column: str) -> str:
        """`66.50`, or `66.50 + 300 JPY` where machines have other currencies; sizes without a sign."""
        return self.told(self.sums(frame, column))

    def told(self, sums: Iterable[tuple[str, int, int]]) -> str:
        parts = []
        for code, digits, total in sums:
            whole, point, rest = to_text(abs(total), digits).partition(".")
            text = f"{int(whole):,}{point}{rest}"
            parts.append(text if code == self.done.currency else f"{text} {code}")
        return " + ".join(parts) or to_text(0, self.done.digits)
