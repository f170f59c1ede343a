"""Every kind of finding with its severity, words and advice, and the sentence made of them."""

from recon.findings.catalogue.check_kinds import CHECK_KINDS
from recon.findings.catalogue.kind import Kind
from recon.model.problem import Problem

__all__ = ["CHECK_KINDS", "Kind", "check_kind", "one_line", "sentence", "words"]


def check_kind(code: str) -> Kind:
    """The kind of a problem with a layout or setting. Raises KeyError for an unknown code."""
    return CHECK_KINDS[code]


def words(problem: Problem) -> str:
    """What is wrong, without place and advice. Raises KeyError where a fact is missing."""
    known = {"machine": problem.machine, "label": problem.label, "bus": problem.bus, **problem.facts}
    return one_line(CHECK_KINDS[problem.kind].words.format_map(known))


def sentence(problem: Problem) -> str:
    """One line for a person: place, kind, what is wrong, what to do next."""
    advice = CHECK_KINDS[problem.kind].advice
    return f"{one_line(str(problem.place))}  {problem.kind}  {words(problem)} {advice}"


def one_line(text: str) -> str:
    """The text with line breaks and control characters made visible: a file must not steer the terminal."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)
