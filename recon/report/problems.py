"""What `recon check` found, in the formats that `--format` names. A further format is one more entry."""

import json
from collections.abc import Callable, Mapping
from typing import Final

from recon.findings.catalogue import check_kind, sentence, words
from recon.model.check_results import CheckProblem, CheckResults
from recon.report.checked import Checked


def problems_text(checked: Checked) -> str:
    """One line a problem: `file:line:column  kind  sentence`. Nothing where nothing is wrong."""
    return "".join(f"{sentence(problem)}\n" for problem in checked.problems)


def problems_json(checked: Checked) -> str:
    """The format `recon-check/1`, as model/check_results.py has it: a key without a value is null, never left out."""
    listed = [
        CheckProblem(
            kind=problem.kind,
            severity=check_kind(problem.kind).severity,
            file=problem.place.file,
            line=problem.place.line,
            column=problem.place.column,
            machine=problem.machine,
            label=problem.label,
            bus=problem.bus,
            message=words(problem),
            advice=check_kind(problem.kind).advice,
        )
        for problem in checked.problems
    ]
    told = CheckResults(format="recon-check/1", problems=listed).model_dump()
    return json.dumps(told, indent=2, ensure_ascii=False) + "\n"


# What a format needs is loaded with it, so that the others start as quickly as before.


def _sarif(checked: Checked) -> str:
    from recon.report.sarif import problems_sarif

    return problems_sarif(checked)


def _junit(checked: Checked) -> str:
    from recon.report.junit import problems_junit

    return problems_junit(checked)


def _github(checked: Checked) -> str:
    from recon.report.github import problems_github

    return problems_github(checked)


FORMATS: Final[Mapping[str, Callable[[Checked], str]]] = {
    "text": problems_text,
    "json": problems_json,
    "sarif": _sarif,
    "junit": _junit,
    "github": _github,
}
"""The name of a format, as `--format` takes it, to what writes it. All but `text` are to be written as UTF-8."""
