"""The endurance trials, long by choice and no part of the test run.

    python tests/endurance --trials kills,power,disk,writers,increments,weeks,mutations,hostile --seed 1 --count 50

prints a line for each trial, below it whatever it found, and leaves with 1 if there was anything.
"""

import argparse
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[at]) for at in (2, 1)]

from endurance import disk, hostile, increments, kills, power, writers  # noqa: E402 - found by the path above
from endurance.route_states import TOP, environment  # noqa: E402

Trial = Callable[[int, int], tuple[str, list[str]]]
"""Count and seed to a line that sums the trial up, and what it found."""


def mutations(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` damaged exports, each taken in by itself (tests/intake/mutations.py)."""
    found = subprocess.run(
        [sys.executable, str(TOP / "tests/intake/mutations.py"), "--files", str(count), "--seed", str(seed)],
        capture_output=True, text=True, env=environment(), check=False,
    )  # fmt: skip
    if found.returncode != 0:
        return f"mutations: {count} (seed {seed}), stopped at the first fault", [found.stderr[-2000:]]
    return f"mutations: {found.stdout.splitlines()[0]}, 0 faults", []


TRIALS: Mapping[str, Trial] = {
    "kills": kills.trial, "power": power.trial, "disk": disk.trial, "writers": writers.trial,
    "increments": increments.trial, "weeks": increments.weeks, "mutations": mutations, "hostile": hostile.trial,
}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", default=",".join(TRIALS), help="some of them, with commas between")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=50)
    asked = parser.parse_args()
    names = asked.trials.split(",")
    unknown = [name for name in names if name not in TRIALS]
    if unknown:
        parser.error(f"{', '.join(unknown)}: the trials are {', '.join(TRIALS)}")
    faulty = False
    for name in names:
        told, wrong = TRIALS[name](asked.count, asked.seed)
        sys.stdout.writelines(f"{line}\n" for line in [told, *(f"  {fault}" for fault in wrong)])
        sys.stdout.flush()
        faulty |= bool(wrong)
    sys.exit(faulty)


if __name__ == "__main__":
    main()
