"""The whole job beside its peers: time, memory, and figures that must be equal (docs/benchmarks.md).

    python tests/bench --machines 200 --weeks 10 --rows 1000000 --seed 1

Lays a route in a temporary folder, then does each job in a process of its own, by turns: the whole job without report
pages cold (a fresh copy without a ledger) and warm (one more week on what was taken in), two bare scans of the logs to
Parquet (typed, and as text that is cast), the same sums in DuckDB, and in pandas and both with the pages where they
fit. Prints medians, ratios and peak memory, and with --write puts them into docs/benchmarks.md. Pytest does not collect
it: what a machine does beside it decides such figures.
"""

import argparse
import atexit
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import page

FITS = 1_000_000
"""Vends up to which the pandas script is run, and the report pages are drawn."""

_HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True)
class Cost:
    """Of one finished process: seconds by the clock, seconds of the processor, most memory held (MiB)."""

    wall: float
    busy: float
    peak: float


@cache
def environment() -> dict[str, str]:
    """What each job sees. The moment of the run is settled: 1 June 2026, behind the last week of any route.

    Installers compile what they install. Where the environment forbids to keep compiled modules, they are kept in a
    folder of this run, so that a job does not compile them each time.
    """
    told = os.environ | {"SOURCE_DATE_EPOCH": "1780272000"}
    if told.pop("PYTHONDONTWRITEBYTECODE", None):
        told["PYTHONPYCACHEPREFIX"] = tempfile.mkdtemp(prefix="bench-modules-")
        atexit.register(shutil.rmtree, told["PYTHONPYCACHEPREFIX"], ignore_errors=True)
    return told


def cost_of(command: list[str], *, out: Path, allowed: tuple[int, ...] = (0,)) -> Cost:
    """Run a command with its output in a file, and tell what the operating system says it took.

    This process stays small and imports no table library: on Linux a child's peak begins with its parent's size.
    """
    with out.open("wb") as stream:
        began = time.perf_counter()
        child = subprocess.Popen(command, stdout=stream, env=environment())
        _, status, used = os.wait4(child.pid, 0)
        wall = time.perf_counter() - began
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in allowed:
        raise SystemExit(f"{' '.join(command)} left with {child.returncode}")
    scale = 1024 * 1024 if sys.platform == "darwin" else 1024
    return Cost(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / scale)


def _step(name: str, *words: str) -> list[str]:
    return [sys.executable, str(_HERE / "step.py"), name, *words]


def _recon(route: Path, *more: str) -> list[str]:
    return [sys.executable, "-m", "recon", "run", str(route), "-q", "--format", "json", *more]


def _copy(route: Path, to: Path) -> Path:
    """A copy to work on. What a run only reads is linked, for a route of 10 million vends is large."""
    shutil.rmtree(to, ignore_errors=True)
    for path in sorted(route.rglob("*")):
        if path.is_file():
            target = to / path.relative_to(route)
            target.parent.mkdir(parents=True, exist_ok=True)
            if {"inbox", "layouts", "originals"} & set(path.relative_to(route).parts[:2]):
                target.hardlink_to(path)
            else:
                shutil.copy2(path, target)
    return to


def measure(root: Path, tries: int, *, small: bool) -> tuple[dict[str, list[Cost]], str]:
    """Do every job `tries` times by turns; returns what each took, and the totals on which all agree."""
    costs: dict[str, list[Cost]] = {}
    peers = ["scan", "text", "duckdb", *(["pandas"] if small else [])]
    totals = ""
    for turn in range(tries):
        work = _copy(root / "route", root / "cold")
        cold = cost_of(_recon(work, "--no-page"), out=root / "cold.json", allowed=(0, 1))
        costs.setdefault("cold", []).append(cold)
        for path in (root / "next").iterdir():
            (work / "inbox" / path.name).hardlink_to(path)
        warm = cost_of(_recon(work, "--no-page"), out=root / "warm.json", allowed=(0, 1))
        costs.setdefault("warm", []).append(warm)
        if small:
            work = _copy(root / "route", root / "cold")
            costs.setdefault("page", []).append(cost_of(_recon(work), out=root / "page.json", allowed=(0, 1)))
            for path in (root / "next").iterdir():
                (work / "inbox" / path.name).hardlink_to(path)
            costs.setdefault("page warm", []).append(cost_of(_recon(work), out=root / "page.json", allowed=(0, 1)))
        for peer in peers:
            (root / peer).mkdir(exist_ok=True)
            words = _step("peer", peer, str(root), str(root / peer))
            costs.setdefault(peer, []).append(cost_of(words, out=root / "said"))
            if peer == "text" and turn == 0:
                cost_of(_step("scans", str(root / "scan"), str(root / peer)), out=root / "said")
            elif peer != "scan" and turn == 0:
                cost_of(_step("equal", str(root / "cold.json"), str(root / peer)), out=root / "said")
                totals = (root / "said").read_text(encoding="utf-8").strip()
        for name, taken in costs.items():
            last = taken[-1]
            sys.stderr.write(f"try {turn + 1}: {name} {last.wall:.2f} s, {last.busy:.2f} s busy, {last.peak:.0f} MiB\n")
    return costs, totals


def main() -> None:
    """Lay, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--weeks", type=int, default=10)
    parser.add_argument("--rows", type=int, default=1_000_000, help="vends, before exports overlap")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--slots", type=int, default=20, help="slots of each machine")
    parser.add_argument("--tries", type=int, default=3, help="of which the medians are told")
    parser.add_argument("--write", action="store_true", help="put the table into docs/benchmarks.md")
    parser.add_argument("--keep", type=Path, help="lay the route in this new folder, and stop")
    asked = parser.parse_args()
    if not 1 <= asked.weeks <= 60 or asked.rows < asked.weeks:
        parser.error("--weeks: 1 to 60, and a vend a week at least")
    size = [str(value) for value in (asked.machines, asked.weeks, asked.rows, asked.seed, asked.slots)]
    if asked.machines < 1 or asked.tries < 1 or not 1 <= asked.slots <= 400:
        parser.error("--machines and --tries: 1 at least; --slots: 1 to 400")
    if asked.keep and asked.keep.exists():
        parser.error(f"--keep: {asked.keep} is there already; name a new folder")
    if asked.keep:
        cost_of(_step("lay", str(asked.keep), *size), out=Path(os.devnull))
        return
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "bench"
        laid = cost_of(_step("lay", str(root), *size), out=Path(os.devnull))
        logs = list((root / "route/inbox").glob("sales-*.csv"))
        mib = sum(path.stat().st_size for path in logs) / 1024**2
        sys.stderr.write(f"laid in {laid.wall:.1f} s: {len(logs)} logs, {mib:.1f} MiB\n")
        costs, totals = measure(root, asked.tries, small=asked.rows <= FITS)
    medians = {
        name: tuple(statistics.median(getattr(cost, field) for cost in taken) for field in ("wall", "busy", "peak"))
        for name, taken in costs.items()
    }
    words = f"--machines {asked.machines} --weeks {asked.weeks} --rows {asked.rows} --seed {asked.seed}"
    words += f" --slots {asked.slots} --tries {asked.tries}"
    text = page.table(words, mib, medians, totals)
    sys.stdout.write(text)
    if asked.write:
        page.put(f"{asked.rows} rows", text)


if __name__ == "__main__":
    main()
