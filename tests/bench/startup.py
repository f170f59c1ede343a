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
_COMMAND = ("-m", "recon")
_IMPORTS = ("-X", "importtime", *_COMMAND)
_QUERIES = (str(Path(__file__).with_name("queries.py")),)


def user_time(program: tuple[str, ...], words: str, env: dict[str, str]) -> tuple[float, bytes]:
    """Run a command in a fresh copy of samples/clean. Returns the processor's user time, and standard error."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(_CLEAN, Path(folder) / "clean")
        before = os.times().children_user
        command = [sys.executable, *program, *words.split()]
        done = subprocess.run(command, cwd=folder, env=env, capture_output=True, check=False)
        if done.returncode not in (0, 1):
            raise SystemExit(done.stderr.decode())
        return os.times().children_user - before, done.stderr


def main() -> None:
    """Print for each command the median of the user time, the modules that it loads, and its frame queries.

    queries.py says what counts as a query. Installers compile what they install. So that the same is measured from a
    checkout, and where the environment forbids to keep compiled modules, they are kept in a folder of this run; the
    first turn compiles them and does not count.
    """
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tries", type=int, default=3)
    tries = parser.parse_args().tries
    compiled = tempfile.TemporaryDirectory()
    env = os.environ | {"SOURCE_DATE_EPOCH": "1790700000", "PYTHONPYCACHEPREFIX": compiled.name}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.stdout.write("| command | user | modules | frame queries |\n|---|---|---|---|\n")
    for words in ("--help", "check clean", "run clean -q", "run clean -q --dry-run"):
        spent = [user_time(_COMMAND, words, env)[0] for _ in range(tries + 1)][1:]
        modules = user_time(_IMPORTS, words, env)[1].count(b"import time:") - 1
        queries = int(user_time(_QUERIES, words, env)[1].split()[-1])
        sys.stdout.write(f"| `recon {words}` | {statistics.median(spent):.2f} s | {modules} | {queries:,} |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
