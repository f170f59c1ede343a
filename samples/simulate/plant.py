"""What a planted trouble is, and the ways to find the rows to plant it in."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from simulate.settings_files import money
from simulate.world import Collection, Count, Load, Vend, World, visit


@dataclass(frozen=True)
class Planted:
    """One trouble: what kind of finding it must raise and where. None: not certain, or does not apply.

    done, seen: for the table of samples/README.md; what was done to the records, what a person should see.
    """

    kind: str
    done: str
    seen: str
    machine: str | None = None
    label: str | None = None
    bus: int | None = None
    file: str | None = None
    opened_at: datetime | None = None
    units: int | None = None
    amount: int | None = None

    def entry(self) -> dict[str, object]:
        """The trouble as tests/truth/bayside.json has it: only what is certain."""
        found: dict[str, object] = {"kind": self.kind}
        for name in ("machine", "label", "bus", "file", "units"):
            if getattr(self, name) is not None:
                found[name] = getattr(self, name)
        if self.opened_at is not None:
            found["opened_at"] = self.opened_at.isoformat()
        if self.amount is not None:
            found["amount"] = money(self.amount)
        return found

    def place(self) -> str:
        """Machine and slot, number, file and window, as far as they are known."""
        slot = " ".join(part for part in (self.machine, self.label) if part)
        number = f"number {self.bus}" if self.bus is not None and self.label is None else ""
        window = f"from {self.opened_at:%Y-%m-%d}" if self.opened_at else ""
        file = f"`{self.file}`" if self.file else ""
        return ", ".join(part for part in (slot, number, file, window) if part)


@dataclass
class Troubles:
    """What has been planted so far.

    planted: one entry for each trouble. follows: findings that come of them by plain arithmetic. possible:
    findings that may or may not come of them, which a test should neither ask for nor forbid.
    """

    planted: list[Planted] = field(default_factory=list)
    follows: list[Planted] = field(default_factory=list)
    possible: list[Planted] = field(default_factory=list)


def count_of(world: World, machine: str, label: str, week: int) -> Count:
    """The line of the count sheet of that Monday."""
    at = visit(world.route.machine(machine), week)
    return next(row for row in world.counts if (row.machine, row.label, row.at) == (machine, label, at))


def load_of(world: World, machine: str, label: str, week: int) -> Load:
    """The line of the load slip of that week."""
    first, last = (visit(world.route.machine(machine), at) for at in (week, week + 1))
    rows = [row for row in world.loads if (row.machine, row.label) == (machine, label)]
    return next(row for row in rows if first < row.at < last)


def box_of(world: World, machine: str, week: int) -> Collection:
    """The collection of that Monday."""
    day = visit(world.route.machine(machine), week).date()
    return next(row for row in world.cash if row.machine == machine and row.at.date() == day)


def vends_of(
    world: World, machine: str, week: int, wanted: Callable[[Vend], bool], label: str | None = None
) -> list[Vend]:
    """The vends of one machine and week that are wanted. Sundays are left out: they stand in two exports."""
    rows = [vend for vend in world.vends if vend.machine == machine and vend.week == week]
    return [vend for vend in rows if vend.at.weekday() < 6 and label in (None, vend.label) and wanted(vend)]


def units_in(world: World, machine: str, label: str, at: datetime) -> int:
    """Units in a slot at a moment, from the last count before it on."""
    mine = (machine, label)
    counted = [row for row in world.counts if (row.machine, row.label) == mine and row.at < at]
    last = counted[-1]
    since = [row for row in world.loads if (row.machine, row.label) == mine and last.at < row.at < at]
    sold = [row for row in world.vends if (row.machine, row.label) == mine and last.at < row.at < at]
    opening = (last.counted or 0) + last.loaded - last.removed
    return opening + sum(row.loaded - row.removed for row in since) - sum(row.dropped for row in sold)
