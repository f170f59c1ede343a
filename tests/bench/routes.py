"""Routes of any size for the benchmarks: seeded, so that the same figures make the same files on any machine.

A route has a sales log a week for all machines, weekly counts and collections, and a payout a week. Dirt as it comes:
each log begins with the end of the one before (overlapping exports), cash vends lack their price, some machines report
a number that no slot has, vends fail or are refunded, and people miscount. Sites are closed at night, so that no vend
falls into the hour that a change of clocks repeats.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

START = datetime(2025, 1, 6)
"""The Monday on which every route begins, by the clock of each machine."""

_ZONES = ("America/Halifax", "America/Toronto", "America/Vancouver")
_DAY, _WEEK, _OPENS, _SHUTS = 86_400, 7 * 86_400, 6 * 3600, 23 * 3600


@dataclass(frozen=True, slots=True)
class Size:
    """machines, weeks, slots of each machine, vends in all weeks, and the shares that are dirty.

    overlap: of each log that the next one repeats. unpriced: of cash vends without a price. unmapped: of machines with
    a slot whose number is not in the layout. failed, refunded: of vends. miscounted: of counts and of collections.
    """

    machines: int
    weeks: int
    rows: int
    seed: int
    slots: int = 20
    overlap: float = 0.05
    unpriced: float = 0.10
    unmapped: float = 0.05
    failed: float = 0.01
    refunded: float = 0.002
    miscounted: float = 0.01


def lay(root: Path, size: Size) -> None:
    """Write `root`/route, the files of one more week as `root`/next, and layouts as one table, `root`/slots.csv.

    The table is for the peers, which read no settings.
    """
    rng = np.random.default_rng(size.seed)
    for folder in ("route/layouts", "route/inbox", "next"):
        (root / folder).mkdir(parents=True)
    # One more week than asked for is drawn, and laid aside: the file that arrives when the rest is taken in.
    shape = (size.weeks + 2, size.machines, size.slots)
    units = np.zeros(shape, np.int64)
    cash = np.zeros(shape[:2], np.int64)
    odd = rng.random(size.machines) < size.unmapped
    tail: pl.DataFrame | None = None
    for week in range(size.weeks + 1):
        count = size.rows // size.weeks
        drawn = _draw(rng, size, week, count, odd)
        _add_up(drawn, units, cash, size)
        log = _log(drawn)
        into = root / ("route/inbox" if week < size.weeks else "next")
        (log if tail is None else pl.concat([tail, log])).write_csv(into / f"sales-{week + 1:03d}.csv")
        _payout(drawn, week).write_csv(into / f"payouts-{week + 1:03d}.csv")
        tail = log.tail(int(count * size.overlap))
    level = int(units.max()) + 5
    _settings(root, size, level)
    _visits(root, rng, size, units, cash, level)


def _prices(size: Size) -> np.ndarray:
    """Cents by slot."""
    return 100 + (np.arange(size.slots) * 3 % 8) * 25


def _settings(root: Path, size: Size, capacity: int) -> None:
    top = 'name = "Benchmark"\ncurrency = "CAD"\ntimezone = "America/Halifax"\n\n[cards]\nmonthly = "0.00"\n'
    (root / "route/route.toml").write_text(top, encoding="utf-8")
    products = [f"p{slot:02d},Product {slot},0.{40 + slot % 50:02d}" for slot in range(size.slots)]
    (root / "route/products.csv").write_text("id,name,unit_cost\n" + "\n".join(products) + "\n", encoding="utf-8")
    prices = _prices(size)
    slots = "".join(
        f'\n[[slot]]\nlabel = "{100 + slot}"\nbus = {256 + slot}\nproduct = "p{slot:02d}"\n'
        f'price = "{prices[slot] // 100}.{prices[slot] % 100:02d}"\ncapacity = {capacity}\n'
        for slot in range(size.slots)
    )
    flat = ["machine,zone,label,bus,price"]
    for machine in range(size.machines):
        name, zone = f"m{machine:06d}", _ZONES[machine % len(_ZONES)]
        head = f'machine = "{name}"\ntimezone = "{zone}"\neffective = 2025-01-01T00:00:00\n'
        (root / f"route/layouts/{name}.toml").write_text(head + slots, encoding="utf-8")
        flat += [f"{name},{zone},{100 + slot},{256 + slot},{prices[slot]}" for slot in range(size.slots)]
    (root / "slots.csv").write_text("\n".join(flat) + "\n", encoding="utf-8")


def _draw(rng: np.random.Generator, size: Size, week: int, count: int, odd: np.ndarray) -> pl.DataFrame:
    """The vends of a week in the order of their times, with what a log does not tell: slot, true price."""
    machine, slot = rng.integers(size.machines, size=count), rng.integers(size.slots, size=count)
    second = week * _WEEK + rng.integers(7, size=count) * _DAY + rng.integers(_OPENS, _SHUTS, size=count)
    second.sort()
    stray = odd[machine] & (slot == machine % size.slots)
    is_cash, luck = rng.random(count) < 0.55, rng.random(count)
    return pl.DataFrame(
        {
            "m": machine, "slot": slot, "second": second, "cents": _prices(size)[slot],
            "bus": np.where(stray, 700, 256 + slot), "cash": is_cash,
            "priced": ~is_cash | stray | (rng.random(count) >= size.unpriced),
            "failed": luck < size.failed, "refunded": luck > 1 - size.refunded,
            "nth": week * count + np.arange(count),
        }
    )  # fmt: skip


def _machine() -> pl.Expr:
    return pl.format("m{}", pl.col("m").cast(pl.String).str.zfill(6)).alias("machine")


def _written(cents: pl.Expr) -> pl.Expr:
    digits = cents.cast(pl.String).str.zfill(3)
    return pl.format("{}.{}", digits.str.head(-2), digits.str.tail(2))


def _at(second: pl.Expr) -> pl.Expr:
    moment = pl.lit(START).cast(pl.Datetime("us")) + pl.duration(seconds=second)
    return moment.dt.strftime("%Y-%m-%dT%H:%M:%S").alias("time")


def _log(drawn: pl.DataFrame) -> pl.DataFrame:
    outcome = pl.when("failed").then(pl.lit("failed")).when("refunded").then(pl.lit("refunded"))
    return drawn.select(
        _machine(),
        _at(pl.col("second")),
        "bus",
        pl.when("priced").then(_written(pl.col("cents"))).alias("price"),
        pl.when("cash").then(pl.lit("cash")).otherwise(pl.lit("card")).alias("tender"),
        outcome.otherwise(pl.lit("vended")).alias("outcome"),
        pl.format("R{}", "nth").alias("reference"),
    )


def _visit(machine: np.ndarray, nth: np.ndarray | int) -> np.ndarray:
    """Seconds after START of the nth visit: before the first vend, then each Sunday between 9:00 and 17:00."""
    first = np.zeros_like(machine) + 5 * 3600
    return np.where(np.asarray(nth) == 0, first, (np.asarray(nth) - 1) * _WEEK + 6 * _DAY + (9 + machine % 8) * 3600)


def _add_up(drawn: pl.DataFrame, units: np.ndarray, cash: np.ndarray, size: Size) -> None:
    """Add what left each slot and what came into each box, by the visit that opens its window."""
    machine, slot, second = (drawn[name].to_numpy() for name in ("m", "slot", "second"))
    week = second // _WEEK
    window = week + (second >= _visit(machine, week + 1))
    dropped = ~drawn["failed"].to_numpy()
    at = (window * size.machines + machine) * size.slots + slot
    units += np.bincount(at[dropped], minlength=units.size).reshape(units.shape)
    paid = dropped & drawn["cash"].to_numpy() & ~drawn["refunded"].to_numpy()
    box = (window * size.machines + machine)[paid]
    sums = np.bincount(box, weights=drawn["cents"].to_numpy()[paid], minlength=cash.size)
    cash += sums.astype(np.int64).reshape(cash.shape)


def _payout(drawn: pl.DataFrame, week: int) -> pl.DataFrame:
    paid = drawn.filter(~pl.col("cash") & ~pl.col("failed") & ~pl.col("refunded"))
    gross = int(paid["cents"].sum())
    fees = (gross * 595 + 5000) // 10_000
    first = (START + timedelta(weeks=week)).date()
    row = {"reference": f"P{week + 1}", "paid_on": first + timedelta(days=8), "from": first}
    row |= {"to": first + timedelta(days=6)}
    row |= {name: f"{cents // 100}.{cents % 100:02d}" for name, cents in
            (("gross", gross), ("fees", fees), ("net", gross - fees))}  # fmt: skip
    return pl.DataFrame([row])


def _visits(root: Path, rng: np.random.Generator, size: Size, units: np.ndarray, cash: np.ndarray, level: int) -> None:
    """Count sheets and cash sheets: a visit fills every slot up to the same level again."""
    machine = np.repeat(np.arange(size.machines), size.slots)
    slot = np.tile(np.arange(size.slots), size.machines)
    every = np.arange(size.machines)
    for nth in range(size.weeks + 2):
        into = root / ("route/inbox" if nth <= size.weeks else "next")
        left = np.zeros(machine.size, np.int64) if nth == 0 else level - units[nth - 1].ravel()
        shown = left - (rng.random(machine.size) < size.miscounted)
        counts = pl.DataFrame({"m": machine, "slot": slot, "second": _visit(machine, nth), "shown": shown})
        counts.select(
            _machine(),
            _at(pl.col("second")),
            (100 + pl.col("slot")).alias("label"),
            pl.max_horizontal("shown", 0).alias("counted"),
            (level - pl.max_horizontal("shown", 0)).alias("loaded"),
        ).write_csv(into / f"counts-{nth:03d}.csv")
        box = np.zeros(size.machines, np.int64) if nth == 0 else cash[nth - 1]
        short = 500 * (rng.random(size.machines) < size.miscounted)
        sheet = pl.DataFrame({"m": every, "second": _visit(every, nth), "total": np.maximum(box - short, 0)})
        sheet.select(_machine(), _at(pl.col("second")), _written(pl.col("total")).alias("total")).write_csv(
            into / f"cash-{nth:03d}.csv"
        )
