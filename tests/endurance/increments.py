"""Routes that grow by lot, and routes run week after week without pages: every run gives what a run from nothing gives
(tests/ledger/histories.py, tests/ledger/weeks.py).

    python tests/endurance/increments.py --count 30 --seed 1
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[at] / name) for at, name in ((2, ""), (1, "ledger"), (1, ""))]

from histories import faults  # noqa: E402 - found by the path above
from weeks import faults as weekly_faults  # noqa: E402

STEPS, WEEKS = 7, 12
AT_ONCE = (None, 1, 25, 200)
"""How many vends a run holds at once: these routes are small, and so mostly reckoned in parts."""


def trial(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` histories, in every third of which files change or go. Returns a line that sums them up, and every
    difference with its seed."""
    wrong: list[str] = []
    for each in range(seed, seed + count):
        with tempfile.TemporaryDirectory() as folder:
            wrong += faults(each, STEPS, Path(folder), altered=each % 3 == 0, at_once=AT_ONCE[each % 4])
    told = f"increments: {count} histories of {STEPS} runs (seeds {seed} to {seed + count - 1})"
    return f"{told}, {len(wrong)} faults", wrong


def weeks(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` routes of a season each. Returns a line that sums them up, and every difference with its seed."""
    wrong: list[str] = []
    for each in range(seed, seed + count):
        with tempfile.TemporaryDirectory() as folder:
            wrong += weekly_faults(each, WEEKS, Path(folder))
    return f"weeks: {count} routes of {WEEKS} weeks (seeds {seed} to {seed + count - 1}), {len(wrong)} faults", wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    wrong: list[str] = []
    for tried in (trial, weeks):
        told, found = tried(asked.count, asked.seed)
        sys.stdout.writelines(f"{line}\n" for line in [told, *found])
        wrong += found
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
