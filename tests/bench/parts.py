"""Where the time of one run goes, module by module (docs/benchmarks.md).

    python tests/bench --machines 200 --rows 1000000 --keep LAID
    python tests/bench/parts.py LAID/route LAID/next [--no-page] [--by function]

Runs that folder as the command does, first with everything new, then with the files of the second folder added, and
prints the seconds of the processor by the module of recon that was running: by itself, with the time that polars and
other packages worked for it; and with the modules of recon that it called. With --by, by package or by function.

Nothing in recon is named or wrapped. A timer of the operating system fires after each two milliseconds of processor
time of the whole process; the time since the last sample goes to what stands on the stack. A long operation of polars
delays the sample, not the account: all of its time goes to the function that called it. Threads of Python are replaced
by calls in turn, so that there is one stack. Needs a system with such a timer (Linux, macOS).
"""

import argparse
import concurrent.futures
import signal
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

EVERY = 0.002
"""Seconds of the processor from one sample to the next."""
SHOWN = 0.01
"""Share of all from which on a row is printed."""
REST = "(benchmark and start of recon)"


class InTurn(concurrent.futures.Executor):
    """Does the work when it is submitted, in the thread that submits it."""

    def __init__(self, max_workers: int | None = None, **named: Any) -> None:
        pass

    def submit(self, work: Callable[..., Any], /, *given: Any, **named: Any) -> concurrent.futures.Future[Any]:
        done: concurrent.futures.Future[Any] = concurrent.futures.Future()
        done.set_result(work(*given, **named))
        return done


class Sampler:
    """Processor time by what was running in a package.

    folder: of the package. by: what is told apart, `package`, `module` or `function`.
    """

    def __init__(self, folder: Path, by: str) -> None:
        self._folder = f"{folder}/"
        self._by = by
        self._last = 0.0
        self.itself: defaultdict[str, float] = defaultdict(float)
        self.with_calls: defaultdict[str, float] = defaultdict(float)

    def _name(self, frame: FrameType) -> str | None:
        code = frame.f_code
        if not code.co_filename.startswith(self._folder):
            return None
        module = code.co_filename.removeprefix(self._folder).removesuffix(".py").replace("/", ".")
        if self._by == "package":
            return module.partition(".")[0]
        return f"{module}.{code.co_qualname}" if self._by == "function" else module

    def _sample(self, number: int, frame: FrameType | None) -> None:
        spent = time.process_time() - self._last
        names: dict[str, None] = {}
        while frame is not None:
            name = self._name(frame)
            if name is not None:
                names.setdefault(name)
            frame = frame.f_back
        self.itself[next(iter(names), REST)] += spent
        for name in names or (REST,):
            self.with_calls[name] += spent
        # What the sample itself took is left out.
        self._last = time.process_time()

    def watch(self, work: Callable[[], Any]) -> Any:
        """Do the work, and take samples meanwhile."""
        self._last = time.process_time()
        signal.signal(signal.SIGPROF, self._sample)
        signal.siginterrupt(signal.SIGPROF, False)
        signal.setitimer(signal.ITIMER_PROF, EVERY, EVERY)
        try:
            return work()
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)

    def table(self) -> str:
        """Return the account as Markdown, the longest time first."""
        whole = sum(self.itself.values())
        lines = [f"| {self._by} | itself | share | with what it calls |", "|---|---|---|---|"]
        rows = sorted(self.with_calls, key=lambda name: (-self.itself[name], name))
        shown = [name for name in rows if self.itself[name] >= SHOWN * whole]
        for name in shown:
            own = self.itself[name]
            lines.append(f"| {name} | {own:.2f} | {own / whole:.0%} | {self.with_calls[name]:.2f} |")
        rest = whole - sum(self.itself[name] for name in shown)
        lines.append(f"| {len(rows) - len(shown)} others | {rest:.2f} | {rest / whole:.0%} | |")
        return "\n".join(lines)


def _mib(folder: Path, pattern: str) -> float:
    return sum(path.stat().st_size for path in folder.rglob(pattern) if path.is_file()) / 1024**2


def main() -> None:
    """Run twice, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("route", type=Path, help="a route folder, which gets a ledger and reports")
    parser.add_argument("next", type=Path, help="a folder of files that are moved to its inbox for the second run")
    parser.add_argument("--no-page", action="store_true", help="draw no report pages")
    parser.add_argument("--by", choices=("package", "module", "function"), default="module", help="what a row is for")
    asked = parser.parse_args()
    # Before recon is loaded, whose modules take the name over.
    concurrent.futures.ThreadPoolExecutor = InTurn  # type: ignore[assignment,misc]
    import recon
    from recon.recorded import run_and_record

    def run() -> Any:
        return run_and_record(asked.route, now=datetime(2026, 6, 1, tzinfo=UTC), page=not asked.no_page)

    for turn in ("everything new", "one more week"):
        sampler = Sampler(Path(recon.__file__).parent, asked.by)
        began = time.process_time()
        done = sampler.watch(run)
        whole = time.process_time() - began
        used = done.run.frames["inputs"]["accepted"].sum()
        sys.stdout.write(f"\n{turn}: {whole:.1f} s of the processor, {used} rows used\n\n{sampler.table()}\n")
        sizes = f"\nresults.json {_mib(done.report, 'results.json'):.1f} MiB, pages {_mib(done.report, '*.html'):.1f} "
        sys.stdout.write(f"{sizes}MiB in {len(list(done.report.rglob('*.html')))} files, ")
        sys.stdout.write(f"ledger {_mib(asked.route / 'ledger', '*'):.1f} MiB\n")
        for path in asked.next.iterdir():
            path.rename(asked.route / "inbox" / path.name)


if __name__ == "__main__":
    main()
