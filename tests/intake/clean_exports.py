"""Clean exports, to measure how often the look for card numbers trips over what is none.

Each has references of one of the sorts that exports use: running numbers, random numbers of 12 to 19 digits, moments,
hexadecimal, with a letter in front. The whole measure is

    python tests/intake/clean_exports.py --files 6000 --seed 1
"""

import argparse
import random
import sys
from collections.abc import Callable

from recon.intake.cards import find_card_number
from recon.intake.table import read_table


def reference_maker(rng: random.Random) -> Callable[[int], str]:
    """Makes the reference of row n."""
    digits = rng.randrange(12, 20)
    base = rng.randrange(10 ** (digits - 1), 9 * 10 ** (digits - 1))
    sorts: list[Callable[[int], str]] = [
        lambda n: str(base + n),
        lambda n: str(rng.randrange(10 ** (digits - 1), 10**digits)),
        lambda n: f"2026{rng.randrange(1, 13):02}{rng.randrange(1, 29):02}{rng.randrange(24):02}{n % 60:02}{n % 60:02}",
        lambda n: f"{rng.randrange(2**64):016x}",
        lambda n: f"T{base + n}",
        lambda n: f"{base + n}-{n % 10}",
    ]
    return rng.choice(sorts)


def clean_export(seed: int) -> bytes:
    """The export of this seed: 3 to 1,000 vends with references and no card number."""
    rng = random.Random(seed)
    make = reference_maker(rng)
    rows = rng.choice([3, 5, 20, 60, 60, 200, 1000])
    lines = ["machine,time,bus,price,tender,reference"]
    for n in range(rows):
        when = f"2026-08-{1 + n % 28:02} {n % 24:02}:{n % 60:02}:{(7 * n) % 60:02}"
        lines.append(f"quay-{n % 3},{when},{272 + 2 * (n % 9)},1.75,{'card' if n % 2 else 'cash'},{make(n)}")
    return ("\n".join(lines) + "\n").encode()


def trips(first: int, count: int) -> list[int]:
    """The seeds whose clean export is taken to hold a card number."""
    return [
        seed for seed in range(first, first + count) if find_card_number(read_table(clean_export(seed))) is not None
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=6000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    found = trips(asked.seed, asked.files)
    sys.stdout.write(f"{len(found)} of {asked.files} clean exports were taken to hold a card number {found[:10]}\n")


if __name__ == "__main__":
    main()
