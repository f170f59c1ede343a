"""What the pages show is what happens: their commands, Python and figures, run in an empty folder."""

import contextlib
import datetime
import io
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from doc_pages import MOMENT, TOP, Block, blocks, commands, matches, pages, records

import recon
from recon.model.money import to_text

MONEY = {"price", "layout_price", "paid_low", "paid_high"}
"""Columns of the frames shown in pages that hold minor units; the pages show them as amounts."""


def worked() -> list[Path]:
    """Pages with something to run. README's commands install things: .ci/run runs them as they stand."""
    asked = {"console", "python", "table"}
    others = (page for page in pages() if page.name != "README.md")
    return [page for page in others if asked & {block.language for block in blocks(page)}]


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, at the moment that the pages speak of, with `recon` on the path."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", MOMENT)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("PATH", f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.delenv("COVERAGE_PROCESS_START", raising=False)
    return tmp_path


@pytest.mark.skipif(sys.platform == "win32", reason="the pages' commands are written for a POSIX shell")
@pytest.mark.parametrize("page", worked(), ids=lambda page: page.name)
def test_the_page_shows_what_happens(page: Path, empty: Path, request: pytest.FixtureRequest) -> None:
    assert shutil.which("recon") is not None, "install recon first: the pages call it by name"
    names: dict[str, Any] = {}
    every = blocks(page)
    for at, block in enumerate(every):
        below = every[at + 1] if at + 1 < len(every) else None
        where = f"{page.name}:{block.line}"
        if block.mark[:1] == ("file",):
            path = empty / block.mark[1]
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(block.text, encoding="utf-8")
        elif block.language == "console":
            run_console(block, where, page if request.config.getoption("--accept-golden") else None)
        elif block.language == "python":
            printed = run_python(block, names, where)
            shown = below.lines if below is not None and below.language == "text" else ()
            assert matches(list(shown), printed.splitlines()), f"{where} prints\n{printed}"
        elif block.language == "table":
            compare_table(block, where)


def run_console(block: Block, where: str, accept: Path | None) -> None:
    for command, shown in commands(block):
        done = subprocess.run(command, shell=True, capture_output=True, encoding="utf-8", check=False)
        told = matches(shown, done.stdout.splitlines())
        if accept is not None and done.returncode == 0 and not told and "..." not in shown:
            rewrite(accept, command, shown, done.stdout)
            continue
        told = f"{where} $ {command} (exit code {done.returncode})\n{done.stdout}{done.stderr}"
        assert done.returncode == 0, told
        assert matches(shown, done.stdout.splitlines()), told


def rewrite(page: Path, command: str, shown: list[str], output: str) -> None:
    """Put what a command prints now in the place of what the page shows (`--accept-golden`); `...` is left to
    people."""
    text = page.read_text(encoding="utf-8")
    old = "\n".join([f"$ {command}", *shown])
    assert text.count(old) == 1, f"{page.name}: the block of `{command}` is not to be told from others"
    page.write_text(text.replace(old, "\n".join([f"$ {command}", *output.rstrip("\n").splitlines()])), encoding="utf-8")


def run_python(block: Block, names: dict[str, Any], where: str) -> str:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        exec(compile(block.text, where, "exec"), names)
    return out.getvalue()


def compare_table(block: Block, where: str) -> None:
    """Every row of the table stands among the records, in all the columns that the table has."""
    sort, folder, section = block.mark
    run = recon.run(folder)
    there = json.loads(run.json())[section] if sort == "results" else run.frames[section].to_dicts()
    assert records(block), f"{where}: the table is empty"
    for record in records(block):
        unknown = set(record) - set(there[0])
        assert not unknown, f"{where}: {section} has no {unknown}"
        told = [{name: plain(name, entry[name]) for name in record} for entry in there]
        assert record in told, f"{where}: {record} is none of\n" + "\n".join(map(str, told))


def plain(name: str, value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, int) and name in MONEY:
        return to_text(value, 2)
    if isinstance(value, datetime.datetime):
        return value.strftime("%Y-%m-%d %H:%MZ")
    return str(value).removesuffix(":00-03:00")


def test_readme_shows_what_its_demo_prints(empty: Path) -> None:
    """The excerpt under the heading of the demo command stands in its output, line for line."""
    page = TOP / "README.md"
    excerpt = next(block for block in blocks(page) if block.language == "text")
    done = subprocess.run(["recon", "demo"], capture_output=True, text=True, encoding="utf-8", check=True)
    assert excerpt.lines[0] == "..."
    assert excerpt.lines[-1] == "..."
    assert matches(list(excerpt.lines), done.stdout.splitlines()), done.stdout


def test_an_output_that_differs_is_told() -> None:
    assert matches(["a", "...", "c"], ["a", "b", "b", "c"])
    assert matches(["...", "b", "..."], ["a", "b", "c"])
    assert not matches(["a"], ["b"])
    assert not matches(["a", "...", "c"], ["a", "b"])
    assert not matches(["...", "x", "..."], ["a", "b", "c"])
    assert not matches(["a", "...", "a"], ["a"])
