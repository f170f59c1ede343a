"""Several commands at once on one route: each waits for its turn, and all is as if they had come one by one.

    python tests/endurance/writers.py --count 20 --seed 1
"""

import argparse
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[at]) for at in (2, 1)]

from endurance.route_states import (  # noqa: E402 - found by the path above
    TOP,
    State,
    command,
    environment,
    faults_after,
    in_any_order,
    reports,
    states,
    verify_in_process,
)


def at_once(spoken: list[list[str]], pauses: list[float]) -> list[tuple[int, str]]:
    """Start commands, each after its pause, and wait for all. Returns exit code and standard error of each."""
    begun = []
    for words, pause in zip(spoken, pauses, strict=True):
        time.sleep(pause)
        begun.append(
            subprocess.Popen(
                command(*words), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment()
            )
        )
    ended = [process.communicate() for process in begun]
    return [(process.returncode, told) for process, (_, told) in zip(begun, ended, strict=True)]


def faults(state: State, folder: Path, ended: list[tuple[int, str]]) -> Iterator[str]:
    """What is wrong after several commands ended in a copy of the state's folder."""
    for code, told in ended:
        refused = [line for line in told.splitlines() if line.startswith("recon: ")]
        if code not in (0, 1, 2) or refused:
            yield f"one left with {code}: {told[-2000:]}"
    for report in reports(folder):
        old = state.folder / "reports" / report.name
        results = in_any_order((report / "results.json").read_bytes())
        if not old.exists() and results not in map(in_any_order, state.results):
            yield f"{report.name} has other results than a run by itself"
    yield from faults_after(state, folder, verify=verify_in_process)


def trial(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` times two or three commands at once. Returns a line that sums them up, and every fault."""
    lot = random.Random(seed)
    wrong: list[str] = []
    waited = 0
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        known = states(TOP / "samples" / "bayside", work, lot)
        for number in range(count):
            state = lot.choice(known)
            folder = state.copy(work / "at-once")
            run = ["run", folder.as_posix()]
            spoken = [state.spoken(folder), run, *([run] if lot.random() < 0.3 else [])]
            lot.shuffle(spoken)
            ended = at_once(spoken, [lot.choice([0.0, 0.0, lot.uniform(0, 1)]) for _ in spoken])
            waited += sum("waiting for" in told for _, told in ended)
            wrong += [f"{number + 1}: {state.name}: {fault}" for fault in faults(state, folder, ended)]
    return f"writers: {count} (seed {seed}), {len(wrong)} faults; {waited} commands waited for another", wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    told, wrong = trial(asked.count, asked.seed)
    sys.stdout.writelines(f"{line}\n" for line in [told, *wrong])
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
