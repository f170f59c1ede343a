"""Lines of plain text for the load list and the money: cells cut to their width, paragraphs wrapped."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

WIDTH = 79
TIED = "\0"
"""A blank at which no line breaks."""


def shown(text: str | None, most: int) -> str:
    """A name in at most `most` columns, on one line: what cannot be printed becomes `?`, what is cut ends in `…`."""
    plain = "".join(mark if mark.isprintable() else "?" for mark in text or "-")
    return plain if len(plain) <= most else f"{plain[: most - 1]}…"


def said(name: str, text: str) -> Iterator[str]:
    """A paragraph behind its head, its further lines under its first; TIED blanks do not break."""
    lines = wrap(text, WIDTH - 8, break_on_hyphens=False) or [""]
    for at, line in enumerate(lines):
        yield f"{name if at == 0 else '':<8}{line}".rstrip().replace(TIED, " ")


def table(head: Sequence[str], rows: Sequence[Sequence[str]], left: Sequence[int] = (0,)) -> Iterator[str]:
    """Rows under their head, columns as wide as their widest cell, two blanks apart; `left` are flush left."""
    widths = [max(len(row[at]) for row in (head, *rows)) for at in range(len(head))]
    for row in (head, *rows):
        cells = [
            cell.ljust(width) if at in left else cell.rjust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield "  ".join(cells).rstrip().replace(TIED, " ")


def many(count: int, noun: str) -> str:
    """A count with its noun."""
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"


def percent(chance: float) -> str:
    """A chance as whole percent; very small and very large ones by their bound."""
    if chance < 0.005:
        return f"<1{TIED}%"
    return f">99{TIED}%" if chance > 0.995 else f"{chance * 100:.0f}{TIED}%"
