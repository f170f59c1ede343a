"""What `recon check` found, as text for people and JSON for scripts. A further format is one more entry."""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from recon.findings.catalogue import check_kind, sentence, words
from recon.model.problem import Problem


def problems_text(problems: Sequence[Problem]) -> str:
    """One line a problem: `file:line:column  kind  sentence`. Nothing where nothing is wrong."""
    return "".join(f"{sentence(problem)}\n" for problem in problems)


def problems_json(problems: Sequence[Problem]) -> str:
    """The format `recon-check/1`: a key without a value is null, never left out."""
    listed = [
        {
            "kind": problem.kind,
            "severity": check_kind(problem.kind).severity,
            "file": problem.place.file,
            "line": problem.place.line,
            "column": problem.place.column,
            "machine": problem.machine,
            "label": problem.label,
            "bus": problem.bus,
            "message": words(problem),
            "advice": check_kind(problem.kind).advice,
        }
        for problem in problems
    ]
    return json.dumps({"format": "recon-check/1", "problems": listed}, indent=2, ensure_ascii=False) + "\n"


FORMATS: Final[Mapping[str, Callable[[Sequence[Problem]], str]]] = {
    "text": problems_text,
    "json": problems_json,
}
"""The name of a format, as `--format` takes it, to what writes it."""
