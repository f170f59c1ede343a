"""docs/frames.md and docs/findings.md are what docs/build.py makes of the source."""

import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest
from doc_pages import TOP, anchors

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
    monkeypatch.setattr(sys, "argv", ["build.py", "--check"])
    (tmp_path / "frames.md").write_text(build.frames_page(), encoding="utf-8")
    (tmp_path / "findings.md").write_text("old", encoding="utf-8")
    assert build.main() == 1
    told = "docs/findings.md is not as docs/build.py makes it; run python docs/build.py\n"
    assert capsys.readouterr().err == told
    assert (tmp_path / "findings.md").read_text(encoding="utf-8") == "old"


def test_every_kind_and_every_frame_has_its_anchor() -> None:
    assert anchors(TOP / "docs" / "findings.md") >= {*RUN_KINDS, *CHECK_KINDS}
    assert anchors(TOP / "docs" / "frames.md") >= {spec.name for spec in ALL}


def test_the_check_runs_as_a_command() -> None:
    asked = [sys.executable, TOP / "docs" / "build.py", "--check"]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
