"""Every kind of finding with its severity, words and advice, and the sentence made of them."""

from recon.findings.catalogue.check_kinds import CHECK_KINDS
from recon.findings.catalogue.kind import Kind
from recon.model.problem import Problem

__all__ = ["CHECK_KINDS", "Kind", "check_kind", "sentence", "words"]


def check_kind(code: str) -> Kind:
    """The kind of a problem with a layout or setting. Raises KeyError for an unknown code."""
    return CHECK_KINDS[code]


def words(problem: Problem) -> str:
    """What is wrong, without place and advice. Raises KeyError where a fact is missing."""
    return CHECK_KINDS[problem.kind].words.format_map(
        {"machine": problem.machine, "label": problem.label, "bus": problem.bus, **problem.facts}
    )


def sentence(problem: Problem) -> str:
    """One line for a person: place, kind, what is wrong, what to do next."""
    return f"{problem.place}  {problem.kind}  {words(problem)} {CHECK_KINDS[problem.kind].advice}"
