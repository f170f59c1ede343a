"""docs/frames.md, docs/findings.md and a page for each kind are what docs/build.py makes of the source."""

import importlib.util
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest
from doc_pages import TOP, anchors
from typer.main import get_command

from recon.cli.main import app
from recon.findings.catalogue.check_kinds import CHECK_KINDS
from recon.findings.catalogue.run_kinds import RUN_KINDS
from recon.model.frames import ALL


@pytest.fixture(scope="module")
def build() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_build", TOP / "docs" / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", ["findings.md", "frames.md"])
def test_the_page_is_current(build: ModuleType, page: str) -> None:
    there = (TOP / "docs" / page).read_text(encoding="utf-8")
    assert there == build.PAGES[page](), "run python docs/build.py"


def test_a_stale_page_is_named(
    build: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(build, "DOCS", tmp_path)
    monkeypatch.setattr(sys, "argv", ["build.py"])
    assert build.main() == 0
    (tmp_path / "findings.md").write_text("old", encoding="utf-8")
    (tmp_path / "findings" / "left-over.md").write_text("old", encoding="utf-8")
    monkeypatch.setattr(sys, "argv", ["build.py", "--check"])
    capsys.readouterr()
    assert build.main() == 1
    told = "docs/{} is not as docs/build.py makes it; run python docs/build.py\n"
    assert capsys.readouterr().err == told.format("findings.md") + told.format("findings/left-over.md")
    assert (tmp_path / "findings.md").read_text(encoding="utf-8") == "old"
    monkeypatch.setattr(sys, "argv", ["build.py"])
    assert build.main() == 0
    assert not (tmp_path / "findings" / "left-over.md").exists()


def test_every_kind_has_its_page_that_says_all_of_it(build: ModuleType) -> None:
    for code in {*RUN_KINDS, *CHECK_KINDS}:
        page = (TOP / "docs" / "findings" / f"{code}.md").read_text(encoding="utf-8")
        assert page == build.PAGES[f"findings/{code}.md"](), "run python docs/build.py"
        for kinds in (RUN_KINDS, CHECK_KINDS):
            if code in kinds:
                assert kinds[code].example in page
        parts = (code in RUN_KINDS) + (code in CHECK_KINDS)
        for heading in ("What it means", "What to do", "How to mend it", "How to accept it"):
            assert page.count(f"**{heading}.** ") == parts


def test_pages_promise_only_what_there_is(build: ModuleType) -> None:
    """Commands and options that the pages name are those of the command line."""
    pages = "".join(page() for page in build.PAGES.values())
    commands = get_command(app).commands  # type: ignore[attr-defined]
    for command, option in re.findall(r"`recon (\w+)[^`\n]*?(?: (--[\w-]+))?`", pages):
        assert command in commands
        assert not option or any(option in entry.opts for entry in commands[command].params)


def test_every_kind_and_every_frame_has_its_anchor() -> None:
    assert anchors(TOP / "docs" / "findings.md") >= {*RUN_KINDS, *CHECK_KINDS}
    assert anchors(TOP / "docs" / "frames.md") >= {spec.name for spec in ALL}


def test_the_check_runs_as_a_command() -> None:
    asked = [sys.executable, TOP / "docs" / "build.py", "--check"]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
