"""The lines of a file as a Merkle tree, so that some can be shown and proved while the others stay blank.

The leaf of a line is SHA-256(00h, salt, line with its line end); nodes and root are those of RFC 9162. A short line
could be guessed from a bare hash, hence a salt of 16 bytes for each: a piece of SHAKE-256 over a secret that is itself
made of all bytes of the file. Whoever has the whole file can work the salts out; whoever is given some lines and their
salts learns nothing of the others, as long as these cannot be guessed all at once (then the hash of the whole file
confirms the guess). The number of lines is kept beside the root, for it fixes the shape of the tree.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from recon.ledger.merkle import root, split

SALT: Final = 16
"""Bytes of a line's salt."""


def lines_of(data: bytes) -> list[bytes]:
    """The lines of a file, each with its end (CR, LF or both), as an editor numbers them from 1."""
    return data.splitlines(keepends=True)


def _salts(data: bytes, count: int) -> bytes:
    secret = hashlib.sha256(b"recon, salts of lines\x00" + data).digest()
    return hashlib.shake_256(secret).digest(SALT * count)


def _leaves(lines: list[bytes], salts: bytes) -> list[bytes]:
    sha256 = hashlib.sha256
    starts = range(0, len(salts), SALT)
    return [sha256(b"\x00" + salts[at : at + SALT] + line).digest() for at, line in zip(starts, lines, strict=True)]


def line_tree(data: bytes) -> dict[str, Any]:
    """What an entry keeps of a file's lines: `count`, how many there are, and `root`, 64 hex digits."""
    lines = lines_of(data)
    return {"count": len(lines), "root": root(_leaves(lines, _salts(data, len(lines)))).hex()}


@dataclass(frozen=True, slots=True)
class Blanked:
    """A file of which only some lines are shown.

    count: lines of the whole file. shown: number from 1, salt, line. hidden: the hashes of the largest parts of the
    tree that hold no shown line, from left to right.
    """

    count: int
    shown: tuple[tuple[int, bytes, bytes], ...]
    hidden: tuple[bytes, ...]


def blanked(data: bytes, shown: Iterable[int]) -> Blanked:
    """Blank all lines of a file but those with these numbers (from 1). Numbers beyond the file are passed over."""
    lines = lines_of(data)
    salts = _salts(data, len(lines))
    wanted = sorted({number for number in shown if 1 <= number <= len(lines)})
    hidden: list[bytes] = []
    if lines:
        _hide(_leaves(lines, salts), 0, [number - 1 for number in wanted], hidden)
    told = tuple((number, salts[SALT * (number - 1) : SALT * number], lines[number - 1]) for number in wanted)
    return Blanked(len(lines), told, tuple(hidden))


def _hide(leaves: list[bytes], start: int, shown: list[int], hidden: list[bytes]) -> None:
    """Gather the hashes of what holds no shown leaf. start: number of the first of these leaves; shown: those of them
    that are."""
    if not shown:
        hidden.append(root(leaves))
    elif len(leaves) > 1:
        left = split(len(leaves))
        first = [at for at in shown if at < start + left]
        _hide(leaves[:left], start, first, hidden)
        _hide(leaves[left:], start + left, shown[len(first) :], hidden)
