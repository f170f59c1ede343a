"""Routes that grow by lot: files arrive in any order and grouping, and layouts, descriptions and settings change
meanwhile. After each run the results are held against those of a fresh copy, which never saw a ledger."""

import io
import json
import os
import random
import shutil
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch

import recon
from recon.recorded import run_and_record
from recon.report.rejects_csv import rejects_csv

BEGIN = datetime(2026, 11, 20, 12, tzinfo=UTC)
"""The moment of the first run. Some rows lie after it, and some days are read one way only because of it."""
KNOWN_BY_LEDGER = ("file-changed", "file-gone")
"""Findings that only a ledger can make."""

PAYOUTS = "paid_on,from,to,gross,fees,net,reference"
HEAD = "machine,time,label,tender,price,outcome,reference,quantity"
SOURCE = {
    "kind": "vends", "files": ["log-*"], "timezone": "UTC",
    "columns": {"machine": "Terminal", "time": "When", "bus": "Item", "tender": "Paid by", "price": "Price"},
    "machines": {"0423": "m-2"}, "words": {"tender": {"cash": ["Coin"], "card": ["Chip"]}},
}  # fmt: skip


def _vends(lot: random.Random, machine: str, labels: str, days: range, rows: int) -> str:
    lines = [
        f"{machine},2026-09-{lot.choice(days):02d} {lot.randrange(24):02d}:{lot.randrange(60):02d},"
        f"{lot.choice(labels)}1,{lot.choice(['cash', 'card'])},{lot.choice(['2.00', '2.00', '1.50', ''])},"
        f"{lot.choice(['vended', 'vended', 'failed', 'refunded'])},{lot.choice(['', f'T-{at}'])},1"
        for at in range(rows)
    ]
    return "\n".join([HEAD, *lines, ""])


def _book(*sheets: tuple[str, str]) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for name, text in sheets:
        sheet = book.create_sheet(name)
        for line in text.strip().split("\n"):
            sheet.append(line.split(","))
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def _zip(name: str, text: str) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr(zipfile.ZipInfo(name, (2026, 9, 1, 0, 0, 0)), text)
    return made.getvalue()


def pool(lot: random.Random) -> dict[str, bytes]:
    """Every file that may arrive, by its name in the inbox."""
    overlapping = _vends(lot, "m-1", "AB", range(1, 20), 12)
    lines = overlapping.split("\n")
    texts = {
        "vends-1.csv": overlapping,
        "vends-2.csv": "\n".join([HEAD, *lines[5:], *_vends(lot, "m-2", "AB", range(5, 28), 6).split("\n")[1:]]),
        "vends-3.csv": _vends(lot, "m-9", "A", range(1, 28), 3),
        "vends-copy.csv": overlapping,
        "vends-rejects.csv": f"{HEAD}\nm-1,2026-09-04 10:00,A1,cash,two,vended,,1\n"
        "m-1,2026-09-05 10:00,A1,cheque,,,,1\n",
        "rejects.csv": "file,row,reason,text\ninbox/vends-rejects.csv,2,mended,"
        '"m-1,2026-09-04 10:00,A1,cash,2.00,vended,,1"\n',
        # The first of these days may be the 3rd of November or the 11th of March: only the moment of the run tells.
        "vends-days.csv": f"{HEAD}\nm-1,03/12/2026 10:00,A1,cash,2.00,vended,,1\nm-1,05/12/2026 10:00,A1,cash,,,,1\n",
        "vends-ahead.csv": f"{HEAD}\nm-1,2026-11-20 11:00,A1,cash,2.00,,,1\nm-1,2026-11-21 10:00,A1,cash,2.00,,,1\n"
        "m-2,2026-11-22 10:00,A1,card,2.00,,,1\n",
        "vends-night.csv": f"{HEAD}\nm-2,2026-11-01 01:30,A1,cash,2.00,,,1\nm-2,2026-03-08 02:30,A1,cash,2.00,,,1\n",
        "log-1.csv": "Terminal;When;Item;Paid by;Price\n0423;2026-09-02 10:00;1;Coin;2,00\n"
        "m-1;2026-09-02 11:00;2;Token;1,50\nm-1;2026-09-02 12:00;7;Chip;1,50\n",
        "log-2.csv": "Terminal;When;Item;Paid by;Price\n0423;2026-09-12 10:00;1;Coin;1,750\n",
        "log-3.csv": "Terminal;When;Item;Paid by\nm-1;2026-09-12 10:00;1;Coin\n",
        "counts-1.csv": "machine,time,label,counted,loaded,removed\nm-1,2026-09-01 09:00,A1,10,5,0\n"
        "m-1,2026-09-01 09:00,B1,8,,\nm-2,2026-09-01 10:00,A1,12,,\nm-1,2026-09-01 09:00,C1,3,,\n",
        "counts-2.csv": "machine,time,label,counted,loaded,removed\nm-1,2026-09-10 09:00,A1,7,5,0\n"
        "m-1,2026-09-10 09:00,B1,,,\nm-2,2026-09-10 10:00,A1,5,,\nm-1,2026-09-10 09:00,a1,6,,\n",
        "counts-2b.csv": "machine,time,label,counted\nm-1,2026-09-10 09:00,A1,6\n",
        "counts-3.csv": "machine,time,label,counted\nm-1,2026-09-20 09:00,A1,2\nm-2,2026-09-20 10:00,A1,1\n",
        "loads.csv": "machine,time,label,loaded,removed\nm-1,2026-09-05 09:00,A1,4,\nm-2,2026-09-15 09:00,A1,9,2\n",
        "cash-1.csv": "machine,time,total,tubes\nm-1,2026-09-01 09:05,10.00,5.00\nm-2,2026-09-01 10:05,0,0\n",
        "cash-2.csv": "machine,time,total,tubes\nm-1,2026-09-20 09:05,12.00,5.00\nm-2,2026-09-20 10:05,x,0\n",
        "payouts-1.csv": f"{PAYOUTS}\n2026-09-15,2026-09-01,2026-09-14,10.00,0.60,9.40,P-1\n",
        "payouts-2.csv": f"{PAYOUTS}\n2026-11-19,2026-09-15,2026-09-30,5.00,0.30,4.70,P-2\n"
        "2026-11-21,2026-10-01,2026-10-31,5.00,0.30,4.70,P-3\n",
        "tests.csv": "machine,label,time\nm-1,A1,2026-09-01 09:30\nm-1,B1,\n",
        "note.txt": "m-1\n2026-09-20 09:10\nA1 3 +4\nB1 5\nm-9\n2026-09-20 09:40\nA1 2\n",
        "note-9.txt": "m-1\n2026-09-15 09:10\nA1 5\nm-9\nA1 2\n",
        "empty.csv": "",
        "header.csv": f"{HEAD}\n",
        "strange.csv": "one,two\n1,2\n",
        "cards.csv": f"{HEAD}\nm-1,2026-09-04 10:00,A1,card,2.00,vended,4111 1111 1111 1111,1\n",
    }
    files = {name: text.encode() for name, text in texts.items()}
    files["vends-latin.csv"] = f"{HEAD}\nm-1,2026-09-07 10:00,A1,cash,2.00,,caf\u00e9,1\n".encode("cp1252")
    files["book.xlsx"] = _book(
        ("Counts", "machine,time,label,counted\nm-2,2026-09-25 10:00,A1,1"),
        ("Vends", f"{HEAD}\nm-2,2026-09-22 10:00,A1,cash,2.00,,,1\nm-2,2026-09-22 11:00,Z9,cash,two,,,1"),
        ("Words", "remember,the,milk"),
    )
    files["log-9.zip"] = _zip("log-9.csv", "Terminal;When;Item;Paid by;Price\n0423;2026-09-06 10:00;1;Coin;2,00\n")
    files["packed.zip"] = _zip("a-note.txt", "m-2\n2026-09-21 09:10\nA1 3\nm-9\n2026-09-21 09:40\nA1 2\n")
    return files


@dataclass
class Growing:
    """A route that grows. ledger_knows: whether findings of kinds KNOWN_BY_LEDGER may be made of it."""

    root: Path
    lot: random.Random
    waiting: dict[str, bytes] = field(default_factory=dict)
    now: datetime = BEGIN
    labels: dict[str, list[str]] = field(default_factory=lambda: {"m-1": ["A1", "B1"], "m-2": ["A1"]})
    zones: dict[str, str] = field(default_factory=lambda: {"m-1": "America/Halifax", "m-2": "America/Halifax"})
    currencies: dict[str, str] = field(default_factory=dict)
    price: int = 200
    source: dict[str, object] = field(default_factory=lambda: json.loads(json.dumps(SOURCE)))
    ledger_knows: bool = False
    told: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        (self.root / "inbox").mkdir(parents=True)
        self.waiting = self.waiting or pool(self.lot)
        self.write()

    def write(self) -> None:
        """Write settings, layouts and descriptions as they are to be."""
        put(self.root / "route.toml", 'name = "Growing"\ncurrency = "CAD"\ntimezone = "America/Halifax"\n')
        for machine, labels in self.labels.items():
            text = f'machine = "{machine}"\neffective = 2026-01-01T00:00:00\ntimezone = "{self.zones[machine]}"\n'
            text += f'currency = "{self.currencies[machine]}"\n' if machine in self.currencies else ""
            for bus, label in enumerate(labels, 1):
                text += f'[[slot]]\nlabel = "{label}"\nbus = {bus}\nproduct = "gum"\n'
                text += f'price = "{self.price // 100}"\ncapacity = 50\n'
            put(self.root / f"layouts/{machine}.toml", text)
        put(self.root / "sources/terminal.toml", _toml(self.source))

    def step(self) -> None:
        """Something happens, by lot; most often files arrive."""
        happening = self.lot.choice([self.arrive] * 4 + [self.later, self.change, self.change, self.rename])
        happening()
        self.write()

    def arrive(self) -> None:
        for name in self.lot.sample(sorted(self.waiting), min(len(self.waiting), self.lot.choice([1, 2, 5, 9]))):
            put(self.root / "inbox" / name, self.waiting.pop(name))
            self.told.append(f"{name} arrives")

    def later(self) -> None:
        self.now += timedelta(hours=self.lot.choice([-30, 5, 24, 48, 24 * 30]))
        self.told.append(f"it is {self.now}")

    def rename(self) -> None:
        files = sorted(path for path in (self.root / "inbox").iterdir() if path.name.startswith(("vends", "counts")))
        if files:
            path = self.lot.choice(files)
            path.rename(path.with_name(f"{path.stem}-again{path.suffix}"))
            self.told.append(f"{path.name} is renamed")

    def change(self) -> None:
        name, changed = self.lot.choice(sorted(_CHANGES.items()))
        changed(self)
        self.told.append(name)

    def alter(self) -> None:
        """A file that was taken in changes, or is taken away: the ledger has something to say of it."""
        path = self.lot.choice(sorted((self.root / "inbox").iterdir()))
        self.ledger_knows = True
        if self.lot.random() < 0.4:
            path.unlink()
        elif path.suffix == ".csv":
            lines = path.read_bytes().split(b"\n")
            put(path, b"\n".join([*lines[:1], *self.lot.sample(lines[1:], max(len(lines) - 2, 0)), b""]))
        self.told.append(f"{path.name} is altered or gone")

    def differences(self, fresh: Path, at_once: int | None = None) -> Iterator[str]:
        """Run once with the ledger and once without, on a copy; what differs, in words.

        at_once: how many vends the run with the ledger holds at once; None: as many as by default.
        """
        if not any((self.root / "inbox").iterdir()):
            self.arrive()
        with patch.dict(os.environ, {} if at_once is None else {"RECON_AT_ONCE": str(at_once)}):
            kept = run_and_record(self.root, now=self.now, page=at_once is None, tables=at_once is not None).run
        shutil.rmtree(fresh, ignore_errors=True)
        shutil.copytree(self.root, fresh, ignore=shutil.ignore_patterns("ledger", "reports"))
        plain = recon.run(fresh, now=self.now)
        if without_ledger(kept.json(), self.ledger_knows) != without_ledger(plain.json(), self.ledger_knows):
            yield "results.json differs"
        if rejects_csv(kept.reconciliation) != rejects_csv(plain.reconciliation):
            yield "rejects.csv differs"
        for name, frame in plain.frames.items():
            # Pages and tables are drawn of the priced vends; nobody wants the others.
            if name == "vends" or (name in ("findings", "file_changes", "decisions") and self.ledger_knows):
                continue
            if not frame.equals(kept.frames[name]):
                yield f"frame {name} differs:\n{kept.frames[name]}\nfrom nothing:\n{frame}"


def without_ledger(results: str, ledger_knows: bool) -> str:
    """The results without the findings that only a ledger can make; byte for byte as they are where there are none."""
    if not ledger_knows:
        return results
    told = json.loads(results)
    told["findings"] = [finding for finding in told["findings"] if finding["kind"] not in KNOWN_BY_LEDGER]
    return json.dumps(told)


def put(path: Path, content: str | bytes) -> None:
    """Write a file, if it says something else so far."""
    data = content.encode() if isinstance(content, str) else content
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists() or path.read_bytes() != data:
        path.write_bytes(data)


def _toml(values: dict[str, object], table: str = "") -> str:
    plain = "".join(f"{json.dumps(k)} = {json.dumps(v)}\n" for k, v in values.items() if not isinstance(v, dict))
    inner = ((f"{table}.{name}" if table else name, value) for name, value in values.items())
    return plain + "".join(f"[{name}]\n{_toml(value, name)}" for name, value in inner if isinstance(value, dict))


def _label_added(route: Growing) -> None:
    machine = route.lot.choice(sorted(route.labels))
    route.labels[machine].append(f"{'CDEFGHIJKLMNOPQ'[len(route.labels[machine])]}1")


def _known_label_added(route: Growing) -> None:
    if "C1" not in route.labels["m-1"]:
        route.labels["m-1"].append("C1")


def _zone_changed(route: Growing) -> None:
    route.zones[route.lot.choice(sorted(route.zones))] = route.lot.choice(["America/Toronto", "Asia/Tokyo", "UTC"])


def _currency_changed(route: Growing) -> None:
    route.currencies["m-2"] = route.lot.choice(["JPY", "KWD", "CAD"])


def _price_changed(route: Growing) -> None:
    route.price += 100


def _machine_added(route: Growing) -> None:
    route.labels.setdefault("m-9", ["A1"])
    route.zones.setdefault("m-9", "Europe/Paris")


def _word_added(route: Growing) -> None:
    route.source["words"] = {"tender": {"cash": ["Coin"], "card": ["Chip"], "token": ["Token"]}}


def _column_left_out(route: Growing) -> None:
    columns = {**SOURCE["columns"]}  # type: ignore[dict-item]
    if route.lot.random() < 0.5:
        del columns["price"]
    route.source["columns"] = columns


def _other_files(route: Growing) -> None:
    route.source["files"] = route.lot.choice([["log-*"], ["log-1*"], ["log-*", "strange*"]])


def _zone_of_source(route: Growing) -> None:
    route.source["timezone"] = route.lot.choice(["UTC", "America/Toronto"])


_CHANGES: dict[str, Callable[[Growing], None]] = {
    "a label is added": _label_added,
    "a label that files name is added": _known_label_added,
    "a machine's zone changes": _zone_changed,
    "a machine's currency changes": _currency_changed,
    "prices change": _price_changed,
    "a layout is added": _machine_added,
    "a description gets a word": _word_added,
    "a description changes its columns": _column_left_out,
    "a description speaks for other files": _other_files,
    "a description changes its zone": _zone_of_source,
}


def faults(
    seed: int, steps: int, work: Path, *, altered: bool = False, at_once: int | None = None
) -> Iterator[str]:
    """What differs in the history of a seed after any of its steps; nothing where results never hang on the ledger."""
    lot = random.Random(seed)
    route = Growing(work / "growing", lot)
    for step in range(steps):
        route.step()
        if altered and lot.random() < 0.5 and any((route.root / "inbox").iterdir()):
            route.alter()
        route.told.append(f"run {step + 1}")
        for difference in route.differences(work / "fresh", at_once):
            yield f"seed {seed}, after {'; '.join(route.told)}: {difference}"
            return
