"""The formats of `recon check` for other programs: golden files, the published schemas, escapes and limits.

Sources: SARIF 2.1.0 by its JSON Schema (edition rtm.5) and JUnit by JUnit.xsd of the JUnit-Schema, both in
tests/data/check-formats with where they are from; workflow commands by actions/toolkit, packages/core/src/command.ts,
and their limits by docs/problem-matchers.md of the same.
"""

import difflib
import json
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest
import xmlschema
from check_texts import LAYOUT, Lay
from many_kinds import FILES
from typer.testing import CliRunner, Result

from recon import __version__
from recon.cli.main import app
from recon.findings.catalogue import CHECK_KINDS, check_kind
from recon.findings.layouts import check
from recon.model.problem import Place, Problem
from recon.report.checked import Checked
from recon.report.github import problems_github, step_summary
from recon.report.problems import FORMATS
from recon.report.sarif import FINGERPRINT, problems_sarif, uri

HERE = Path(__file__).resolve().parent
DATA = HERE.parent / "data" / "check-formats"
GOLDEN = {"text": "txt", "json": "json", "sarif": "sarif", "junit": "xml", "github": "github.txt"}

Log = dict[str, Any]


def run(*words: str | Path, **env: str) -> Result:
    return CliRunner().invoke(app, ["check", *(str(word) for word in words)], env=env)


@pytest.fixture
def here(lay: Lay, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The route of many kinds, with the command given inside it."""
    root = lay(FILES)
    monkeypatch.chdir(root)
    for name in ("SOURCE_DATE_EPOCH", "GITHUB_STEP_SUMMARY"):
        monkeypatch.delenv(name, raising=False)
    return root


def sarif_faults(text: str) -> list[str]:
    schema = json.loads((DATA / "sarif-2.1.0-rtm.5.json").read_text(encoding="utf-8"))
    jsonschema.Draft4Validator.check_schema(schema)
    return [error.message for error in jsonschema.Draft4Validator(schema).iter_errors(json.loads(text))]


def junit_faults(text: str) -> list[str]:
    return [str(error.reason) for error in xmlschema.XMLSchema(DATA / "JUnit.xsd").iter_errors(text)]


def results(text: str) -> list[Log]:
    found: list[Log] = json.loads(text)["runs"][0]["results"]
    return found


def test_the_fixture_has_many_kinds(here: Path) -> None:
    kinds = {problem.kind for problem in check(here)}
    assert len(kinds) >= 12
    assert {check_kind(kind).severity for kind in kinds} == {"error", "warning", "note"}


@pytest.mark.parametrize("name", GOLDEN)
def test_the_format_is_the_golden_one(here: Path, name: str, request: pytest.FixtureRequest) -> None:
    result = run("--format", name)
    assert result.exit_code == 1
    text = result.stdout_bytes.decode("utf-8").replace(f'"version": "{__version__}"', '"version": "VERSION"')
    golden = HERE / "golden" / f"many-kinds.{GOLDEN[name]}"
    if request.config.getoption("--accept-golden"):
        golden.parent.mkdir(exist_ok=True)
        golden.write_text(text, encoding="utf-8", newline="\n")
    assert golden.is_file(), f"{golden.name} is missing: pytest tests/check --accept-golden writes it"
    kept = golden.read_bytes().decode("utf-8")
    changes = difflib.unified_diff(kept.splitlines(), text.splitlines(), "golden", "now", n=0, lineterm="")
    assert text == kept, "\n".join(["differs; if it is meant to: pytest tests/check --accept-golden", *changes])


def test_no_golden_file_is_left_over_and_every_format_has_one() -> None:
    assert {path.name for path in (HERE / "golden").iterdir()} == {f"many-kinds.{end}" for end in GOLDEN.values()}
    assert set(GOLDEN) == set(FORMATS)


@pytest.mark.parametrize("name", GOLDEN)
def test_two_runs_give_the_same_bytes(here: Path, name: str) -> None:
    assert run("--format", name).stdout_bytes == run("--format", name).stdout_bytes


@pytest.mark.parametrize("name", GOLDEN)
@pytest.mark.parametrize(
    ("kept", "fail_on", "code"),
    [
        (["layouts/m-3.toml", "layouts/m-4.toml"], "error", 0),
        (["layouts/m-3.toml", "layouts/m-4.toml"], "warning", 1),
        (["layouts/m-3.toml"], "note", 0),
        (["layouts/m-5.toml"], "error", 1),
    ],
)
def test_fail_on_works_with_each_format(lay: Lay, name: str, kept: list[str], fail_on: str, code: int) -> None:
    root = lay({file: FILES[file] for file in kept})
    assert run("--format", name, "--fail-on", fail_on, root).exit_code == code


# SARIF


def test_sarif_keeps_to_the_published_schema(here: Path) -> None:
    assert sarif_faults(run("--format", "sarif").stdout) == []
    assert sarif_faults(problems_sarif(Checked([]))) == []


def test_the_schema_would_refuse_a_log_that_is_wrong(here: Path) -> None:
    log = json.loads(run("--format", "sarif").stdout)
    log["runs"][0]["results"][0]["level"] = "fatal"
    log["runs"][0]["results"][1]["locations"][0]["physicalLocation"]["region"]["startLine"] = 0
    assert len(sarif_faults(json.dumps(log))) == 2


def test_sarif_says_the_same_as_json(here: Path) -> None:
    told = json.loads(run("--format", "json").stdout)["problems"]
    log = json.loads(run("--format", "sarif").stdout)
    rules = [rule["id"] for rule in log["runs"][0]["tool"]["driver"]["rules"]]
    assert rules == list(CHECK_KINDS)
    found = log["runs"][0]["results"]
    assert len(found) == len(told)
    for result, problem in zip(found, told, strict=True):
        region = result["locations"][0]["physicalLocation"]["region"]
        assert result["ruleId"] == rules[result["ruleIndex"]] == problem["kind"]
        assert (result["level"], region["startLine"], region["startColumn"]) == (
            problem["severity"], problem["line"], problem["column"],
        )  # fmt: skip
        assert result["message"]["text"] == f"{problem['message']} {problem['advice']}"


def test_fingerprints_stay_when_lines_move_and_tell_problems_apart(here: Path) -> None:
    before = [result["partialFingerprints"][FINGERPRINT] for result in results(run("--format", "sarif").stdout)]
    assert len(set(before)) == len(before)
    for file in (here / "layouts").iterdir():
        file.write_text("# one more line\n" + file.read_text(encoding="utf-8"), encoding="utf-8")
    moved = results(run("--format", "sarif").stdout)
    assert [result["partialFingerprints"][FINGERPRINT] for result in moved] == before
    lines = [result["locations"][0]["physicalLocation"]["region"]["startLine"] for result in moved]
    assert min(lines) > 1


def test_two_problems_about_the_same_have_two_fingerprints(lay: Lay) -> None:
    slots = 3 * '[[slot]]\nlabel = "1"\nbus = 1\n'
    found = results(run("--format", "sarif", lay({"layouts/a.toml": LAYOUT + slots})).stdout)
    assert [result["ruleId"] for result in found] == ["duplicate-label"] * 2
    assert len({result["partialFingerprints"][FINGERPRINT] for result in found}) == 2


def test_paths_are_uris() -> None:
    assert uri("layouts/m 2, größe#1.toml") == "layouts/m%202%2C%20gr%C3%B6%C3%9Fe%231.toml"
    assert uri("../a:b/c.toml") == "../a%3Ab/c.toml"
    assert uri("/srv/route/a.toml") == "file:///srv/route/a.toml"


def test_a_rule_has_help_of_the_catalogue(here: Path) -> None:
    log = json.loads(run("--format", "sarif").stdout)
    for rule, kind in zip(log["runs"][0]["tool"]["driver"]["rules"], CHECK_KINDS.values(), strict=True):
        assert rule["defaultConfiguration"]["level"] == kind.severity
        assert kind.meaning in rule["help"]["text"]
        assert kind.mend in rule["help"]["text"]
        assert kind.example in rule["help"]["markdown"]
        assert kind.meaning.startswith(rule["shortDescription"]["text"].rstrip("."))


def test_a_problem_without_a_line_has_no_region() -> None:
    problem = Problem("bad-value", Place("layouts/a.toml"), {"key": "the file", "found": "x", "expected": "y"})
    text = problems_sarif(Checked([problem]))
    assert sarif_faults(text) == []
    assert "region" not in results(text)[0]["locations"][0]["physicalLocation"]


# JUnit


def test_junit_keeps_to_its_xsd(here: Path) -> None:
    assert junit_faults(run("--format", "junit").stdout) == []
    assert junit_faults(FORMATS["junit"](Checked([]))) == []


def test_the_xsd_would_refuse_a_document_that_is_wrong(here: Path) -> None:
    text = run("--format", "junit").stdout
    assert junit_faults(re.sub(r' timestamp="[^"]*"', "", text, count=1))
    assert junit_faults(text.replace("<failure type=", "<failure kind=", 1))


@pytest.mark.parametrize("fail_on", ["error", "warning", "note"])
def test_junit_counts_what_fails_the_check(here: Path, fail_on: str) -> None:
    told = json.loads(run("--format", "json").stdout)["problems"]
    levels = ["error", "warning", "note"]
    failing = levels[: levels.index(fail_on) + 1]
    suites = ElementTree.fromstring(run("--format", "junit", "--fail-on", fail_on).stdout_bytes)
    assert {suite.get("name") for suite in suites} == set(FILES)
    for suite in suites:
        mine = [problem for problem in told if problem["file"] == suite.get("name")]
        failures = suite.findall("testcase/failure")
        assert int(suite.get("failures", "")) == len(failures)
        assert len(failures) == sum(problem["severity"] in failing for problem in mine)
        assert int(suite.get("tests", "")) == len(suite.findall("testcase")) == max(1, len(mine))
        passed = (suite.findtext("system-out") or "").splitlines()
        assert len(passed) == len(mine) - len(failures)
        names = [case.get("name") for case in suite.findall("testcase")]
        assert len(set(names)) == len(names)


def test_junit_time_is_fixed_or_told(here: Path) -> None:
    """SOURCE_DATE_EPOCH, reproducible-builds.org: whole seconds since 1970-01-01 UTC. 1790700000 by datetime."""
    assert 'timestamp="1970-01-01T00:00:00" hostname="localhost"' in run("--format", "junit").stdout
    later = run("--format", "junit", SOURCE_DATE_EPOCH="1790700000").stdout
    assert 'timestamp="2026-09-29T16:40:00" hostname="localhost"' in later
    assert 'timestamp="1970-01-01T00:00:00"' in run("--format", "junit", SOURCE_DATE_EPOCH="today").stdout


# Workflow commands


def commands(text: str) -> list[str]:
    return [line for line in text.splitlines() if line.startswith("::")]


def read_command(line: str) -> tuple[str, dict[str, str], str]:
    """A command as its reader takes it: the inverse of the escapes of actions/toolkit."""
    found = re.fullmatch(r"::(\w+) ([^:]*)::(.*)", line)
    assert found is not None, line
    properties = dict(pair.split("=", 1) for pair in found[2].split(","))

    def plain(text: str, escapes: dict[str, str]) -> str:
        return re.sub("|".join(escapes), lambda code: escapes[code[0]], text)

    data = {"%25": "%", "%0D": "\r", "%0A": "\n"}
    both = data | {"%3A": ":", "%2C": ","}
    return found[1], {key: plain(value, both) for key, value in properties.items()}, plain(found[3], data)


def test_commands_say_the_same_as_json_worst_first(here: Path) -> None:
    told = json.loads(run("--format", "json").stdout)["problems"]
    levels = {"error": "error", "warning": "warning", "note": "notice"}
    expected = [
        (
            levels[problem["severity"]],
            {
                "file": problem["file"], "line": str(problem["line"]), "col": str(problem["column"]),
                "title": problem["kind"],
            },
            f"{problem['message']} {problem['advice']}",
        )
        for severity in levels for problem in told if problem["severity"] == severity
    ]  # fmt: skip
    assert [read_command(line) for line in commands(run("--format", "github").stdout)] == expected


def test_escapes_are_those_of_the_toolkit() -> None:
    place = Place("a%,b:c\r\n.toml", 1, 2)
    problem = Problem("bad-value", place, {"key": "50%, x:y", "found": "1", "expected": "2"})
    (line,) = problems_github(Checked([problem])).splitlines()
    assert line == (
        "::error file=a%25%2Cb%3Ac%0D%0A.toml,line=1,col=2,title=bad-value"
        "::50%25, x:y: found 1, expected 2. Correct it there."
    )


def test_a_place_without_a_line_names_none() -> None:
    problem = Problem("bad-value", Place("a.toml"), {"key": "x", "found": "1", "expected": "2"})
    assert problems_github(Checked([problem])).startswith("::error file=a.toml,title=bad-value::x:")


@pytest.mark.parametrize(("count", "more"), [(10, None), (11, "1 more error"), (25, "15 more errors")])
def test_a_step_gets_ten_of_a_level_and_the_number_of_the_rest(count: int, more: str | None) -> None:
    problems = [
        Problem("bad-value", Place("a.toml", line, 1), {"key": "x", "found": "1", "expected": "2"})
        for line in range(1, count + 1)
    ]
    note = Problem(
        "price-varies", Place("a.toml", 1, 1),
        {"product": "gum", "found": "1", "expected": "2", "where": "m-2"}, "m-1", "1",
    )  # fmt: skip
    lines = problems_github(Checked([note, *problems])).splitlines()
    assert len(commands("\n".join(lines))) == 11
    assert lines[10].startswith("::notice ")
    assert lines[11:] == (
        [] if more is None else [f"recon check: {more} without an annotation: a step shows 10 of a level."]
    )


def test_the_summary_of_a_step_is_added_to_what_is_there(here: Path, tmp_path: Path) -> None:
    summary = tmp_path / "summary.md"
    summary.write_text("before\n", encoding="utf-8")
    result = run("--format", "github", GITHUB_STEP_SUMMARY=str(summary))
    assert result.exit_code == 1
    told = json.loads(run("--format", "json").stdout)["problems"]
    lines = summary.read_text(encoding="utf-8").splitlines()
    assert lines[0] == "before"
    assert lines[1].startswith("### recon check: ")
    rows = [line for line in lines if re.match(r"\| (error|warning|note) ", line)]
    assert len(rows) == len(told)
    assert all(len(re.findall(r"(?<!\\)\|", row)) == 5 for row in rows)
    assert not any("<&>" in row for row in rows)


def test_a_summary_that_cannot_be_written_changes_nothing_else(here: Path, tmp_path: Path) -> None:
    result = run("--format", "github", GITHUB_STEP_SUMMARY=str(tmp_path / "none" / "summary.md"))
    assert result.exit_code == 1
    assert "no summary: GITHUB_STEP_SUMMARY names" in result.stderr
    assert commands(result.stdout)


def test_a_long_summary_says_what_it_leaves_out() -> None:
    problem = Problem("bad-value", Place("a.toml", 1, 1), {"key": "x", "found": "1", "expected": "2"})
    text = step_summary(Checked([problem] * 1003))
    assert "… and 3 more" in text
    assert text.count("| error |") == 1000


# Nothing wrong, and odd surroundings


def test_quiet_when_clean(lay: Lay, tmp_path: Path) -> None:
    root = lay({"layouts/m-3.toml": FILES["layouts/m-3.toml"]})
    summary = tmp_path / "summary.md"
    for name in ("text", "github"):
        result = run("--format", name, root, GITHUB_STEP_SUMMARY=str(summary))
        assert (result.exit_code, result.stdout) == (0, "")
    assert not summary.exists()
    assert results(run("--format", "sarif", root).stdout) == []
    suites = ElementTree.fromstring(run("--format", "junit", root).stdout_bytes)
    assert [suite.get("failures") for suite in suites] == ["0", "0"]


@pytest.mark.parametrize("name", ["json", "sarif", "junit", "github"])
def test_what_programs_read_is_utf_8_whatever_the_terminal(
    here: Path, name: str
) -> None:
    runner = CliRunner(charset="latin-1")
    found = runner.invoke(app, ["check", "--format", name]).stdout_bytes.decode("utf-8")
    assert ("größe" in found) or ("gr%C3%B6%C3%9Fe" in found)


@pytest.mark.parametrize("name", GOLDEN)
def test_no_control_character_comes_out(lay: Lay, name: str) -> None:
    root = lay({"layouts/a.toml": LAYOUT + 2 * '[[slot]]\nlabel = "a\\u001b[31m\\u0000\\u202e"\nbus = 1\n'})
    found = run("--format", name, root).stdout
    # JSON holds the label as it is, as data; what is read by people turns no text around.
    assert not re.search("[\x00-\x09\x0b-\x1f]" if name == "json" else "[\x00-\x09\x0b-\x1f\u202e]", found)
    assert "duplicate-label" in found
