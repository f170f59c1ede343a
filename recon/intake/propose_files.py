"""What the name of an export tells: the files a description is to speak for, its own name, the machine."""

import re
from collections.abc import Iterable, Sequence

from recon.intake.header_words import fold
from recon.intake.propose_columns import Machine

_COUNTED = re.compile(r"\d+(?:[-_. T]*\d+)*")


def source_name(file: str, machine: str | None) -> str:
    """A name for the description: the file's without its figures and its machine, `sales` for
    `sales-2026-39.csv`.
    """
    stem = (file.rsplit(".", 1)[0] if "." in file else file).replace(machine or "\0", " ")
    letters = [word for word in fold(stem).split() if not any(mark.isdigit() for mark in word)]
    plain = re.sub(r"[^a-z-]", "", "-".join(letters)).strip("-")
    return plain[:40].strip("-") or "export"


def globs(file: str, machine: str | None) -> list[str]:
    """Patterns for files like this one, the widest first: its figures (and its machine's name) open, then
    their number kept, then the name alone. machine: as the file's name spells it, if it does."""
    held = re.split(f"({re.escape(machine)})", file, maxsplit=1) if machine else [file]
    wide = "".join("*" if part == machine else _COUNTED.sub("*", _literal(part)) for part in held)
    wide = re.sub(r"\*(?:[-_. ]*\*)+", "*", wide)
    exact = "".join("*" if part == machine else re.sub(r"\d", "[0-9]", _literal(part)) for part in held)
    if not re.search(r"[^\W\d_]", wide.rsplit(".", 1)[0]):
        # Nothing but figures in the name: it must not speak for every file there is.
        wide = exact
    return list(dict.fromkeys([wide, exact, _literal(file)]))


def _literal(text: str) -> str:
    """The text as a pattern that fits it alone."""
    return re.sub(r"([*?\[])", r"[\1]", text)


def machine_pattern(file: str, machines: Iterable[Machine]) -> tuple[str, str, str] | None:
    """A pattern whose group is the machine in the name of a file like this, with the machine as it is
    spelled there and its id.

    None where the name holds no machine's id, or holds those of several.
    """
    found: list[tuple[int, int, str]] = []
    for machine in machines:
        words: Sequence[str] = fold(machine.id).split()
        at = re.search(r"(?<![^\W_])" + r"[-_. ]?".join(map(re.escape, words)) + r"(?![^\W_])", file, re.IGNORECASE)
        if at is not None:
            found.append((at.start(), at.end(), machine.id))
    widest = [
        each
        for each in found
        if not any(other[0] <= each[0] and each[1] <= other[1] and other != each for other in found)
    ]
    if len(widest) != 1:
        return None
    start, end, ours = widest[0]
    theirs = file[start:end]
    pattern = f"^{_opened(file[:start])}(.+){_opened(file[end:])}$"
    again = re.search(pattern, file)
    return (pattern, theirs, ours) if again is not None and again[1] == theirs else None


def _opened(text: str) -> str:
    """The text as a regular expression, its figures any of as many."""
    parts = re.split(r"(\d+)", text)
    return "".join(
        rf"\d{{{len(part)}}}" if part.isascii() and part.isdigit() else re.sub(r"([.^$*+?{}\[\]\\|()])", r"\\\1", part)
        for part in parts
    )
