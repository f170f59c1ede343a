"""The hook definition: what it runs is there, and it asks for just the files that `recon check` reads."""

import re
from pathlib import Path

import pytest
from check_texts import LAYOUT, SETTINGS, Lay
from typer.testing import CliRunner

from recon.cli.main import app
from recon.model.errors import ReconError

TOP = Path(__file__).resolve().parents[2]
HOOK = (TOP / ".pre-commit-hooks.yaml").read_text(encoding="utf-8")


def entry(key: str) -> str:
    found = re.search(rf"^  {key}: (.+)$", HOOK, re.MULTILINE)
    assert found is not None
    return found[1]


@pytest.mark.parametrize(
    "file", ["route.toml", "products.csv", "layouts/m-1.toml", "layouts/m 1.csv", "sources/log.toml", "r/route.toml"]
)
def test_it_asks_for_what_is_read(lay: Lay, file: str) -> None:
    assert re.search(entry("files"), file)
    contents = {"route.toml": SETTINGS, "products.csv": "id\ngum\n", "sources": 'kind = "vends"\nfiles = ["*"]\n'}
    table = "machine,from,label\nm-1,2026-08-03,A1\n"
    text = contents.get(file.split("/")[-1]) or contents.get(file.split("/")[0]) or LAYOUT
    root = lay({file: table if file.startswith("layouts/") and file.endswith(".csv") else text})
    command, *words = entry("entry").split(" ")
    assert command == "recon"
    assert CliRunner().invoke(app, [*words, str(root / file)]).exit_code == 0


@pytest.mark.parametrize(
    "file", ["inbox/sales.csv", "layouts/.m-1.toml", "layouts/m-1.toml~", "layouts/old/m-1.toml", "sources/log.csv"]
)
def test_it_asks_for_nothing_else(lay: Lay, file: str) -> None:
    assert not re.search(entry("files"), file)
    root = lay({file: LAYOUT})
    words = entry("entry").split(" ")[1:]
    assert isinstance(CliRunner().invoke(app, [*words, str(root / file)]).exception, ReconError)


def test_the_page_shows_the_same_files() -> None:
    page = (TOP / "docs" / "ci.md").read_text(encoding="utf-8")
    assert f"files: {entry('files')}\n" in page
    assert f"- id: {re.findall(r'- id: (.+)', HOOK)[0]}\n" in page
