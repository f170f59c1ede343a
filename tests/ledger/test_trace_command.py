"""`recon trace` as it is called: golden text and JSON on the sample, exit codes, and what keeps to the schema.

`pytest tests/ledger/test_trace_command.py --accept-golden` writes the golden files anew; look at the difference.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from builders import RouteBuilder
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from recon.cli.main import app
from recon.model.trace_results import TraceResults

TOP = Path(__file__).resolve().parents[2]
GOLDEN = Path(__file__).resolve().parent / "golden_trace"
MOMENT = "1790700000"
TARGETS = {
    "slot": ["climb-1/A1", "--since", "2026-08-17", "--until", "2026-09-07"],
    "machine": ["depot-1"],
    "finding": ["8717b4"],
    "collection": ["climb-1@2026-09-07"],
    "payout": ["ST-20260830"],
}
FORMS = {"text": "txt", "json": "json"}


@pytest.fixture(scope="module")
def bayside(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the sample, so that nobody's run in it is met."""
    folder = tmp_path_factory.mktemp("routes") / "bayside"
    shutil.copytree(TOP / "samples" / "bayside", folder, ignore=shutil.ignore_patterns("reports", "ledger"))
    return folder


def printed(route: Path, *arguments: str, code: int = 0) -> str:
    """What the command prints in this process, at the moment of the golden files."""
    done = CliRunner(env={"SOURCE_DATE_EPOCH": MOMENT}).invoke(app, ["trace", str(route), *arguments])
    assert done.exit_code == code, done.output
    return done.stdout


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", TARGETS)
def test_a_trace_is_the_golden_one(bayside: Path, name: str, form: str, request: pytest.FixtureRequest) -> None:
    text = printed(bayside, *TARGETS[name], "--format", form)
    golden = GOLDEN / f"{name}.{FORMS[form]}"
    if request.config.getoption("--accept-golden"):
        golden.parent.mkdir(exist_ok=True)
        golden.write_text(text, encoding="utf-8", newline="\n")
    assert text == golden.read_text(encoding="utf-8"), "look at the difference, then: pytest --accept-golden"


def test_no_golden_file_is_left_over() -> None:
    assert {path.name for path in GOLDEN.iterdir()} == {f"{name}.{end}" for name in TARGETS for end in FORMS.values()}


def test_every_finding_machine_and_payout_of_the_sample_keeps_to_the_schema(bayside: Path) -> None:
    schema = json.loads((TOP / "schemas" / "trace.schema.json").read_text(encoding="utf-8"))
    judge = Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)
    for target in ["quay-2", "ST-20260823", "quay-5/1", "d0390f", "c1460f", "86d56f", "3b865b", "91d07c", "411dfb"]:
        told = json.loads(printed(bayside, target, "--format", "json"))
        assert [fault.message for fault in judge.iter_errors(told)] == [], target
        TraceResults.model_validate(told)
    assert not judge.is_valid(told | {"more": "2"})
    assert not judge.is_valid({key: value for key, value in told.items() if key != "rows"})


@pytest.mark.parametrize("target", ["quay-2", "ST-20260830", "d0390f", "quay-5"])
def test_text_holds_at_80_columns_and_says_what_it_cut(bayside: Path, target: str) -> None:
    text = printed(bayside, target)
    assert max(len(line) for line in text.splitlines()) <= 79
    whole = printed(bayside, target, "--all")
    rows = text.count(" | "), whole.count(" | ")
    assert rows[0] <= rows[1]
    assert ("not shown" in text) == (rows[0] < rows[1])
    assert "not shown" not in whole
    assert "cut at this width" not in whole


def test_json_is_never_cut(bayside: Path) -> None:
    told = json.loads(printed(bayside, "quay-2", "--format", "json"))
    assert sum(len(window["lines"]) for window in told["stock"]) > 800
    assert all(line["text"] for window in told["stock"] for line in window["lines"] if line["row"] is not None)


def test_every_row_of_the_json_is_the_line_of_its_file(bayside: Path) -> None:
    told = json.loads(printed(bayside, "quay-2/112", "--format", "json"))
    seen = 0
    for window in told["stock"]:
        for line in window["lines"]:
            if line["file"] is not None:
                text = (bayside / line["file"]).read_bytes().decode("utf-8-sig").splitlines()[line["row"] - 1]
                assert line["text"] == text
                seen += 1
    assert seen > 80


@pytest.mark.parametrize(
    ("target", "said"),
    [
        ("quay-2/111", 'Did you mean "110"?'),
        ("quay-9", 'Did you mean "quay-'),
        ("000000000000", "no finding of this run"),
        ("quay-2@2026-09-01", 'Did you mean "2026-08-31"?'),
        ("payout@2026-08-30", 'Did you mean "2026-08-31"?'),
    ],
)
def test_what_is_not_there_is_exit_code_2_with_the_nearest_name(bayside: Path, target: str, said: str) -> None:
    command = [sys.executable, "-m", "recon", "trace", str(bayside), target]
    environment = os.environ | {"SOURCE_DATE_EPOCH": MOMENT, "PYTHONPATH": str(TOP)}
    done = subprocess.run(command, capture_output=True, encoding="utf-8", check=False, env=environment)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("recon: ")
    assert said in done.stderr


@pytest.mark.parametrize("option", ["--since", "--until"])
def test_days_are_read_as_recon_run_reads_them(bayside: Path, option: str) -> None:
    printed(bayside, "quay-2/110", option, "2026-09", code=2)
    printed(bayside, "quay-2/110", option, "yesterday", code=2)


def test_a_trace_writes_nothing(bayside: Path) -> None:
    before = sorted(path for path in bayside.rglob("*"))
    printed(bayside, "quay-2")
    assert sorted(path for path in bayside.rglob("*")) == before


def test_no_file_steers_the_terminal(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8")
    row = "m-1,2026-09-03 12:00,A1,cash,2.00,\x1b[31mred\x1b[0m\u202e\n"
    route.file("inbox/v.csv", f"machine,time,label,tender,price,reference\n{row}")
    text = printed(route.root, "m-1/A1")
    assert "A1,cash,2.00,?[31mred?[0m?" in text
    assert all(mark.isprintable() or mark == "\n" for mark in text)
    told = json.loads(printed(route.root, "m-1/A1", "--format", "json"))
    assert told["stock"][0]["lines"][1]["text"] == row.rstrip("\n")


def test_a_corrected_count_is_traced_with_its_entry_and_what_the_file_says(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 6").vends("09-03 12:00, A1, cash, 2.00")
    runner = CliRunner(env={"SOURCE_DATE_EPOCH": MOMENT})
    found = json.loads(runner.invoke(app, ["run", str(route.root), "--format", "json", "--quiet"]).stdout)["findings"]
    (short,) = [each["id"] for each in found if each["kind"] == "stock-short"]
    words = ["--to", "9", "--by", "Ann", "--why", "counted again", "--quiet"]
    done = runner.invoke(app, ["decide", str(route.root), short, "correct", *words])
    assert done.exit_code == 0, done.output
    told = json.loads(printed(route.root, "m-1/A1", "--format", "json"))["stock"][0]
    assert (told["counted"], told["variance"]) == (9, 0)
    closing = told["lines"][-1]
    assert (closing["figure"], closing["text"]) == (9, "m-1,2026-09-08 09:00,A1,6,,")
    assert closing["why"] == f"counted corrected to 9 by entry {closing['entry']}; the file says 6"
    gone = runner.invoke(app, ["trace", str(route.root), short])
    assert gone.exit_code != 0
    assert f"Entry {closing['entry']} of the ledger decided about it: corrected" in str(gone.exception)
