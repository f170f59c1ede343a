"""Where the time of one run goes, step by step (docs/benchmarks.md).

    python tests/bench --machines 200 --rows 1000000 --keep LAID
    python tests/bench/parts.py LAID/route LAID/next [--no-page]

Runs that folder as the command does, first with everything new, then with the files of the second folder added, and
prints for each step the seconds of the processor, and the bytes of what was written.
"""

import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import recon.by_machines as machines
import recon.intake.take_in as intake
import recon.ledger.history as history
import recon.reconcile as stages
import recon.recorded as recorded
import recon.report.folder as folder
import recon.report.html as pages
import recon.report.html.machine_part as machine_part
from recon.intake.vend_rows import VendRows

_STEPS: list[tuple[Any, str, str]] = [
    (stages, "read_route", "read the settings"),
    (stages, "layout_problems", "check the settings"),
    (stages, "layouts", "layouts as frames"),
    (stages, "take_in", "take in the inbox"),
    (intake, "_read", "of this, reading cells and rows"),
    (VendRows, "lay_down", "of this, laying vends down"),
    (stages, "_by_parts", "all machines, part by part (where parted)"),
    (VendRows, "of", "of this, vends of a part read again"),
    (intake, "_parted", "repeats parted"),
    (machines, "match_vends", "number to slot"),
    (machines, "price_vends", "prices"),
    (machines, "stock_windows", "stock windows"),
    (machines, "money_of", "cash windows, card days, sums and odd prices"),
    (machines, "_found", "findings of machines"),
    (machines, "_handed_on", "what is to be carried forward, hours of sales"),
    (history.History, "carried", "what was carried forward, read"),
    (stages, "brought_forward", "what of it holds"),
    (stages, "card_money", "payouts"),
    (stages, "_across", "findings across"),
    (recorded, "record_settings", "ledger: settings"),
    (recorded, "record_files", "ledger: files and what was read"),
    (recorded, "_packed", "ledger: what is carried forward, packed"),
    (recorded, "_carried_on", "ledger: what is carried forward, kept"),
    (recorded, "write_report", "write the report, results and pages spelled on the way"),
    (recorded, "results_pieces", "of this, results.json"),
    (machine_part, "selling", "of this, when each slot could sell"),
    (machine_part, "plan", "of this, load lists of all machines"),
    (pages, "report_pages", "of this, drawing the pages"),
]
_SPENT: dict[str, float] = defaultdict(float)


class _InTurn(Executor):
    """Does at once what others do side by side: seconds of the processor are those of the whole process."""

    def __init__(self, most: int) -> None:
        pass

    def submit(self, work: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(work(*given, **named))
        return done


def _timed(work: Callable[..., Any], name: str) -> Callable[..., Any]:
    def timed(*given: Any, **named: Any) -> Any:
        began = time.process_time()
        try:
            return work(*given, **named)
        finally:
            _SPENT[name] += time.process_time() - began

    return timed


def _drawn(work: Callable[..., Iterator[Any]], name: str) -> Callable[..., Iterator[Any]]:
    """Pages are drawn one by one while they are written: only the drawing counts."""

    def timed(*given: Any, **named: Any) -> Iterator[Any]:
        pages = iter(work(*given, **named))
        while True:
            began = time.process_time()
            page = next(pages, None)
            _SPENT[name] += time.process_time() - began
            if page is None:
                return
            yield page

    return timed


def _bytes(folder: Path, pattern: str) -> float:
    return sum(path.stat().st_size for path in folder.rglob(pattern) if path.is_file()) / 1024**2


def main(route: Path, more: Path, *, page: bool) -> None:
    """Run twice, and print."""
    for module in (stages, recorded, machines, intake, folder):
        module.ThreadPoolExecutor = _InTurn  # type: ignore[attr-defined]
    for module, attribute, name in _STEPS:
        wrap = _drawn if attribute in ("report_pages", "results_pieces") else _timed
        setattr(module, attribute, wrap(getattr(module, attribute), name))
    for turn in ("everything new", "one more week"):
        _SPENT.clear()
        began = time.process_time()
        done = recorded.run_and_record(route, now=datetime(2026, 6, 1, tzinfo=UTC), page=page)
        whole = time.process_time() - began
        used = done.run.frames["inputs"]["accepted"].sum()
        sys.stdout.write(f"\n{turn}: {whole:.1f} s of the processor, {used} rows used\n\n")
        sys.stdout.write("| step | seconds | share |\n|---|---|---|\n")
        for _, _, name in _STEPS:
            sys.stdout.write(f"| {name} | {_SPENT[name]:.2f} | {_SPENT[name] / whole:.0%} |\n")
        told = (
            f"\nresults.json {_bytes(done.report, 'results.json'):.1f} MiB, pages {_bytes(done.report, '*.html'):.1f} "
        )
        sys.stdout.write(f"{told}MiB in {len(list(done.report.rglob('*.html')))} files, ")
        sys.stdout.write(f"ledger {_bytes(route / 'ledger', '*'):.1f} MiB\n")
        for path in more.iterdir():
            path.rename(route / "inbox" / path.name)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), page="--no-page" not in sys.argv)
