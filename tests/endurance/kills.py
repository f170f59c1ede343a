"""Commands killed on their way: at the n-th call that leaves something on the disk, and at moments by chance.

    python tests/endurance/kills.py --count 200 --seed 1

After each kill the ledger verifies, every root that a report printed is proved, what the user wrote is as it was, and
the next run gives, byte for byte, the results of a run that nobody disturbed.
"""

import argparse
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[at]) for at in (2, 1)]

from endurance.route_states import (  # noqa: E402 - found by the path above
    STOPPED,
    TOP,
    Again,
    State,
    Verify,
    command,
    environment,
    faults_after,
    run_in_process,
    states,
    verify_by_command,
)


@dataclass(frozen=True)
class Kill:
    """One kill. point, at, then: as stopped.py has them; seconds: where it comes from outside instead."""

    state: State
    point: str | None = None
    at: int = 0
    then: str = "kill"
    seconds: float = 0.0

    def __str__(self) -> str:
        if self.point is None:
            return f"{self.state.name}, killed from outside after {self.seconds:.3f} s"
        return f"{self.state.name}, {self.then} at {self.point} {self.at} of {self.state.calls[self.point]}"


def drawn(known: Sequence[State], lot: random.Random, took: dict[str, float]) -> Kill:
    """A kill by lot: one in four from outside, the others at a call; every point is as likely as any other.

    took: seconds that each state's command takes undisturbed.
    """
    state = lot.choice(known)
    if lot.random() < 0.25:
        # Most of a command's time goes into starting: what may break something comes late.
        return Kill(state, seconds=took[state.name] * lot.uniform(0.4, 1.05))
    point = lot.choice(sorted(state.calls))
    return Kill(state, point, lot.randint(1, state.calls[point]), lot.choice(["kill", "kill-after"]))


def carry_out(kill: Kill, folder: Path) -> bool:
    """Run the command in a folder and kill it. Returns whether it was killed before it ended by itself."""
    words = kill.state.spoken(folder)
    if kill.point is not None:
        how = ["--point", kill.point, "--at", str(kill.at), "--then", kill.then]
        begun = [sys.executable, str(STOPPED), *how, "--", *words]
        return subprocess.run(begun, capture_output=True, env=environment(), check=False).returncode == -9
    with subprocess.Popen(
        command(*words), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment()
    ) as process:
        try:
            process.wait(kill.seconds)
        except subprocess.TimeoutExpired:
            process.kill()
    return process.returncode == -9


def faults(
    kill: Kill, folder: Path, *, verify: Verify = verify_by_command, again: Again = run_in_process
) -> Iterator[str]:
    """What is wrong after a kill was carried out in a folder."""
    for fault in faults_after(kill.state, folder, verify=verify, again=again):
        yield f"{kill}: {fault}"


def timed(known: Sequence[State], work: Path) -> dict[str, float]:
    """Seconds that each state's command takes."""
    took = {}
    for state in known:
        folder = state.copy(work / "timed")
        begun = time.monotonic()
        subprocess.run(command(*state.spoken(folder)), capture_output=True, env=environment(), check=False)
        took[state.name] = time.monotonic() - begun
    return took


def trial(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` kills. Returns a line that sums them up, and every fault with the kill that made it."""
    lot = random.Random(seed)
    wrong: list[str] = []
    met: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        known = states(TOP / "samples" / "bayside", work, lot)
        took = timed(known, work)
        for number in range(count):
            kill = drawn(known, lot, took)
            killed = carry_out(kill, kill.state.copy(work / "killed"))
            met[f"at {kill.point}" if kill.point else "from outside"] += killed
            met["ended before"] += not killed
            wrong += [f"kill {number + 1}: {fault}" for fault in faults(kill, work / "killed")]
    told = ", ".join(f"{number} {name}" for name, number in sorted(met.items()) if number)
    return f"kills: {count} (seed {seed}), {len(wrong)} faults; {told}", wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    told, wrong = trial(asked.count, asked.seed)
    sys.stdout.writelines(f"{line}\n" for line in [told, *wrong])
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
