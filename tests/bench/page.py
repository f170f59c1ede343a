"""The tables of docs/benchmarks.md, each between its markers."""

import os
import platform
import re
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

PAGE = Path(__file__).resolve().parents[2] / "docs/benchmarks.md"

_NAMES = {
    "cold": "recon, everything new",
    "warm": "recon, one more week",
    "page": "everything new, with report pages",
    "page warm": "one more week, with report pages",
    "scan": "bare scan to Parquet",
    "text": "the same, as text and then cast",
    "duckdb": "DuckDB, sums alone",
    "pandas": "pandas, sums alone",
}


def machine() -> str:
    """What the figures hang on: processor, system and versions."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        found = re.search(r"model name\s*:\s*(.+)", info.read_text(encoding="utf-8"))
        model = found[1].strip() if found else model
    told = [f"{os.cpu_count()} processors ({model})", f"{platform.system()} {platform.machine()}"]
    told.append(f"Python {platform.python_version()}")
    for name in ("polars", "duckdb", "pandas"):
        try:
            told.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            told.append(f"{name} not there")
    return ", ".join(told)


def table(words: str, mib: float, medians: Mapping[str, tuple[float, float, float]], totals: str) -> str:
    """Markdown: the command, what it measured, and the totals that all jobs agree on.

    Ratios are of the time by the clock, then of that of the processor.
    """
    lines = [f"`python tests/bench {words}`, logs of {mib:.0f} MiB:", ""]
    lines += ["| job | by the clock | of the processor | peak memory | of the scan | of DuckDB |"]
    lines += ["|---|---|---|---|---|---|"]
    for name, (wall, busy, peak) in medians.items():
        beside = [medians[other] for other in ("scan", "duckdb")]
        ratios = " | ".join(f"{wall / other[0]:.2f}x, {busy / other[1]:.2f}x" for other in beside)
        lines.append(f"| {_NAMES[name]} | {wall:.2f} s | {busy:.2f} s | {peak:.0f} MiB | {ratios} |")
    lines.append("")
    for new, week, words in (("cold", "warm", "One more week"), ("page", "page warm", "With report pages it")):
        if new in medians:
            clock, busy = (medians[week][at] / medians[new][at] for at in (0, 1))
            lines.append(f"{words} took {clock:.2f}x by the clock, {busy:.2f}x of the processor, of all as new.")
    lines += [f"Equal in all that reckon, window by window: {totals}."]
    return "\n".join([*lines, "", machine() + ".", ""])


def put(name: str, text: str) -> None:
    """Replace what stands between the markers of that name."""
    page = PAGE.read_text(encoding="utf-8")
    begin, end = f"<!-- bench of {name} -->\n", "<!-- end of bench -->"
    if begin not in page:
        raise SystemExit(f"docs/benchmarks.md has no marker {begin.strip()}: add it, and {end} below it")
    head, _, rest = page.partition(begin)
    _, _, tail = rest.partition(end)
    PAGE.write_text(head + begin + text + end + tail, encoding="utf-8")
