"""`recon check` as SARIF 2.1.0 (OASIS, errata 01), for hosts of code that show findings beside the lines they speak of.

One run with every kind of the catalogue as a rule. Positions count characters, so `columnKind` says
unicodeCodePoints. A fingerprint is made of what a problem is about and never of its line, so that a problem stays
the same when lines are added above it.
"""

import hashlib
import json
import os
from collections import Counter
from collections.abc import Mapping
from pathlib import PurePath
from typing import Any, Final
from urllib.parse import quote

from recon.findings.catalogue import CHECK_KINDS, Kind, one_line, words
from recon.model.problem import Place, Problem
from recon.report.checked import Checked

SCHEMA: Final = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
FINGERPRINT: Final = "reconProblem/v1"
"""The name of the fingerprint; a change in how it is made has to change the number."""

_RULES: Final = {code: at for at, code in enumerate(CHECK_KINDS)}


def problems_sarif(checked: Checked) -> str:
    """One SARIF log as JSON text, also where nothing is wrong: it closes what an earlier log opened."""
    version = {} if checked.version is None else {"version": checked.version}
    driver = {"name": "recon", **version, "rules": [_rule(kind) for kind in CHECK_KINDS.values()]}
    run = {
        "tool": {"driver": driver},
        "columnKind": "unicodeCodePoints",
        "results": _results(checked),
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=2, ensure_ascii=False) + "\n"


def _rule(kind: Kind) -> dict[str, Any]:
    return {
        "id": kind.code,
        "shortDescription": {"text": f"{kind.meaning.partition('. ')[0].rstrip('.')}."},
        "fullDescription": {"text": kind.meaning},
        "help": {
            "text": f"{kind.meaning}\n\nFor example: {kind.example}\n\nHow to mend it: {kind.mend}",
            "markdown": (
                f"{_plain(kind.meaning)}\n\nFor example:\n\n```text\n{kind.example}\n```\n\n"
                f"**How to mend it.** {_plain(kind.mend)}"
            ),
        },
        "defaultConfiguration": {"level": kind.severity},
    }


def _plain(text: str) -> str:
    """Text of the catalogue as Markdown: it marks code itself; what stands in brackets is no link, `<` no tag."""
    return text.replace("[[", "\\[\\[").replace("]]", "\\]\\]").replace("<", "&lt;")


def _results(checked: Checked) -> list[dict[str, Any]]:
    met: Counter[str] = Counter()
    results = []
    for problem in checked.problems:
        about = _about(problem)
        results.append(_result(problem, f"{about} {met[about]}"))
        met[about] += 1
    return results


def _result(problem: Problem, identity: str) -> dict[str, Any]:
    kind = CHECK_KINDS[problem.kind]
    result: dict[str, Any] = {
        "ruleId": problem.kind,
        "ruleIndex": _RULES[problem.kind],
        "level": kind.severity,
        "message": {"text": f"{words(problem)} {kind.advice}"},
        "locations": [_location(problem)],
        "partialFingerprints": {FINGERPRINT: hashlib.sha256(identity.encode("utf-8", "surrogatepass")).hexdigest()},
    }
    return result


def _location(problem: Problem) -> dict[str, Any]:
    physical: dict[str, Any] = {"artifactLocation": {"uri": uri(problem.place.file)}}
    region = _region(problem.place)
    if region:
        physical["region"] = region
    location: dict[str, Any] = {"physicalLocation": physical}
    if problem.machine is not None:
        name = problem.machine if problem.label is None else f"{problem.machine}/{problem.label}"
        location["logicalLocations"] = [{"fullyQualifiedName": one_line(name)}]
    return location


def _region(place: Place) -> dict[str, int]:
    named = (("startLine", place.line), ("startColumn", place.column))
    return {key: value for key, value in named if value is not None}


def _about(problem: Problem) -> str:
    """What a problem is about as canonical JSON: kind, file, and the facts that its kind counts as identity."""
    known: Mapping[str, object] = {
        **problem.facts,
        "machine": problem.machine,
        "label": problem.label,
        "bus": problem.bus,
        "file": problem.place.file,
    }
    about = [problem.kind, problem.place.file, *(known[name] for name in CHECK_KINDS[problem.kind].about)]
    return json.dumps(about, ensure_ascii=False, separators=(",", ":"))


def uri(file: str) -> str:
    """A path as a relative URI with forward slashes (RFC 3986), an absolute one as a file URI."""
    path = PurePath(file)
    quoted = quote(os.fsencode(path.as_posix()))
    if not path.is_absolute():
        return quoted
    return f"file://{quoted}" if quoted.startswith("/") else f"file:///{quoted}"
