"""`recon check` as workflow commands of GitHub Actions, which show each problem beside its line, and as a step summary.

Source of form, escapes and keys: actions/toolkit, packages/core/src/command.ts. Source of the limits: the same,
docs/problem-matchers.md: of a step 10 errors, 10 warnings and 10 notices are shown. The worst come first, and a line
says how many are left out. A column may stand only where line and end line are the same; a problem here is one spot
and names no end line.
"""

from collections import Counter
from typing import Final

from recon.findings.catalogue import check_kind, one_line, words
from recon.model.problem import Problem
from recon.model.words import Severity
from recon.report.checked import Checked

AT_MOST: Final = 10
"""Annotations of one level that a step shows."""
SUMMARY_ROWS: Final = 1000
"""Rows of the summary's table: a summary may have 1 MiB."""

_COMMANDS: Final[dict[Severity, str]] = {"error": "error", "warning": "warning", "note": "notice"}


def problems_github(checked: Checked) -> str:
    """One command for each problem, worst first, at most 10 of each level. Nothing where nothing is wrong."""
    shown: Counter[Severity] = Counter()
    lines = []
    for problem in checked.worst_first:
        severity = check_kind(problem.kind).severity
        shown[severity] += 1
        if shown[severity] <= AT_MOST:
            lines.append(_command(problem, severity))
    left = {severity: count - AT_MOST for severity, count in checked.counts.items() if count > AT_MOST}
    if left:
        more = ", ".join(f"{count} more {_many(severity, count)}" for severity, count in left.items())
        lines.append(f"recon check: {more} without an annotation: a step shows {AT_MOST} of a level.")
    return "".join(f"{line}\n" for line in lines)


def _command(problem: Problem, severity: Severity) -> str:
    place = problem.place
    properties = {"file": place.file, "line": place.line, "col": place.column, "title": problem.kind}
    told = ",".join(f"{key}={_property(str(value))}" for key, value in properties.items() if value is not None)
    return f"::{_COMMANDS[severity]} {told}::{_data(f'{words(problem)} {check_kind(problem.kind).advice}')}"


def _data(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _data(text).replace(":", "%3A").replace(",", "%2C")


def step_summary(checked: Checked) -> str:
    """The problems as a table in Markdown, worst first; empty where nothing is wrong."""
    if not checked.problems:
        return ""
    counts = ", ".join(f"{count} {_many(severity, count)}" for severity, count in checked.counts.items() if count)
    rows = [
        f"| {check_kind(problem.kind).severity} | {_cell(str(problem.place))} | {_cell(problem.kind)} | "
        f"{_cell(f'{words(problem)} {check_kind(problem.kind).advice}')} |"
        for problem in checked.worst_first[:SUMMARY_ROWS]
    ]
    left = len(checked.problems) - len(rows)
    more = [f"\n… and {left} more: `recon check` prints them all."] if left else []
    head = [f"### recon check: {counts}\n", "| severity | place | kind | what and what to do |", "|---|---|---|---|"]
    return "".join(f"{line}\n" for line in [*head, *rows, *more])


def _cell(text: str) -> str:
    """Text that Markdown shows as it is: what a file says must not format the page, link or call anyone."""
    return "".join(f"&#{ord(char)};" if char in "|<>&`*_[]\\#@~" else char for char in one_line(text))


def _many(severity: Severity, count: int) -> str:
    return severity if count == 1 else f"{severity}s"
