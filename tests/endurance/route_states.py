"""Route folders at the moments at which a trial stops a command, and what has to hold afterwards."""

import hashlib
import json
import os
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

TOP: Final = Path(__file__).resolve().parents[2]
STOPPED: Final = TOP / "tests" / "endurance" / "stopped.py"
MOMENT: Final = 1790700000
"""The moment of every run (SOURCE_DATE_EPOCH): 2026-09-29, after all that the samples hold."""
OURS: Final = ("ledger", "reports")
"""What recon alone writes; all else in a route folder is the user's."""


def environment(**more: str) -> dict[str, str]:
    """What commands of a trial see: the moment is fixed, and nothing is drawn."""
    told = {"SOURCE_DATE_EPOCH": str(MOMENT), "NO_COLOR": "1", "PYTHONPATH": str(TOP), "RECON_BORDERS": ""}
    return {**os.environ, **told, **more}


def mounts_allowed() -> bool:
    """Whether this process may mount file systems of its own."""
    if not sys.platform.startswith("linux") or os.geteuid() != 0:
        return False
    return shutil.which("mount") is not None


def command(*words: str | Path) -> list[str]:
    """A command of recon as a process of its own."""
    return [sys.executable, "-m", "recon", *map(str, words)]


def recon(*words: str | Path, **more: str) -> "subprocess.CompletedProcess[str]":
    """Run a command of recon to its end."""
    return subprocess.run(command(*words), capture_output=True, text=True, env=environment(**more), check=False)


def in_any_order(results: bytes) -> bytes:
    """Results without the numbers of entries in the ledger, which tell which of two commands came first."""
    return re.sub(rb'"(entry|decision)": ?[0-9]+', rb'"\1":0', results)


def users_files(root: Path) -> dict[str, str]:
    """The hash of every file of a route folder that is the user's."""
    files = (path for path in root.rglob("*") if path.is_file())
    own = (path for path in files if path.relative_to(root).parts[0] not in OURS)
    return {path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in own}


def reports(root: Path) -> list[Path]:
    """The folders of reports that are shown, in the order of their names."""
    return sorted(path for path in root.glob("reports/*") if not path.name.startswith("."))


def newest_results(root: Path) -> bytes:
    """results.json of the report that was written last."""
    newest = max(reports(root), key=lambda path: (path.stat().st_mtime_ns, path.name))
    return (newest / "results.json").read_bytes()


def printed_roots(root: Path) -> list[tuple[str, int]]:
    """Root and number of entries as every report prints them, but for torn ones."""
    torn = {line.partition(" ")[0].rstrip(":") for line in torn_reports(root)}
    told = [json.loads((each / "ledger.json").read_text()) for each in reports(root) if each.name not in torn]
    return [(each["root"], each["entries"]) for each in told]


@dataclass(frozen=True)
class State:
    """A route folder on the eve of a command. words: the command. results: what `recon run` may give once the command
    was stopped, and run again: one result, or two where the command itself decides something."""

    name: str
    folder: Path
    words: tuple[str, ...]
    code: int
    results: tuple[bytes, ...]
    calls: dict[str, int]

    def copy(self, to: Path) -> Path:
        shutil.rmtree(to, ignore_errors=True)
        shutil.copytree(self.folder, to)
        return to

    def spoken(self, folder: Path) -> list[str]:
        """The words of the command for a folder."""
        return [folder.as_posix() if word == "ROUTE" else word for word in self.words]


def states(sample: Path, work: Path, lot: random.Random) -> list[State]:
    """A first run; one that takes in the last third of the inbox, with pages and without; one that finds nothing new; a
    decision."""
    first = work / "first"
    shutil.copytree(sample, first)
    kept = work / "again"
    shutil.copytree(first, kept)
    _done(recon("run", kept))
    some = work / "week"
    shutil.copytree(first, some)
    late = lot.sample(sorted((some / "inbox").iterdir()), len(list((some / "inbox").iterdir())) // 3)
    aside = work / "aside"
    aside.mkdir()
    for path in late:
        path.rename(aside / path.name)
    _done(recon("run", some))
    for path in aside.iterdir():
        path.rename(some / "inbox" / path.name)
    finding = next(
        found["id"] for found in json.loads(newest_results(kept))["findings"] if found["severity"] == "error"
    )
    decision = ("decide", "ROUTE", finding, "accept", "--by", "Ann", "--why", "seen by two")
    run = ("run", "ROUTE")
    made = [
        ("first run", first, run), ("further week", some, run), ("nothing new", kept, run),
        ("decision", kept, decision),
    ]  # fmt: skip
    return [_state(name, folder, words, work) for name, folder, words in made]


def _state(name: str, folder: Path, words: tuple[str, ...], work: Path) -> State:
    """Run the command undisturbed, for what its calls and results are."""
    count = work / "calls.json"
    plain = State(name, folder, words, 0, (), {})
    undisturbed = plain.copy(work / "undisturbed")
    stopped = [sys.executable, str(STOPPED), "--count", str(count), "--"]
    found = subprocess.run(
        [*stopped, *plain.spoken(undisturbed)], capture_output=True, text=True, env=environment(), check=False
    )
    _done(found)
    results = []
    if words[0] != "run":
        other = plain.copy(work / "other")
        _done(recon("run", other))
        results.append(newest_results(other))
    code = _done(recon("run", undisturbed)).returncode
    results.append(newest_results(undisturbed))
    return State(name, folder, words, code, tuple(results), json.loads(count.read_text()))


def _done(found: "subprocess.CompletedProcess[str]") -> "subprocess.CompletedProcess[str]":
    if found.returncode not in (0, 1, 2) or "recon: " in found.stderr:
        raise RuntimeError(f"{found.args} left with {found.returncode}: {found.stderr}")
    return found


Verify = Callable[[Path, Sequence[tuple[str, int]]], Iterator[str]]
Again = Callable[[Path], str | None]
"""Run the route once more; gives what went wrong."""


def verify_by_command(root: Path, printed: Sequence[tuple[str, int]]) -> Iterator[str]:
    """What `recon verify` finds wrong, by itself and for each printed root."""
    last = [word for root, entries in printed[-1:] for word in ("--root", root, "--entries", str(entries))]
    found = recon("verify", root, *last)
    if found.returncode == 2 and "no ledger yet" in found.stderr and not printed:
        return
    if found.returncode != 0:
        yield f"recon verify {' '.join(last)} left with {found.returncode}: {found.stdout}{found.stderr}"
    yield from verify_in_process(root, printed[:-1])


def verify_in_process(root: Path, printed: Sequence[tuple[str, int]]) -> Iterator[str]:
    """The same by the function behind the command."""
    from recon.ledger.journal import has_ledger
    from recon.ledger.verify import verify_ledger

    if not has_ledger(root) and not printed:
        return
    for hexadecimal, entries in printed or [(None, None)]:
        found = verify_ledger(root, printed=hexadecimal, printed_entries=entries)
        if found.failure is not None:
            yield f"verification fails, printed {hexadecimal} over {entries}: {found.failure}"


def run_by_command(root: Path) -> str | None:
    """Run the route once more, as a process of its own."""
    found = recon("run", root)
    return None if found.returncode in (0, 1, 2) and "recon: " not in found.stderr else found.stderr


def run_in_process(root: Path) -> str | None:
    """The same in this process."""
    from datetime import UTC, datetime

    from recon.recorded import run_and_record

    run_and_record(root, now=datetime.fromtimestamp(MOMENT, UTC))
    return None


def leftovers(root: Path) -> list[str]:
    """What an unfinished write leaves behind, which the next writer ought to have cleared."""
    patterns = ("ledger/unfinished/*", "ledger/holder.json", "ledger/*-journal", "reports/.*")
    return sorted(path.relative_to(root).as_posix() for pattern in patterns for path in root.glob(pattern))


def torn_reports(root: Path) -> Iterator[str]:
    """Reports that are shown and not whole."""
    for report in reports(root):
        try:
            told: dict[str, Any] = json.loads((report / "ledger.json").read_text())
            results = (report / "results.json").read_bytes()
        except (OSError, ValueError) as error:
            yield f"{report.name} is half a report: {error}"
            continue
        if hashlib.sha256(results).hexdigest() != told["results_sha256"]:
            yield f"{report.name}: results.json is not what ledger.json says"


def faults_after(
    state: State, root: Path, *, verify: Verify = verify_by_command, again: Again = run_in_process
) -> Iterator[str]:
    """What is wrong with a route folder in which the state's command was stopped, in words; nothing where all holds.

    Runs the route once more, and holds the results against those of an undisturbed run.
    """
    mine = users_files(state.folder)
    if users_files(root) != mine:
        yield "a file of the user's was changed"
    yield from torn_reports(root)
    printed = printed_roots(root)
    yield from verify(root, printed)
    wrong = again(root)
    if wrong is not None:
        yield f"the next run says {wrong}"
        return
    if in_any_order(newest_results(root)) not in map(in_any_order, state.results):
        yield "the next run gives other results than an undisturbed one"
    if users_files(root) != mine:
        yield "the next run changed a file of the user's"
    yield from verify_in_process(root, [*printed, *printed_roots(root)])
    yield from (f"{path} is left behind" for path in leftovers(root))
