"""Names that a file system or a layout can hold, whatever they are, break no format and steer no reader of it."""

import json
import os
import re
import sys
from pathlib import Path
from urllib.parse import unquote_to_bytes
from xml.etree import ElementTree

import pytest
from check_texts import LAYOUT, SETTINGS
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from recon.cli.main import app
from recon.model.problem import Place, Problem
from recon.report.checked import Checked
from recon.report.github import step_summary
from recon.report.problems import FORMATS

NAMES = st.text(st.characters(codec="utf-8"), min_size=1, max_size=30)


def problem(file: str, label: str) -> Problem:
    facts = {"product": label, "found": "1.75", "expected": "2.00", "where": label}
    return Problem("price-varies", Place(file, 3, 4), facts, "m-1", label, 7)


@settings(deadline=None, max_examples=150)
@given(file=NAMES, label=NAMES)
def test_any_name_can_be_told(file: str, label: str) -> None:
    checked = Checked([problem(file, label)], [file], "note")
    texts = {name: FORMATS[name](checked) for name in FORMATS}
    assert texts["text"].count("\n") == 1
    (told,) = json.loads(texts["json"])["problems"]
    assert (told["file"], told["label"]) == (file, label)
    (result,) = json.loads(texts["sarif"])["runs"][0]["results"]
    uri = result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    # A path loses doubled slashes and steps that lead nowhere.
    assert unquote_to_bytes(uri.removeprefix("file://")).decode() == Path(file).as_posix()
    assert re.fullmatch(r"[A-Za-z0-9._~%/:-]*", uri)
    (suite,) = ElementTree.fromstring(texts["junit"].encode("utf-8"))
    assert suite.get("failures") == "1"
    assert re.fullmatch(r"::notice file=[^\r\n:,]*,line=3,col=4,title=price-varies::[^\r\n]*\n", texts["github"])
    # Head, blank line, two lines of the table's head, one row.
    assert step_summary(checked).count("\n") == 5


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="their file systems take no such name")
@pytest.mark.parametrize("name", FORMATS)
def test_a_name_that_is_no_text(tmp_path: Path, name: str) -> None:
    (tmp_path / "layouts").mkdir()
    (tmp_path / "route.toml").write_text(SETTINGS, encoding="utf-8")
    file = os.fsdecode(b"a\xff\n:,%|<b>.toml")
    (tmp_path / "layouts" / file).write_text(LAYOUT + "prise = 1\n", encoding="utf-8")
    result = CliRunner().invoke(app, ["check", "--format", name, str(tmp_path)])
    assert result.exit_code == 1
    text = result.stdout_bytes.decode("utf-8")
    if name in ("json", "sarif"):
        json.loads(text)
    elif name == "junit":
        ElementTree.fromstring(text.encode("utf-8"))
    else:
        assert len(text.splitlines()) == 1
