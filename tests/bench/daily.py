"""What the last of many daily runs takes, beside a run from nothing on the same folder (docs/benchmarks.md).

    python tests/bench/daily.py --days 800

Writes a small route in a temporary folder, adds one sales log a day (and count and cash sheets every four weeks) and
runs it each day, all in one process. On some days it times that day's run on copies of the folder: with the ledger of
all earlier runs, and without any. Both must give the same results. Prints medians of the processor's time, their ratio,
and how many tables (Parquet files) the route then keeps.
"""

import argparse
import shutil
import statistics
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from recon.recorded import run_and_record

START = datetime(2025, 1, 6, 8)
"""Local time of the first visit; the route's zone is UTC."""
MACHINES = ("m-1", "m-2")
PRICES = {"101": 150, "102": 200, "103": 225}
LEVEL = 60
"""Units in a slot after each visit."""
VENDS = 8
"""Vends a day."""
VISIT = 28
"""Days from one visit to the next."""


def write_settings(root: Path) -> None:
    """Write everything but the inbox."""
    for folder in ("layouts", "inbox"):
        (root / folder).mkdir(parents=True)
    (root / "route.toml").write_text('name = "Daily"\ncurrency = "CAD"\ntimezone = "UTC"\n')
    (root / "products.csv").write_text("id,name,unit_cost\ngum,Gum,0.40\n")
    for machine in MACHINES:
        text = f'machine = "{machine}"\nnumbering = "same"\neffective = 2025-01-01T00:00:00\n'
        for label, cents in PRICES.items():
            text += f'\n[[slot]]\nlabel = "{label}"\nproduct = "gum"\nprice = "{cents / 100:.2f}"\ncapacity = {LEVEL}\n'
        (root / f"layouts/{machine}.toml").write_text(text)


def vends_of(day: int) -> list[tuple[datetime, str, str, str]]:
    """Time, machine, label and tender of each vend of a day, by a rule: no two benchmarks differ."""
    return [
        (
            START + timedelta(days=day, hours=1, minutes=70 * nth),
            MACHINES[(day + nth) % 2],
            sorted(PRICES)[(day * 7 + nth * 5) % 3],
            "card" if (day + nth) % 3 == 0 else "cash",
        )
        for nth in range(VENDS)
    ]


def write_day(root: Path, day: int) -> None:
    """Write the log of a day; and on the days of a visit its sheets. Nobody miscounts."""
    lines = ["machine,time,bus,price,tender,reference"]
    for nth, (when, machine, label, tender) in enumerate(vends_of(day)):
        lines.append(f"{machine},{when:%Y-%m-%dT%H:%M:%S},{label},{PRICES[label] / 100:.2f},{tender},{day}-{nth}")
    (root / f"inbox/vends-{day:04d}.csv").write_text("\n".join([*lines, ""]))
    if day % VISIT == 0:
        since = [vend for past in range(max(day - VISIT, 0), day) for vend in vends_of(past)]
        visit = f"{START + timedelta(days=day):%Y-%m-%d %H:%M}"
        counts, boxes = ["machine,time,label,counted,loaded"], ["machine,time,total"]
        for machine in MACHINES:
            for label in PRICES:
                gone = sum(1 for _, *place, _ in since if place == [machine, label])
                counted = LEVEL - gone if day else 0
                counts.append(f"{machine},{visit},{label},{counted},{LEVEL - counted}")
            paid = sum(PRICES[label] for _, own, label, tender in since if own == machine and tender == "cash")
            boxes.append(f"{machine},{visit},{paid / 100:.2f}")
        (root / f"inbox/counts-{day:04d}.csv").write_text("\n".join([*counts, ""]))
        (root / f"inbox/cash-{day:04d}.csv").write_text("\n".join([*boxes, ""]))


def run(root: Path, day: int, *, page: bool) -> tuple[float, bytes]:
    """Run the route at the end of a day. Returns the processor's seconds, and results.json."""
    began = time.process_time()
    done = run_and_record(root, now=(START + timedelta(days=day, hours=15)).replace(tzinfo=UTC), page=page)
    return time.process_time() - began, (done.report / "results.json").read_bytes()


def timed(root: Path, day: int, work: Path, tries: int, *, page: bool) -> tuple[float, float]:
    """Median seconds of a day's run with the ledger and without, by turns, each on a copy of the folder.

    Raises SystemExit where the results differ.
    """
    spent: tuple[list[float], list[float]] = ([], [])
    for _ in range(tries):
        results = []
        for at, left_out in enumerate(((), ("ledger", "reports"))):
            copy = shutil.copytree(root, work / "copy", ignore=shutil.ignore_patterns(*left_out))
            seconds, result = run(copy, day, page=page)
            spent[at].append(seconds)
            results.append(result)
            shutil.rmtree(copy)
        if results[0] != results[1]:
            raise SystemExit(f"day {day + 1}: the results with the ledger are not those of a run from nothing")
    return statistics.median(spent[0]), statistics.median(spent[1])


def main() -> None:
    """Run day after day, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=800, help="daily runs")
    parser.add_argument("--tries", type=int, default=3, help="of which the medians are told")
    parser.add_argument("--page", action="store_true", help="draw the report pages in each run, as by default")
    asked = parser.parse_args()
    if asked.days < 1 or asked.tries < 1:
        parser.error("--days and --tries: 1 at least")
    shown = {asked.days >> half for half in range(5)} - {0}
    options = f"--days {asked.days} --tries {asked.tries}{' --page' if asked.page else ''}"
    sys.stdout.write(f"`python tests/bench/daily.py {options}`:\n\n")
    sys.stdout.write("| daily runs | the last one | from nothing | ratio | kept tables |\n|---|---|---|---|---|\n")
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "route"
        write_settings(root)
        for day in range(asked.days):
            write_day(root, day)
            if day + 1 in shown:
                last, fresh = timed(root, day, Path(folder), asked.tries, page=asked.page)
            run(root, day, page=asked.page)
            if day + 1 in shown:
                kept = sum(1 for path in root.rglob("*.parquet") if "reports" not in path.relative_to(root).parts)
                sys.stdout.write(f"| {day + 1} | {last:.2f} s | {fresh:.2f} s | {last / fresh:.2f}x | {kept} |\n")
                sys.stdout.flush()


if __name__ == "__main__":
    main()
