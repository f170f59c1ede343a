"""Damaged exports: files of the samples, mutated byte by byte and line by line, each taken in by itself.

Whatever a file holds, intake must end without a traceback, without a hang, and with an account that adds up. The test
run takes a short slice; the whole is

    python tests/intake/mutations.py --files 10000 --seed 1

which prints how many files were taken in, refused and unreadable, and stops at the first that breaks a rule, with the
seed that makes it again.
"""

import argparse
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType

from recon.intake.take_in import Intake, take_in
from recon.route.folder import Route, read_route

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "clean"
NOW = datetime(2026, 9, 29, 16, 40, tzinfo=UTC)
PATIENCE = 5
"""Seconds of the processor that one small file may take; only the long run holds to it."""
STANDSTILL = 60
"""Seconds by the clock after which a file hangs at which the processor does not even work."""

Mutator = Callable[[random.Random, bytes], bytes]
SPICE = [
    b'"', b"'", b"\0", b"\r", b"\n", b"\r\n", b",", b";", b"\t", b"|", b"\xff", b"\xfe", b"\xef\xbb\xbf",
    b"=1+1", b"-", b"\xc3", b"\xa0", b"1e999", b"9" * 40, b"NaN", b"65535", b"-1", b"0x",
    b"2026-02-30 25:61:61", b"\xf0\x9f\xa5\xa4", b"\xe2\x80\xae", b"<b>", b"%", b"\\",
]  # fmt: skip


def flip(rng: random.Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(rng.randrange(1, 12)):
        out[rng.randrange(len(out))] = rng.randrange(256)
    return bytes(out)


def cut(rng: random.Random, data: bytes) -> bytes:
    start = rng.randrange(len(data))
    return data[:start] + data[start + rng.choice([1, 5, 50, 1000]) :]


def end_early(rng: random.Random, data: bytes) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def spice(rng: random.Random, data: bytes) -> bytes:
    out = data
    for _ in range(rng.randrange(1, 6)):
        at = rng.randrange(len(out) + 1)
        out = out[:at] + rng.choice(SPICE) + out[at:]
    return out


def repeat(rng: random.Random, data: bytes) -> bytes:
    start = rng.randrange(len(data))
    return data + data[start : start + rng.choice([1, 10, 100, 3000])] * rng.randrange(1, 4)


def shuffle_lines(rng: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    rng.shuffle(lines)
    return b"\n".join(lines)


def spoil_cells(rng: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    for _ in range(rng.randrange(1, 6)):
        at = rng.randrange(len(lines))
        cells = lines[at].split(b",")
        cells[rng.randrange(len(cells))] = rng.choice(SPICE)
        lines[at] = b",".join(cells)
    return b"\n".join(lines)


def other_marks(rng: random.Random, data: bytes) -> bytes:
    return data.replace(b",", rng.choice([b";", b"\t", b"|", b",,", b" , "])).replace(
        b"\n", rng.choice([b"\n", b"\r\n", b"\r", b"\n\n"])
    )


def other_encoding(rng: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8", errors="replace").replace("a", rng.choice(["a", "ä", "ł", "é", "\u202e"]))
    return text.encode(rng.choice(["utf-16", "utf-16-le", "utf-8-sig", "cp1252", "cp437", "utf-32"]), errors="replace")


MUTATORS: list[Mutator] = [flip, cut, end_early, spice, repeat, shuffle_lines, spoil_cells, other_marks, other_encoding]


def mutated(seed: int, files: list[Path]) -> tuple[str, bytes]:
    """The file of this seed: its name and its bytes. The same seed always makes the same file."""
    rng = random.Random(seed)
    path = rng.choice(files)
    data = path.read_bytes()[: rng.choice([400, 2000, 20_000])]
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        data = rng.choice(MUTATORS)(rng, data) or b" "
    return path.name, data


def sample_files() -> list[Path]:
    return sorted((SAMPLE / "inbox").iterdir())


def route_in(folder: Path) -> Route:
    """A copy of the sample's settings with an empty inbox."""
    folder.mkdir(exist_ok=True)
    for name in ("layouts", "sources"):
        shutil.copytree(SAMPLE / name, folder / name)
    for name in ("route.toml", "products.csv"):
        shutil.copy(SAMPLE / name, folder / name)
    (folder / "inbox").mkdir()
    return read_route(folder)


def take(route: Route, name: str, data: bytes) -> Intake:
    path = route.root / "inbox" / name
    path.write_bytes(data)
    try:
        return take_in(replace(route), now=NOW)
    finally:
        path.unlink()


def faults(intake: Intake) -> Iterator[str]:
    """What is wrong with the account of a file, in words; nothing where it adds up."""
    for row in intake.inputs.iter_rows(named=True):
        if row["rows"] != row["accepted"] + row["duplicate"] + row["rejected"]:
            yield f"{row['rows']} rows are not {row['accepted']} + {row['duplicate']} + {row['rejected']}"
        if min(row["rows"], row["accepted"], row["duplicate"], row["rejected"]) < 0:
            yield f"a count below zero: {row}"
    frames = (intake.vends, intake.counts, intake.loads, intake.cash, intake.payouts, intake.tests)
    if sum(frame.height for frame in frames) != intake.inputs["accepted"].sum():
        yield "the rows in the frames are not those accepted"
    if intake.rejects.height != intake.inputs["rejected"].sum():
        yield "the rows in the rejects are not those rejected"
    if intake.inputs["rows"].sum() == 0 and intake.notices.height == 0:
        yield "a file without rows, and nothing said of it"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    met: Counter[str] = Counter()
    slowest = 0.0

    def too_long(signum: int, frame: FrameType | None) -> None:
        raise TimeoutError(f"over {PATIENCE} s of the processor, or {STANDSTILL} s by the clock")

    signal.signal(signal.SIGALRM, too_long)
    signal.signal(signal.SIGPROF, too_long)
    files = sample_files()
    with tempfile.TemporaryDirectory() as folder:
        route = route_in(Path(folder))
        for seed in range(asked.seed, asked.seed + asked.files):
            name, data = mutated(seed, files)
            begun = time.process_time()
            signal.alarm(STANDSTILL)
            signal.setitimer(signal.ITIMER_PROF, PATIENCE)
            try:
                intake = take(route, name, data)
            except BaseException:
                sys.stderr.write(f"seed {seed}: {name} breaks the intake\n")
                raise
            finally:
                signal.alarm(0)
                signal.setitimer(signal.ITIMER_PROF, 0)
            slowest = max(slowest, time.process_time() - begun)
            wrong = list(faults(intake))
            if wrong:
                sys.exit(f"seed {seed}: {name}: {'; '.join(wrong)}")
            met.update(set(intake.notices["kind"].to_list()) or {"taken in without remark"})
    sys.stdout.write(
        f"{asked.files} files, seeds {asked.seed} to {asked.seed + asked.files - 1}, slowest {slowest:.2f} s of work\n"
    )
    sys.stdout.writelines(f"{count:7d} {kind}\n" for kind, count in met.most_common())


if __name__ == "__main__":
    main()
