"""What small commands take: start-up, a check of 4 layouts, a run of a small route (docs/benchmarks.md).

    python tests/bench/startup.py --tries 3
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

_CLEAN = Path(__file__).resolve().parents[2] / "samples/clean"


def main() -> None:
    """Run each command some times in a fresh copy of samples/clean, and print medians of the processor's user time.

    Installers compile what they install. So that the same is measured from a checkout, and where the environment
    forbids to keep compiled modules, they are kept in a folder of this run; the turn that compiles them does not count.
    """
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tries", type=int, default=3)
    tries = parser.parse_args().tries
    compiled = tempfile.TemporaryDirectory()
    env = os.environ | {"SOURCE_DATE_EPOCH": "1790700000", "PYTHONPYCACHEPREFIX": compiled.name}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.stdout.write("| command | user | modules |\n|---|---|---|\n")
    for words in ("--help", "check clean", "run clean -q", "run clean -q --dry-run"):
        spent, modules = [], 0
        for turn in range(-1, tries + 1):
            with tempfile.TemporaryDirectory() as folder:
                shutil.copytree(_CLEAN, Path(folder) / "clean")
                # The last turn counts what is imported, and its time does not count.
                options = ["-X", "importtime"] if turn == tries else []
                before = os.times().children_user
                done = subprocess.run(
                    [sys.executable, *options, "-m", "recon", *words.split()],
                    cwd=folder, env=env, capture_output=True, check=False,
                )  # fmt: skip
                if done.returncode not in (0, 1):
                    raise SystemExit(done.stderr.decode())
                if 0 <= turn < tries:
                    spent.append(os.times().children_user - before)
                elif turn == tries:
                    modules = done.stderr.count(b"import time:") - 1
        sys.stdout.write(f"| `recon {words}` | {statistics.median(spent):.2f} s | {modules} |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
