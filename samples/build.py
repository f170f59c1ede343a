"""Build the sample routes and the figures that they must give.

    python samples/build.py            write samples/clean, samples/bayside, samples/README.md and tests/truth
    python samples/build.py --check    change nothing; exit 1 and name each file that is not current
    python samples/build.py --to DIR   write the same tree under DIR instead of this checkout

The bytes are the same on every machine and at every time: the chance in it is seeded, and no clock is read.
"""

import argparse
import sys
from pathlib import Path

sys.dont_write_bytecode = True

from simulate.everything import all_files  # noqa: E402 - after the line that keeps this folder free of byte code

OWN = ("samples/clean", "samples/bayside", "tests/truth")
"""Folders that hold nothing but what is built here: a file too many in them is as wrong as one too few."""


def strangers(root: Path, files: dict[str, bytes]) -> list[str]:
    """Files in our own folders that this build does not make. Hidden files are none of our business."""
    found = [path for folder in OWN for path in (root / folder).rglob("*") if path.is_file()]
    names = [path.relative_to(root).as_posix() for path in found if not path.name.startswith(".")]
    return sorted(set(names) - set(files))


def check(root: Path, files: dict[str, bytes]) -> int:
    """Compare with what is there. 0 where every file is current, else 1."""
    there = {name: (root / name).read_bytes() for name in files if (root / name).is_file()}
    stale = sorted(name for name, data in files.items() if there.get(name) != data)
    for name in stale:
        sys.stderr.write(f"{name}: not as samples/build.py makes it; run python samples/build.py\n")
    for name in strangers(root, files):
        sys.stderr.write(f"{name}: samples/build.py does not make this file; remove it\n")
    return 1 if stale or strangers(root, files) else 0


def write(root: Path, files: dict[str, bytes]) -> int:
    """Write every file, and take away what an earlier build left over."""
    for name in strangers(root, files):
        (root / name).unlink()
    for name, data in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    sys.stdout.write(f"{len(files)} files, {sum(map(len, files.values())) // 1000} kB\n")
    return 0


def main() -> int:
    """Run as told on the command line."""
    parser = argparse.ArgumentParser(description="Build the sample routes.")
    parser.add_argument("--check", action="store_true", help="change nothing, only compare")
    parser.add_argument("--to", type=Path, default=Path(__file__).resolve().parent.parent, metavar="DIR")
    options = parser.parse_args()
    return (check if options.check else write)(options.to, all_files())


if __name__ == "__main__":
    sys.exit(main())
