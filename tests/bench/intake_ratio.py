"""How long the intake of a long export takes, beside a bare typed scan of the same file (docs/intake.md).

    python tests/bench/intake_ratio.py --rows 1000000

Writes a route with one export of vends in a temporary folder, then takes it in and scans it to Parquet by turns, and
prints the medians of both, by the clock and by the time that the processor worked, their ratios, and the most memory
that the process held. Pytest does not collect it: what a machine does beside it decides such figures.
"""

import argparse
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from recon.intake.take_in import take_in
from recon.route.folder import Route, read_route

MACHINES = 100
SLOTS = 40
FORMATS = {"iso": "%Y-%m-%dT%H:%M:%S", "dressed": "%d. %m. %Y %H.%M.%S Uhr"}
"""How the times of the export are written: as a standard has them, and as a spreadsheet of some country might."""

_TYPES = {
    "machine": pl.String, "time": pl.String, "bus": pl.Int32, "price": pl.Float64, "tender": pl.String,
    "reference": pl.String,
}  # fmt: skip


def export(rows: int, form: str) -> pl.DataFrame:
    """Vends of eight weeks, in the order of their times, by a rule: no two runs differ."""
    at = pl.int_range(rows)
    price = (100 + (at * 37 % 8) * 25).cast(pl.String)
    drawn = pl.select(
        machine=pl.format("m{}", (at * 31 % MACHINES).cast(pl.String).str.zfill(6)),
        time=pl.lit(datetime(2026, 6, 1, 8)) + pl.duration(seconds=at * (8 * 7 * 86_400) // rows),
        bus=256 + at * 17 % SLOTS,
        price=pl.when(at % 2 == 1).then(pl.format("{}.{}", price.str.head(-2), price.str.tail(2))),
        tender=pl.when(at % 2 == 1).then(pl.lit("card")).otherwise(pl.lit("cash")),
        reference=pl.format("R{}", at),
    )
    return drawn.with_columns(pl.col("time").dt.strftime(form))


def lay_route(root: Path, rows: int, form: str) -> Path:
    """A route whose inbox holds that export alone."""
    for folder in ("layouts", "inbox"):
        (root / folder).mkdir()
    (root / "route.toml").write_text('name = "Long"\ncurrency = "CAD"\ntimezone = "America/Halifax"\n')
    slots = "".join(f'\n[[slot]]\nlabel = "{100 + slot}"\nbus = {256 + slot}\ncapacity = 9\n' for slot in range(SLOTS))
    for machine in range(MACHINES):
        top = f'machine = "m{machine:06d}"\neffective = 2026-01-01T00:00:00\n'
        (root / f"layouts/m{machine:06d}.toml").write_text(top + slots)
    path = root / "inbox" / "sales.csv"
    export(rows, form).write_csv(path)
    return path


def scan(path: Path, form: str, to: Path) -> None:
    """The least that anyone could do: the file's columns with their types, and onto the disk."""
    plain = form == FORMATS["iso"]
    types = _TYPES | ({"time": pl.Datetime("us")} if plain else {})
    lazy = pl.scan_csv(path, schema=types)
    if not plain:
        lazy = lazy.with_columns(pl.col("time").str.to_datetime(form, time_unit="us"))
    lazy.sink_parquet(to)


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the clock, and of the processor."""
    wall, busy = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - busy


def peak() -> int:
    """The most memory that the process has held so far, in MiB."""
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return held // (1024 * 1024 if sys.platform == "darwin" else 1024)


def main() -> None:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, default=1_000_000, help="vends in the export")
    parser.add_argument("--turns", type=int, default=5, help="how often each is done")
    parser.add_argument("--times", choices=sorted(FORMATS), default="iso", help="how its times are written")
    asked = parser.parse_args()
    form = FORMATS[asked.times]
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        path = lay_route(root, asked.rows, form)
        route, now = read_route(root), datetime(2026, 9, 1, tzinfo=UTC)
        size = path.stat().st_size / 1024**2
        sys.stdout.write(f"{asked.rows} rows, {size:.1f} MiB, times such as {export(1, form)['time'][0]}\n")
        taken, scanned = [], []
        for turn in range(asked.turns):
            scanned.append(timed(lambda: scan(path, form, root / "scanned.parquet")))
            if turn == 0:
                sys.stdout.write(f"memory held at most: {peak()} MiB with the scan\n")
            taken.append(timed(lambda: _take_all(route, asked.rows, now)))
    sys.stdout.write(f"memory held at most: {peak()} MiB with the intake\n")
    for at, name in enumerate(("by the clock", "of the processor")):
        intake, bare = (statistics.median(turn[at] for turn in turns) for turns in (taken, scanned))
        sys.stdout.write(f"{name}: intake {intake:.2f} s, scan {bare:.2f} s, ratio {intake / bare:.2f}\n")


def _take_all(route: Route, rows: int, now: datetime) -> None:
    taken = take_in(route, now=now).vends.height
    if taken != rows:
        raise SystemExit(f"{taken} of {rows} rows were taken in")


if __name__ == "__main__":
    main()
