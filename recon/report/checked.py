"""What a check gives to its formats."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from recon.findings.catalogue import check_kind
from recon.model.problem import Problem
from recon.model.words import SEVERITIES, Severity


@dataclass(frozen=True)
class Checked:
    """One run of `recon check`.

    problems: in the order of their places. files: those that were read, as the problems name them. fail_on: from
    which severity on the command leaves with exit code 1. version: recon's own, for formats that name it.
    """

    problems: Sequence[Problem]
    files: Sequence[str] = ()
    fail_on: Severity = "error"
    version: str | None = None

    @cached_property
    def counts(self) -> dict[Severity, int]:
        """How many problems there are of each severity, worst first."""
        counted = Counter(check_kind(problem.kind).severity for problem in self.problems)
        return {severity: counted[severity] for severity in SEVERITIES}

    @property
    def failed(self) -> bool:
        """Whether any problem is at or above fail_on."""
        return any(self.fails(severity) and count for severity, count in self.counts.items())

    def fails(self, severity: Severity) -> bool:
        """Whether a problem of this severity is at or above fail_on."""
        return SEVERITIES.index(severity) <= SEVERITIES.index(self.fail_on)

    @property
    def worst_first(self) -> list[Problem]:
        """The problems by severity, then by place."""
        return sorted(self.problems, key=lambda problem: SEVERITIES.index(check_kind(problem.kind).severity))
