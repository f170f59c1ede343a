"""Learn many generated machines and print how it went.

    python tests/match/learn_trials.py --machines 1000 --seed 1
    python tests/match/learn_trials.py --machines 100 --seed 1 --exchanged 6
"""

import argparse
import sys
import time
from collections import Counter
from dataclasses import dataclass, field

from learn_machines import evening, generate


@dataclass
class Figures:
    """What became of the machines: right, unsure or wrong; tests made for each that is right; seeds of the others."""

    verdicts: Counter[str] = field(default_factory=Counter)
    tests: list[int] = field(default_factory=list)
    seeds: dict[int, str] = field(default_factory=dict)


def trials(machines: int, seed: int, *, exchanged: int = 0) -> Figures:
    """Generate and learn `machines` machines; the same seed gives the same figures.

    exchanged: slots of each that have each other's numbers, against its rule.
    """
    figures = Figures()
    for number in range(machines):
        one = seed * 1_000_000 + number
        machine = generate(one, exchanged=exchanged)
        learned, made, lied = evening(machine, one)
        right = learned.certain and dict(learned.numbers) == machine.numbers
        verdict = "wrong" if lied else "right" if right else "unsure"
        figures.verdicts[verdict] += 1
        if verdict == "right":
            figures.tests.append(made)
        else:
            figures.seeds[one] = f"{verdict} {machine.rule}"
    return figures


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description="Learn many generated machines and print how it went.")
    parser.add_argument("--machines", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--exchanged", type=int, default=0, help="slots of each machine wired against its rule")
    asked = parser.parse_args()
    started = time.perf_counter()
    figures = trials(asked.machines, asked.seed, exchanged=asked.exchanged)
    tests = sorted(figures.tests)
    out = [f"machines {asked.machines}, seed {asked.seed}"]
    out += [f"{verdict:<7} {figures.verdicts[verdict]}" for verdict in ("right", "unsure", "wrong")]
    if tests:
        at = [tests[len(tests) * share // 100] for share in (50, 90, 99)]
        out.append(f"tests   median {at[0]}, nine in ten within {at[1]}, 99 in 100 within {at[2]}, most {tests[-1]}")
    sys.stdout.write("\n".join(out) + "\n")
    for seed, what in figures.seeds.items():
        sys.stderr.write(f"{seed}: {what}\n")
    sys.stderr.write(f"{time.perf_counter() - started:.0f} s\n")


if __name__ == "__main__":
    main()
