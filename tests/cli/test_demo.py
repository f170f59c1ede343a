"""recon demo: the sample is laid whole, never over something else, and run."""

import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest
import typer
from typer.testing import CliRunner

from recon.cli import sample_files
from recon.cli.demo import demo
from recon.model.errors import ReconError

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


def contents(root: Path) -> dict[str, bytes]:
    files = [path for path in root.rglob("*") if path.is_file()]
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in files}


@pytest.mark.parametrize("sample", ["bayside", "clean"])
def test_a_sample_is_laid_byte_for_byte_with_the_page_that_explains_it(
    tmp_path: Path, sample: sample_files.Sample
) -> None:
    sample_files.lay(sample, tmp_path / "deep" / "route")
    readme = {"README.md": (SAMPLES / "README.md").read_bytes()}
    assert contents(tmp_path / "deep" / "route") == contents(SAMPLES / sample) | readme


def test_an_empty_folder_is_used(tmp_path: Path) -> None:
    sample_files.lay("clean", tmp_path)
    assert (tmp_path / "route.toml").is_file()


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(ReconError, match="not empty"):
        sample_files.lay("clean", tmp_path)
    assert contents(tmp_path) == {"mine.txt": b"mine"}


def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ReconError, match="could not be written"):
        sample_files.lay("clean", tmp_path / "file" / "route")


def test_an_installation_without_samples_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sample_files, "files", lambda package: tmp_path / package)
    with pytest.raises(ReconError, match="without the sample routes"):
        sample_files.lay("clean", tmp_path / "route")


def test_a_wheel_carries_its_own_samples(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    carried = tmp_path / "recon" / "_samples"
    (carried / "clean").mkdir(parents=True)
    (carried / "clean" / "route.toml").write_text("carried")
    (carried / "README.md").write_text("about")
    monkeypatch.setattr(sample_files, "files", lambda package: tmp_path / package)
    sample_files.lay("clean", tmp_path / "route")
    assert contents(tmp_path / "route") == {"route.toml": b"carried", "README.md": b"about"}


@pytest.mark.parametrize(("found", "code"), [(0, 0), (1, 0), (2, 0), (3, 3), (4, 4)])
def test_only_a_run_that_did_not_work_fails_the_demo(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, found: int, code: int
) -> None:
    stand_in = ModuleType("recon.cli.run")
    stand_in.reconcile_folder = lambda folder: found  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "recon.cli.run", stand_in)
    app = typer.Typer()
    app.command()(demo)
    done = CliRunner().invoke(app, [str(tmp_path / "route")])
    assert done.exit_code == code
    assert ("README.md" in done.stderr) == (code == 0)


def recon(*words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "recon", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(("options", "code"), [((), 2), (("--clean",), 0)])
def test_the_demo_runs_and_leaves_with_0_whatever_it_found(
    tmp_path: Path, options: tuple[str, ...], code: int
) -> None:
    done = recon("demo", str(tmp_path / "route"), *options)
    assert done.returncode == 0, done.stderr
    assert done.stdout
    assert f"its exit code is {code};" in done.stderr
    assert (tmp_path / "route" / "reports").is_dir()


def test_the_demo_will_not_lay_over_another_folder(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    done = recon("demo", str(tmp_path))
    assert (done.returncode, done.stdout) == (2, "")
    assert "not empty" in done.stderr
    assert "Traceback" not in done.stderr
