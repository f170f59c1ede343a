"""Power cuts: what was not made lasting when a command was killed, or had just ended, is lost.

    python tests/endurance/power.py --count 40 --seed 1      (as root on Linux)

The route lies in an ext4 file system of its own, in an image. Once the command is killed or has ended, the image is
copied as it is: what the system still holds in memory is not in it, as after a power cut. The copy is mounted, so that
the file system mends itself from its journal, and then all has to hold that holds after a kill.

Two ways to mount: as usual, and so that names may reach the disk before the content of their files does
(data=writeback, noauto_da_alloc). What a disk itself forgets, though it said that it had written it, is not tried.
"""

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[at]) for at in (2, 1)]

from endurance.kills import carry_out, drawn, timed  # noqa: E402 - found by the path above
from endurance.route_states import TOP, State, faults_after, mounts_allowed, states  # noqa: E402

SIZE = 96 * 1024**2
# Nothing is written by itself meanwhile: only what a program asks to be made lasting is.
USUAL = "loop,commit=600"
HARSH = "loop,commit=600,data=writeback,noauto_da_alloc"


@contextmanager
def mounted(image: Path, folder: Path, how: str) -> Iterator[Path]:
    """An image mounted at a folder; gives the place of the route in it."""
    folder.mkdir(exist_ok=True)
    subprocess.run(["mount", "-o", how, image, folder], check=True)
    try:
        yield folder / "route"
    finally:
        subprocess.run(["umount", folder], check=True)


def image_of(state: State, image: Path, work: Path) -> None:
    """A file system with the route folder of a state in it, all of it lasting."""
    with image.open("wb") as file:
        file.truncate(SIZE)
    subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True)
    with mounted(image, work / "laid", "loop") as route:
        shutil.copytree(state.folder, route)


def trial(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` power cuts. Returns a line that sums them up, and every fault with the cut that made it."""
    if not mounts_allowed() or shutil.which("mkfs.ext4") is None:
        return f"power: {count} (seed {seed}), not tried: it takes root and ext4", []
    lot = random.Random(seed)
    wrong: list[str] = []
    met: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        known = states(TOP / "samples" / "bayside", work, lot)
        took = timed(known, work)
        for state in known:
            image_of(state, work / f"{state.name}.img", work)
        for number in range(count):
            kill, how = drawn(known, lot, took), lot.choice([USUAL, HARSH])
            shutil.copyfile(work / f"{kill.state.name}.img", work / "now.img")
            with mounted(work / "now.img", work / "now", how) as route:
                killed = carry_out(kill, route)
                shutil.copyfile(work / "now.img", work / "cut.img")
            met["in the middle" if killed else "right after the end"] += 1
            with mounted(work / "cut.img", work / "cut", "loop") as route:
                found = list(faults_after(kill.state, route))
            told = f"cut {number + 1} ({'usual' if how == USUAL else 'harsh'}), {kill}"
            wrong += [f"{told}, {'killed' if killed else 'ended'}: {fault}" for fault in found]
    told = ", ".join(f"{number} {name}" for name, number in sorted(met.items()))
    return f"power: {count} (seed {seed}), {len(wrong)} faults; {told}", wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    told, wrong = trial(asked.count, asked.seed)
    sys.stdout.writelines(f"{line}\n" for line in [told, *wrong])
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
