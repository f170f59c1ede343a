"""What the pages say of the package as a whole: its version, its commands, its frames."""

import re
import tomllib

from doc_pages import TOP
from typer.main import get_command

import recon
from recon.cli.main import app
from recon.model.frames import ALL


def test_the_version_is_the_same_everywhere_and_has_its_changes() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == recon.__version__
    assert f"\n## {recon.__version__}\n" in (TOP / "docs" / "changelog.md").read_text(encoding="utf-8")


def test_readme_names_the_commands_there_are_and_no_others() -> None:
    text = (TOP / "README.md").read_text(encoding="utf-8")
    named = re.findall(r"^\| `recon (\w+)", text, flags=re.MULTILINE)
    assert sorted(named) == sorted(get_command(app).commands)  # type: ignore[attr-defined]


def test_a_run_holds_the_frames_that_the_page_says() -> None:
    run = recon.run(TOP / "samples" / "clean")
    assert set(run.frames) == {spec.name for spec in ALL} - {"matched"}
    assert all(list(run.frames[spec.name].columns) == spec.names for spec in ALL if spec.name in run.frames)
