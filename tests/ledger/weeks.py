"""Routes that are run every week: each run has to give what a run from nothing gives, whatever turns up.

Each week brings a log that overlaps the last, counts, loads, collections, now and then a payout; and by lot what makes
trouble: a late log or sheet, refunds and references of old, numbers that no slot has, prices that lack or differ, a
sheet that puts another right, layouts and settings that change, files that are renamed, change or go, a correction.
"""

import random
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

from histories import put, without_ledger
from rich.console import Console

import recon
from recon.deciding import Asked, decide
from recon.ledger.history import History, history_in
from recon.reconcile import Run
from recon.recorded import run_and_record
from recon.report.rejects_csv import rejects_csv
from recon.report.text import print_results

START = datetime(2026, 3, 2, 8)
"""Local time; a Monday. A clock change lies in the first weeks."""
MACHINES = {"m-1": "America/Halifax", "m-2": "America/Toronto", "m-3": "America/Halifax"}
LABELS = ("A1", "A2", "B1")
HEAD = "time,machine,bus,price,tender,outcome,reference,quantity\n"


@dataclass
class Weekly:
    """A route folder, and what is to be written into it."""

    root: Path
    lot: random.Random
    week: int = 0
    prices: dict[tuple[str, str], int] = field(default_factory=dict)
    changes: dict[str, str] = field(default_factory=dict)
    settings: str = ""
    number: int = 1000
    rows: list[tuple[datetime, str]] = field(default_factory=list)
    kept_back: dict[str, str] = field(default_factory=dict)
    ledger_knows: bool = False
    told: list[str] = field(default_factory=list)
    stock: dict[tuple[str, str], tuple[datetime, int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for machine in MACHINES:
            for at, label in enumerate(LABELS):
                self.prices[machine, label] = 100 + 25 * at
        # One machine in some routes asks no price that the layout knows, so that prices come from its neighbours.
        self.unpriced = self.lot.choice(["", "", "m-3"])
        self.plain = self.lot.random() < 0.5
        # People who count well: most of their windows agree.
        self.careful = self.lot.random() < 0.6
        self.layouts()
        self.sheets(START)

    @property
    def begins(self) -> datetime:
        return START + timedelta(days=7 * self.week)

    def layouts(self) -> None:
        put(self.root / "route.toml", f'name = "W"\ncurrency = "CAD"\ntimezone = "America/Halifax"\n{self.settings}')
        put(self.root / "products.csv", "id,name,unit_cost\ngum,Gum,0.40\nnuts,Nuts,0.55\n")
        for machine, zone in MACHINES.items():
            text = f'machine = "{machine}"\ntimezone = "{zone}"\neffective = 2026-03-01T00:00:00\n'
            for at, label in enumerate(LABELS, 1):
                price = self.prices[machine, label]
                text += f'[[slot]]\nlabel = "{label}"\nbus = {at}\nproduct = "gum"\ncapacity = 40\n'
                if machine != self.unpriced:
                    text += f'price = "{price // 100}.{price % 100:02d}"\n'
            put(self.root / f"layouts/{machine}.toml", text + self.changes.get(machine, ""))

    def sheets(self, moment: datetime) -> None:
        """A visit to each machine: counts, loads, a collection."""
        lot, stamp = self.lot, f"{moment:%m%d}"
        counts, cash = ["machine,time,label,counted,loaded,removed"], ["machine,time,total,tubes"]
        for at, machine in enumerate(MACHINES):
            when = moment + timedelta(minutes=20 * at)
            for label in LABELS:
                loaded = lot.choice([0, 0, 10])
                counted = "" if lot.random() < 0.06 else str(self.seen(machine, label, when, loaded))
                counts.append(f"{machine},{when:%Y-%m-%d %H:%M},{label},{counted},{loaded},0")
            if lot.random() < 0.9:
                tubes = lot.choice(["5.00", "", "6.25"])
                cash.append(f"{machine},{when + timedelta(minutes=4):%Y-%m-%d %H:%M},{lot.randrange(5, 30)}.00,{tubes}")
        self.arrives(f"counts-{stamp}.csv", "\n".join([*counts, ""]))
        self.arrives(f"cash-{stamp}.csv", "\n".join([*cash, ""]))

    def seen(self, machine: str, label: str, when: datetime, loaded: int) -> int:
        """What somebody counts."""
        lot, before = self.lot, self.stock.get((machine, label))
        there = lot.randrange(3, 25)
        if self.careful and before is not None and lot.random() > 0.05:
            named = f",{machine},{LABELS.index(label) + 1},"
            gone = [row for at, row in self.rows if before[0] <= at < when and named in row and ",failed," not in row]
            there = max(0, before[1] - len(gone))
        self.stock[machine, label] = (when, there + loaded)
        return there

    def arrives(self, name: str, text: str) -> None:
        """Put a file into the inbox, or keep it back for a later week."""
        if self.week and not self.plain and self.lot.random() < 0.08:
            self.kept_back[name] = text
            self.told.append(f"{name} is late")
        else:
            put(self.root / "inbox" / name, text)

    def log(self) -> None:
        """The sales of a week, and the last of the week before once more."""
        lot = self.lot
        new = []
        for _ in range(lot.randrange(15, 40)):
            when = self.begins + timedelta(minutes=lot.randrange(7 * 24 * 60))
            # Often right at a visit, where a vend may fall on either side.
            if lot.random() < 0.15:
                when = self.begins + timedelta(minutes=lot.randrange(-8, 60))
            new.append((when, self.vend(when)))
        self.rows += new
        overlap = [row for when, row in self.rows[: -len(new)] if when > self.begins - timedelta(hours=18)]
        text = HEAD + "".join([*overlap, *(row for _, row in sorted(new))])
        self.arrives(f"vends-{self.begins:%m%d}.csv", text)

    def vend(self, when: datetime) -> str:
        lot = self.lot
        machine, at = lot.choice(list(MACHINES)), lot.randrange(len(LABELS))
        self.number += 1
        price = self.prices[machine, LABELS[at]]
        price = price + 5 if lot.random() < 0.02 else price
        tender = lot.choice(["cash", "cash", "card", "card", "free"])
        shown = "" if tender == "cash" and lot.random() < 0.2 else f"{price // 100}.{price % 100:02d}"
        bus = 9 if not self.plain and lot.random() < 0.01 else at + 1
        outcome = lot.choice(["vended"] * 12 + ["failed", "refunded"])
        reference = "" if lot.random() < 0.1 else f"R{self.number}"
        return f"{when:%Y-%m-%dT%H:%M:%S},{machine},{bus},{shown},{tender},{outcome},{reference},1\n"

    def payout(self) -> None:
        first = (self.begins - timedelta(days=7)).date()
        last = first + timedelta(days=self.lot.choice([6, 6, 5]))
        net = f"{self.lot.randrange(10, 40)}.00"
        text = f"paid_on,from,to,net,reference\n{last + timedelta(days=3)},{first},{last},{net},P{self.week}\n"
        self.arrives(f"payouts-{self.begins:%m%d}.csv", text)

    def step(self) -> None:
        """The next week."""
        self.log()
        self.week += 1
        self.sheets(self.begins)
        if self.lot.random() < 0.7:
            self.payout()
        if not self.plain or self.lot.random() < 0.2:
            for trouble in self.lot.sample(sorted(TROUBLES), self.lot.choice([0, 1, 1, 2])):
                self.told.append(trouble)
                TROUBLES[trouble](self)
        self.layouts()

    def differences(self, fresh: Path) -> Iterator[str]:
        """Run with the ledger and without, on a copy; what differs, in words."""
        # Everything is behind the run: two days after the last visit.
        now = (self.begins + timedelta(days=2)).replace(tzinfo=UTC)
        recorded = run_and_record(self.root, now=now, page=False)
        made = recorded.run
        shutil.rmtree(fresh, ignore_errors=True)
        shutil.copytree(self.root, fresh, ignore=shutil.ignore_patterns("ledger", "reports"))
        decided = history_in(self.root).decisions
        plain = recon.run(fresh, now=now, history=History(decided))
        if without_ledger(made.json(), self.ledger_knows) != without_ledger(plain.json(), self.ledger_knows):
            yield "results.json differs"
        if rejects_csv(made.reconciliation) != rejects_csv(plain.reconciliation):
            yield "rejects.csv differs"
        for name, frame in plain.frames.items():
            if name in ("vends", "priced") or (self.ledger_knows and name in ("findings", "file_changes", "decisions")):
                continue
            if not frame.equals(made.frames[name]):
                yield f"frame {name} differs:\n{made.frames[name]}\nfrom nothing:\n{frame}"
        if (recorded.report / "results.json").read_text(encoding="utf-8") != made.json():
            yield "what was written differs"
        if not self.ledger_knows and printed(made) != printed(plain):
            yield f"what is printed differs:\n{printed(made)}\nfrom nothing:\n{printed(plain)}"


def printed(run: Run) -> str:
    """What `recon run` prints of it."""
    console = Console(width=100, file=StringIO(), color_system=None)
    with console.capture() as captured:
        # Only one of the two has a ledger.
        print_results(replace(run.reconciliation, anchor=None), console, every=True)
    return captured.get()


def _files(route: Weekly, kind: str) -> list[Path]:
    return sorted((route.root / "inbox").glob(f"{kind}-*.csv"))


def _late_comes(route: Weekly) -> None:
    for name in list(route.kept_back)[:1]:
        put(route.root / "inbox" / name, route.kept_back.pop(name))


def _refund_of_old(route: Weekly) -> None:
    named = [(when, row) for when, row in route.rows if ",vended,R" in row]
    if named:
        when, row = route.lot.choice(named)
        late = row.replace(",vended,", ",refunded,").split(",", 1)[1]
        moment = route.lot.choice([when, route.begins - timedelta(hours=3)])
        put(route.root / f"inbox/vends-refund-{route.week}.csv", f"{HEAD}{moment:%Y-%m-%dT%H:%M:%S},{late}")


def _reference_again(route: Weekly) -> None:
    named = [row for _, row in route.rows if ",R" in row]
    if named:
        reference = route.lot.choice(named).split(",")[6]
        when = route.begins - timedelta(hours=5)
        put(route.root / f"inbox/vends-again-{route.week}.csv",
            f"{HEAD}{when:%Y-%m-%dT%H:%M:%S},m-1,1,1.00,card,vended,{reference},1\n")  # fmt: skip


def _sheet_put_right(route: Weekly) -> None:
    path = route.lot.choice(_files(route, "counts"))
    lines = path.read_text().splitlines()
    machine, when, label, *_ = route.lot.choice(lines[1:]).split(",")
    text = f"machine,time,label,counted,loaded,removed\n{machine},{when},{label},{route.lot.randrange(20)},0,0\n"
    put(route.root / f"inbox/counts-right-{route.week}.csv", text)


def _box_put_right(route: Weekly) -> None:
    path = route.lot.choice(_files(route, "cash"))
    lines = path.read_text().splitlines()
    if len(lines) > 1:
        machine, when, *_ = route.lot.choice(lines[1:]).split(",")
        text = f"machine,time,total,tubes\n{machine},{when},9.00,5.00\n"
        put(route.root / f"inbox/cash-right-{route.week}.csv", text)


def _mended(route: Weekly) -> None:
    """A log with a row that cannot be used, and that row mended in a rejects.csv."""
    when = route.begins - timedelta(days=route.lot.choice([1, 9]))
    name, row = f"vends-bad-{route.week}.csv", f"{when:%Y-%m-%dT%H:%M:%S},m-1,1,two,cash,vended,B{route.week},1"
    put(route.root / f"inbox/{name}", f"{HEAD}{row}\n")
    mended = row.replace("two", "1.00")
    put(route.root / f"inbox/rejects-{route.week}.csv", f'file,row,reason,text\ninbox/{name},2,mended,"{mended}"\n')


def _mended_gone(route: Weekly) -> None:
    for path in (route.root / "inbox").glob("rejects-*.csv"):
        path.unlink()
        route.ledger_knows = True


def _ahead(route: Weekly) -> None:
    """Rows after the run: such a file is read each time."""
    row = f"{route.begins - timedelta(days=10):%Y-%m-%dT%H:%M:%S},m-2,1,1.00,cash,vended,C{route.week},1\n"
    later = row.replace(f"{route.begins.year}-", "2027-", 1).replace(",C", ",D")
    put(route.root / f"inbox/vends-ahead-{route.week}.csv", HEAD + row + later)


def _price_from_now(route: Weekly) -> None:
    machine, label = route.lot.choice(list(MACHINES)), route.lot.choice(LABELS)
    when = max(route.begins + timedelta(days=route.lot.choice([-40, -8, 0, 1])), START)
    product = route.lot.choice(["gum", "nuts"])
    told = f'[[change]]\nfrom = {when:%Y-%m-%dT%H:%M:%S}\nlabel = "{label}"\nproduct = "{product}"\nprice = "1.75"\n'
    # Changes stand in the order of their times: one at a time keeps it so.
    route.changes[machine] = told


def _renamed(route: Weekly) -> None:
    path = route.lot.choice(_files(route, "vends") + _files(route, "counts"))
    path.rename(path.with_name(path.name.replace("-", "-x", 1)))


def _gone(route: Weekly) -> None:
    route.ledger_knows = True
    route.lot.choice(sorted((route.root / "inbox").iterdir())).unlink()


def _altered(route: Weekly) -> None:
    route.ledger_knows = True
    path = route.lot.choice(sorted((route.root / "inbox").iterdir()))
    lines = path.read_text().splitlines()
    put(path, "\n".join([lines[0], *route.lot.sample(lines[1:], max(len(lines) - 2, 0)), ""]))


def _tolerance(route: Weekly) -> None:
    route.settings = f"[tolerance]\nboundary_minutes = {route.lot.choice([0, 5, 30])}\n"


def _test_vends(route: Weekly) -> None:
    route.settings = '[stock]\ntest_vends = "consumed"\n'


def _corrected(route: Weekly) -> None:
    """A count put right by a decision."""
    now = (route.begins + timedelta(days=2)).replace(tzinfo=UTC)
    found = [one for one in recon.run(route.root, now=now).results.findings if one.kind == "stock-short"]
    if found:
        one = route.lot.choice(found)
        row = one.evidence[0]
        decide(
            route.root, one.id,
            Asked("correct", by="Ann", why="counted again", row=f"{row.file}:{row.row}", field="counted", to="7"),
            now=now,
        )  # fmt: skip


TROUBLES: dict[str, Callable[[Weekly], None]] = {
    "what was late comes": _late_comes,
    "a vend of old is refunded": _refund_of_old,
    "a reference comes again": _reference_again,
    "a count is put right": _sheet_put_right,
    "a collection is put right": _box_put_right,
    "a row is mended": _mended,
    "mended rows are taken out": _mended_gone,
    "rows lie after the run": _ahead,
    "a layout changes": _price_from_now,
    "a file is renamed": _renamed,
    "a file goes": _gone,
    "a file is altered": _altered,
    "a tolerance changes": _tolerance,
    "test vends are consumed": _test_vends,
    "a decision puts a count right": _corrected,
}


def faults(seed: int, weeks: int, work: Path) -> Iterator[str]:
    """Name what differs in the weeks of a seed, with what had happened by then; nothing where all is the same."""
    route = Weekly(work / "weekly", random.Random(seed))
    for week in range(weeks):
        route.step()
        route.told.append(f"run {week + 1}")
        for difference in route.differences(work / "fresh"):
            yield f"seed {seed}, after {'; '.join(route.told)}: {difference}"
            return
