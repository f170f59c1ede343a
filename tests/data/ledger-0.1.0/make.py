"""Make the ledger, the reports and the bundles of this folder with recon 0.1.0.

    git worktree add /tmp/recon-0.1.0 47fe80b
    python tests/data/ledger-0.1.0/make.py /tmp/recon-0.1.0

Writes `route` (a route folder after four weekly runs), `next` (the inbox files of a fifth week), `bundle.zip` (the
whole route), `bundle-slot.zip` (the rows of one slot), `traces` (what `recon trace` printed), and `late` (a route where
0.1.0 kept a wrong figure: an older log arrived after a newer one, in runs without pages). Every command gets a
fixed moment, so the same versions of Python, polars and tzdata write the same files. Lock files are removed.
"""

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROUTE = HERE / "route"
VERSION = "0.1.0"
START = datetime(2026, 9, 7, 9)
"""Local time of the first visit, a Monday."""
MACHINES = ("lobby-1", "lobby-2")
LABELS = ("101", "102", "103")
PRICES = {"101": 150, "102": 200, "103": 225}
LEVEL = 12
"""Units in a slot after each visit."""
SHORT = {(2, "lobby-1", "102"): 2, (3, "lobby-2", "101"): 1}
"""Week, machine, label of a count that lacks units, and how many."""

ROUTE_TOML = """name = "Lobby route"
currency = "CAD"
timezone = "America/Halifax"

[cards]
percent = "5.00"
monthly = "6.00"
"""
PRODUCTS = "id,name,unit_cost\ngum,Gum,0.40\nnuts,Nuts,0.55\nbar,Bar,0.70\n"
SOURCE = """kind = "vends"
files = ["terminal-*.csv"]
timezone = "UTC"

[columns]
machine = "Terminal"
time = "When"
bus = "Item"
price = "Price"
tender = "Paid by"
reference = "Txn"

[machines]
"T-2" = "lobby-2"

[words.tender]
cash = ["Coin"]
card = ["Chip"]
"""


def layout_text(price: str) -> str:
    """The layout of lobby-1; price: what slot 103 costs from the third week on."""
    text = 'machine = "lobby-1"\nnumbering = "hex-label"\neffective = 2026-09-01T00:00:00\n'
    for label, product in zip(LABELS, ("gum", "nuts", "bar"), strict=True):
        cents = PRICES[label]
        text += f'\n[[slot]]\nlabel = "{label}"\nproduct = "{product}"\nprice = "{cents // 100}.{cents % 100:02d}"\n'
        text += "capacity = 12\n"
    return text + (f'\n[[change]]\nfrom = 2026-09-21T09:30:00\nlabel = "103"\nprice = "{price}"\n' if price else "")


def settings() -> None:
    """Everything but the inbox."""
    write(ROUTE / "route.toml", ROUTE_TOML)
    write(ROUTE / "products.csv", PRODUCTS)
    write(ROUTE / "sources/terminal.toml", SOURCE)
    write(ROUTE / "layouts/lobby-1.toml", layout_text(""))
    head = "machine,from,label,bus,product,price,capacity\n"
    rows = ("101,257,gum,1.50", "102,258,nuts,2.00", "103,259,bar,2.25")
    lines = "".join(f"lobby-2,2026-09-01T00:00:00,{row},12\n" for row in rows)
    write(ROUTE / "layouts/lobby-2.csv", head + lines)


def week(number: int, inbox: Path) -> None:
    """The files of a week: a log of each machine, and the visit at its end. Week 0 has the first visit alone."""
    sold = {(machine, label): 0 for machine in MACHINES for label in LABELS}
    cash = dict.fromkeys(MACHINES, 0)
    logs: dict[str, list[str]] = {machine: [] for machine in MACHINES}
    for nth in range(28 if number else 0):
        machine, label = MACHINES[nth % 2], LABELS[(nth * 5 + number) % 3]
        when = START + timedelta(days=7 * (number - 1), hours=4 + nth * 5)
        cents = PRICES[label] + (25 if number > 2 and machine == "lobby-1" and label == "103" else 0)
        paid = "cash" if nth % 3 else "card"
        price = "" if paid == "cash" and nth % 10 == 4 else f"{cents // 100}.{cents % 100:02d}"
        bus, reference = int(label, 16), f"{number}-{nth:02d}"
        # A log by terminal in UTC, which is three hours ahead, and one in our own fields.
        if machine == "lobby-2":
            words = {"cash": "Coin", "card": "Chip"}
            stamp = f"{when + timedelta(hours=3):%Y-%m-%d %H:%M:%S}"
            logs[machine].append(f"T-2;{stamp};{bus};{price};{words[paid]};{reference}")
        else:
            logs[machine].append(f"{machine},{when:%Y-%m-%dT%H:%M:%S},{bus},{price},{paid},vended,{reference}")
        sold[machine, label] += 1
        cash[machine] += cents if paid == "cash" else 0
    visit = START + timedelta(days=7 * number)
    counts, boxes = ["machine,time,label,counted,loaded"], ["machine,time,total"]
    for machine in MACHINES:
        for label in LABELS:
            gone = sold[machine, label] + SHORT.get((number, machine, label), 0)
            counted = LEVEL - gone if number else 0
            counts.append(f"{machine},{visit:%Y-%m-%d %H:%M},{label},{counted},{LEVEL - counted}")
        total = cash[machine] - (500 if (number, machine) == (2, "lobby-2") else 0)
        boxes.append(f"{machine},{visit + timedelta(minutes=5):%Y-%m-%d %H:%M},{total // 100}.{total % 100:02d}")
    write(inbox / f"counts-{number}.csv", "\n".join([*counts, ""]))
    write(inbox / f"cash-{number}.csv", "\n".join([*boxes, ""]))
    if number:
        own = ["machine,time,bus,price,tender,outcome,reference", *logs["lobby-1"]]
        write(inbox / f"vends-{number}.csv", "\n".join([*own, ""]))
        export = ["Terminal;When;Item;Price;Paid by;Txn", *logs["lobby-2"]]
        write(inbox / f"terminal-{number}.csv", "\n".join([*export, ""]))


def odd_files() -> None:
    """What is refused, rejected, repeated and corrected."""
    inbox = ROUTE / "inbox"
    write(inbox / "notes.csv", "remember,the milk\n1,2\n")
    last = (inbox / "vends-2.csv").read_text().splitlines()
    bad = "lobby-1,2026-09-20T10:00:00,257,one,cash,vended,odd"
    lost = "lobby-1,2026-09-20T11:00:00,700,1.50,cash,vended,lost"
    write(inbox / "vends-2-again.csv", "\n".join([last[0], *last[-3:], bad, lost, ""]))
    write(inbox / "counts-right.csv", "machine,time,label,counted,loaded\nlobby-1,2026-09-21 09:00,101,6,6\n")


def write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def recon(checkout: Path, moment: datetime, *words: str, allowed: tuple[int, ...] = (0, 1)) -> str:
    """A command of that version, at that moment."""
    env = os.environ | {"PYTHONPATH": str(checkout), "SOURCE_DATE_EPOCH": str(int(moment.timestamp()))}
    command = [sys.executable, "-m", "recon", *words]
    done = subprocess.run(command, cwd=HERE, env=env, capture_output=True, text=True, check=False)
    if done.returncode not in allowed:
        raise SystemExit(f"{' '.join(words)} left with {done.returncode}: {done.stdout}{done.stderr}")
    return done.stdout


def finding(kind: str, machine: str) -> str:
    """The id of the newest finding of that kind and machine in the newest results."""
    results: dict[str, Any] = json.loads(max((ROUTE / "reports").glob("*/results.json")).read_text(encoding="utf-8"))
    found: list[str] = [one["id"] for one in results["findings"] if (one["kind"], one["machine"]) == (kind, machine)]
    return found[-1]


def main(checkout: Path) -> None:
    """Write everything anew."""
    said = recon(checkout, datetime.now(UTC), "--version")
    if f"recon {VERSION}" not in said:
        raise SystemExit(f"{checkout} is {said.strip()}: expected recon {VERSION}")
    for name in ("route", "next", "traces", "late"):
        shutil.rmtree(HERE / name, ignore_errors=True)
    for path in HERE.glob("*.zip"):
        path.unlink()
    settings()
    moments = [(START + timedelta(days=7 * number, hours=10)).replace(tzinfo=UTC) for number in range(5)]
    week(0, ROUTE / "inbox")
    for number, words in ((1, ("--no-page",)), (2, ("--no-page",)), (3, ()), (4, ("--no-page",))):
        week(number, ROUTE / "inbox")
        if number == 3:
            odd_files()
            write(ROUTE / "layouts/lobby-1.toml", layout_text("2.50"))
        # The file that is refused has the command leave with 2.
        recon(checkout, moments[number], "run", "route", "-q", *words, allowed=(0, 1, 2))
        if number == 3:
            later = moments[3] + timedelta(hours=1)
            short, box = finding("stock-short", "lobby-1"), finding("cash-short", "lobby-2")
            recon(checkout, later, "decide", "route", short, "accept", "--by", "Ada", "--why", "two were given away")
            recon(checkout, later, "decide", "route", box, "correct", "--by", "Ada", "--why", "a note was stuck",
                  "--to", collected(box))  # fmt: skip
    week(5, HERE / "next")
    recon(checkout, moments[4], "verify", "route", allowed=(0,))
    recon(checkout, moments[4], "pack", "route", "-q", "-o", "bundle.zip")
    recon(checkout, moments[4], "pack", "route", "lobby-1/102", "--rows-only", "-q", "-o", "bundle-slot.zip")
    for name, target in (("slot", "lobby-1/102"), ("collection", "lobby-2@2026-09-21")):
        write(HERE / f"traces/{name}.json", recon(checkout, moments[4], "trace", "route", target, "--format", "json"))
    late(checkout)
    for path in [*HERE.glob("*/ledger/lock"), *HERE.glob("*/ledger/holder.json")]:
        path.unlink()


def late(checkout: Path) -> None:
    """Make a route of one slot, counted in three weeks, whose first log arrives after its second."""
    root, moment = HERE / "late", datetime(2026, 9, 21, 19, tzinfo=UTC)
    write(root / "route.toml", 'name = "Late"\ncurrency = "CAD"\ntimezone = "UTC"\n')
    slot = '[[slot]]\nlabel = "110"\nproduct = "gum"\nprice = "2.00"\ncapacity = 50\n'
    write(root / "layouts/m-1.toml", f'machine = "m-1"\nnumbering = "same"\neffective = 2026-01-01T00:00:00\n\n{slot}')
    counts = "".join(f"m-1,2026-09-{day} 09:00,110,{left}\n" for day, left in (("01", 10), ("08", 9), ("15", 8)))
    write(root / "inbox/counts.csv", f"machine,time,label,counted\n{counts}")
    for name, day in (("vends-2", "10"), ("vends-1", "02")):
        row = f"m-1,2026-09-{day} 09:00,110,2.00,cash\n"
        write(root / f"inbox/{name}.csv", f"machine,time,bus,price,tender\n{row}")
        recon(checkout, moment, "run", "late", "-q", "--no-page")


def collected(identity: str) -> str:
    """What was in the box, with what it lacked."""
    results = json.loads(max((ROUTE / "reports").glob("*/results.json")).read_text(encoding="utf-8"))
    one = next(one for one in results["findings"] if one["id"] == identity)
    window = next(
        each for each in results["cash"] if (each["machine"], each["closed_at"]) == (one["machine"], one["closed_at"])
    )
    expected: str = window["expected"]
    return expected


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
