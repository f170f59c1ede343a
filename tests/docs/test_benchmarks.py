"""The benchmarks still run: each command at its smallest size, and what it prints has the form of docs/benchmarks.md.

No test looks at the time that recon takes.
"""

import importlib.util
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest
from doc_pages import TOP

BENCH = TOP / "tests" / "bench"
SIZE = ("--machines", "2", "--weeks", "2", "--rows", "200", "--slots", "2")


def bench(*words: str) -> str:
    """Run a command of tests/bench. Returns what it prints."""
    done = subprocess.run([sys.executable, *words], cwd=TOP, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def rows(printed: str) -> list[list[str]]:
    """The cells of each row of the tables, without heads and rules."""
    lines = [line for line in printed.splitlines() if line.startswith("|")]
    tables = [line.strip("| ").split(" | ") for line in lines if not line.startswith("|---")]
    return [cells for cells in tables if re.search(r"\d", "".join(cells[1:]))]


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench") / "kept"
    bench(str(BENCH), *SIZE, "--keep", str(folder))
    return folder


def test_the_job_is_run_beside_its_peers() -> None:
    printed = bench(str(BENCH), *SIZE, "--tries", "1")
    page = (TOP / "docs/benchmarks.md").read_text(encoding="utf-8")
    heads = re.findall(r"^\| job .*$", printed, flags=re.MULTILINE)
    assert heads
    assert set(heads) == set(re.findall(r"^\| job .*$", page, flags=re.MULTILINE))
    assert [cells[0] for cells in rows(printed)] == [
        "recon, everything new", "recon, one more week", "everything new, with report pages",
        "one more week, with report pages", "bare scan to Parquet", "the same, as text and then cast",
        "DuckDB, sums alone", "pandas, sums alone",
    ]  # fmt: skip
    assert re.search(r"^Equal in all that reckon, window by window: 8 stock windows", printed, flags=re.MULTILINE)


def test_daily_runs_are_held_against_one_from_nothing() -> None:
    printed = bench(str(BENCH / "daily.py"), "--days", "4", "--tries", "1")
    assert [cells[0] for cells in rows(printed)] == ["1", "2", "4"]
    assert int(rows(printed)[-1][-1]) > 0, "no table was kept"


@pytest.mark.skipif(sys.platform == "win32", reason="there is no timer of processor time")
def test_the_time_of_a_run_is_told_by_module(kept: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(kept, tmp_path / "copy")
    printed = bench(str(BENCH / "parts.py"), str(copy / "route"), str(copy / "next"), "--by", "package")
    assert re.findall(r"^(everything new|one more week): ", printed, flags=re.MULTILINE) == [
        "everything new", "one more week",
    ]  # fmt: skip
    assert {"intake", "ledger", "report"} <= {cells[0] for cells in rows(printed)}
    assert not list((copy / "next").iterdir())


def test_frame_queries_are_counted(kept: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(kept / "route", tmp_path / "route")
    code = "import sys; sys.argv[1:] = ['--version']; import queries; queries.main()"
    without = subprocess.run([sys.executable, "-c", code], cwd=BENCH, capture_output=True, text=True, check=False)
    assert without.stderr.split()[-1] == "0"
    words = [sys.executable, str(BENCH / "queries.py"), "run", str(copy), "-q", "--no-page"]
    done = subprocess.run(words, cwd=TOP, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    assert int(done.stderr.split()[-1]) > 100


@pytest.fixture
def sampled(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """tests/bench/parts.py as a module."""
    spec = importlib.util.spec_from_file_location("parts", BENCH / "parts.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_each_module_is_charged_its_time(sampled: ModuleType, tmp_path: Path) -> None:
    """A module that works twice as long is charged twice as much, and one that only calls others next to nothing."""
    work = "import time\n\n\ndef work(seconds):\n    end = time.process_time() + seconds\n"
    work += "    while time.process_time() < end:\n        pass\n"
    (tmp_path / "inner").mkdir()
    loaded: dict[str, Callable[[float], None]] = {}
    for name in ("one", "inner/two"):
        path = tmp_path / f"{name}.py"
        path.write_text(work)
        names: dict[str, Callable[[float], None]] = {}
        exec(compile(work, str(path), "exec"), names)
        loaded[name] = names["work"]
    path = tmp_path / "outer.py"
    path.write_text("def both(one, two):\n    one(0.2)\n    two(0.4)\n")
    names = {}
    exec(compile(path.read_text(), str(path), "exec"), names)
    sampler = sampled.Sampler(tmp_path, "module")
    began = time.process_time()
    sampler.watch(lambda: names["both"](loaded["one"], loaded["inner/two"]))  # type: ignore[call-arg]
    whole = time.process_time() - began
    assert sampler.itself["one"] == pytest.approx(0.2, abs=0.05)
    assert sampler.itself["inner.two"] == pytest.approx(0.4, abs=0.05)
    assert sampler.itself["outer"] < 0.05
    assert sampler.with_calls["outer"] == pytest.approx(whole, abs=0.05)
