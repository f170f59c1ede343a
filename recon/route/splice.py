"""Edits to a text by place, carried out all at once."""

from collections.abc import Iterable

Edit = tuple[int, int, str]
"""From where, to where (exclusive), and what stands there instead."""


def spliced(text: str, edits: Iterable[Edit]) -> str:
    """The text with the edits made. They may not overlap; of several at one place, the one given first comes first."""
    pieces: list[str] = []
    at = 0
    for start, end, new in sorted(edits, key=lambda edit: edit[0]):
        pieces += [text[at:start], new]
        at = max(at, end)
    return "".join([*pieces, text[at:]])
