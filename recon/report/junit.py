"""`recon check` as JUnit XML, for build servers that show tests.

A file is a suite. A problem at or above `--fail-on` is a failed test case; one below it passes and stands in the
suite's output; a file without problems is one test case that passes. The shape is that of JUnit.xsd of the
JUnit-Schema by Windy Road. Host and time are fixed, so that the same route gives the same bytes; SOURCE_DATE_EPOCH
sets the time.
"""

import os
from collections import Counter
from datetime import UTC, datetime
from html import escape

from recon.findings.catalogue import check_kind, one_line, sentence, words
from recon.model.problem import Problem
from recon.report.checked import Checked

HOST = "localhost"
"""What the schema asks for where the host is not told."""


def problems_junit(checked: Checked) -> str:
    """One document with a suite for each file that was read or has a problem, in the order of their names."""
    by_file: dict[str, list[Problem]] = {file: [] for file in checked.files}
    for problem in checked.problems:
        by_file.setdefault(problem.place.file, []).append(problem)
    suites = [
        _suite(number, file, by_file[file], checked, _timestamp()) for number, file in enumerate(sorted(by_file))
    ]
    return '<?xml version="1.0" encoding="UTF-8"?>\n<testsuites>\n' + "".join(suites) + "</testsuites>\n"


def _timestamp() -> str:
    """UTC without a zone, as the schema has it; a SOURCE_DATE_EPOCH that is no number or no date counts as none."""
    text = os.environ.get("SOURCE_DATE_EPOCH", "")
    seconds = int(text) if text.isascii() and text.isdigit() and len(text) < 12 else 0
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}"


def _suite(number: int, file: str, problems: list[Problem], checked: Checked, timestamp: str) -> str:
    name = _text(file)
    met: Counter[str] = Counter()
    cases, passed, failures = [], [], 0
    for problem in problems:
        about = _about(problem)
        met[about] += 1
        title = about if met[about] == 1 else f"{about} ({met[about]})"
        start = f'    <testcase name="{_text(title)}" classname="{name}" time="0"'
        if checked.fails(check_kind(problem.kind).severity):
            failures += 1
            cases.append(f"{start}>\n{_failure(problem)}    </testcase>\n")
        else:
            cases.append(f"{start}/>\n")
            passed.append(f"{_text(sentence(problem))}\n")
    if not problems:
        cases.append(f'    <testcase name="recon check" classname="{name}" time="0"/>\n')
    return (
        f'  <testsuite id="{number}" package="recon.check" name="{name}" timestamp="{timestamp}" hostname="{HOST}" '
        f'tests="{len(cases)}" failures="{failures}" errors="0" time="0">\n    <properties/>\n'
        f"{''.join(cases)}    <system-out>{''.join(passed)}</system-out>\n    <system-err></system-err>\n"
        "  </testsuite>\n"
    )


def _about(problem: Problem) -> str:
    """The kind and what it is about, without the line, so that a case keeps its name when lines are added above it."""
    about = [name for name in (problem.machine, problem.label or problem.facts.get("key")) if name is not None]
    return " ".join([problem.kind, "/".join(about)]).strip()


def _failure(problem: Problem) -> str:
    severity = check_kind(problem.kind).severity
    return (
        f'      <failure type="{severity}" message="{_text(words(problem))}">'
        f"{_text(sentence(problem))}</failure>\n"
    )


def _text(text: str) -> str:
    """Text for XML 1.0: marks escaped, and what no XML may hold (control characters) spelled out."""
    return escape(one_line(text))
