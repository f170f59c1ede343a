"""Disks that are full, cannot be written to or fail: the command says so in a sentence, and all is whole afterwards.

    python tests/endurance/disk.py --count 100 --seed 1

Refuses the n-th call of a kind, as the system would; caps the size of files (RLIMIT_FSIZE); and as root on Linux runs
in a small file system in memory that fills up, or that is mounted read-only. Then makes room and runs again.
"""

import argparse
import random
import resource
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[at]) for at in (2, 1)]

from endurance.route_states import (  # noqa: E402 - found by the path above
    STOPPED,
    TOP,
    State,
    command,
    environment,
    faults_after,
    mounts_allowed,
    states,
    verify_in_process,
)


def _run(words: Sequence[str], before: Callable[[], None] | None = None) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        words, capture_output=True, text=True, env=environment(), check=False, preexec_fn=before
    )


def refused(state: State, folder: Path, lot: random.Random) -> tuple[str, "subprocess.CompletedProcess[str]"]:
    """One call is refused, as a full, read-only or failing disk refuses it."""
    state.copy(folder)
    point = lot.choice(sorted(state.calls))
    at, then = lot.randint(1, state.calls[point]), lot.choice(["ENOSPC", "EROFS", "EIO"])
    how = ["--point", point, "--at", str(at), "--then", then]
    return f"{then} at {point} {at}", _run([sys.executable, str(STOPPED), *how, "--", *state.spoken(folder)])


def capped(state: State, folder: Path, lot: random.Random) -> tuple[str, "subprocess.CompletedProcess[str]"]:
    """No file may grow beyond a size: what is refused is a part of a write."""
    state.copy(folder)
    size = lot.choice([0, 512, 5_000, 30_000, 100_000])

    def cap() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return f"files of at most {size} bytes", _run(command(*state.spoken(folder)), cap)


@contextmanager
def mounted(folder: Path, size: int) -> Iterator[None]:
    """A file system of its own at a folder, `size` bytes large."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", folder], check=True)


def remount(folder: Path, how: str) -> None:
    """Change how a file system is mounted: its size, or whether it may be written to."""
    subprocess.run(["mount", "-o", f"remount,{how}", "tmpfs", folder], check=True)


def _on_disk(folder: Path) -> int:
    """Bytes that a folder takes, in pages."""
    return sum(-(-path.stat().st_size // 4096) * 4096 + 4096 for path in folder.rglob("*"))


def in_small_system(state: State, work: Path, lot: random.Random) -> Iterator[str]:
    """Fill a file system, or take its writing away; then mend that, and look at what is left."""
    folder = work / "mounted"
    full = lot.random() < 0.7
    with mounted(folder, 1 << 28):
        root = folder / "route"
        shutil.copytree(state.folder, root)
        room = lot.randrange(0, 600_000)
        how = f"size={_on_disk(root) + room}" if full else "ro"
        remount(folder, how)
        found = _run(command(*state.spoken(root)))
        remount(folder, "size=1g" if full else "rw")
        told = f"{state.name}, {f'{room} bytes left' if full else 'read-only'}"
        yield from (f"{told}: {fault}" for fault in faults(state, root, found, must=not full))


def faults(
    state: State, folder: Path, found: "subprocess.CompletedProcess[str]", *, must: bool = False
) -> Iterator[str]:
    """What is wrong after a command that the disk may have stopped. must: whether it cannot have ended well."""
    said = [line for line in found.stderr.splitlines() if line.startswith("recon: ")]
    if found.returncode not in (0, 1, 2) or "Traceback" in found.stderr or "fault of recon's own" in found.stderr:
        yield f"left with {found.returncode}: {found.stderr[-2000:]}"
    if must and (found.returncode != 2 or not said):
        yield f"left with {found.returncode} and says nothing of the disk: {found.stderr}"
    yield from faults_after(state, folder, verify=verify_in_process)


def trial(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` faults of a disk. Returns a line that sums them up, and every fault of recon with what made it."""
    lot = random.Random(seed)
    wrong: list[str] = []
    met: Counter[str] = Counter()
    ways = [refused, refused, capped]
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        known = states(TOP / "samples" / "bayside", work, lot)
        for number in range(count):
            state = lot.choice(known)
            if mounts_allowed() and lot.random() < 0.3:
                met["in a small file system"] += 1
                wrong += [f"{number + 1}: {fault}" for fault in in_small_system(state, work, lot)]
                continue
            way = lot.choice(ways)
            how, found = way(state, work / "stopped", lot)
            met[f"{way.__name__}, {'told' if 'recon: ' in found.stderr else 'done all the same'}"] += 1
            wrong += [f"{number + 1}: {state.name}, {how}: {fault}" for fault in faults(state, work / "stopped", found)]
    told = ", ".join(f"{number} {name}" for name, number in sorted(met.items()))
    return f"disk: {count} (seed {seed}), {len(wrong)} faults; {told}", wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    told, wrong = trial(asked.count, asked.seed)
    sys.stdout.writelines(f"{line}\n" for line in [told, *wrong])
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
