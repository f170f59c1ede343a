"""Build a salted Merkle tree over the lines of a file: some lines can be shown and proved while the others stay blank.

A leaf holds one line with its end, or 16 lines in a long file: SHA-256(00h, salt, lines). A node is SHA-256(01h, its
children), and has up to 16 of them. The tree is built level by level: each 16 neighbours get a node, a neighbour left
alone moves up as it is. A short line could be guessed from a bare hash, hence the salts. They come from SHAKE-256 over
a secret that is made of all bytes of the file: whoever has the whole file can compute them; whoever is given some
leaves and their salts learns nothing of the others, as long as these cannot be guessed all at once (then the hash of
the whole file confirms the guess). A leaf is shown whole or not at all.

The entry keeps four values of a tree: `tree`, the number of these rules (2); `leaf`, lines of a leaf; `count`, lines of
the file, which fixes the shape of the tree; `root`, 64 hex digits. An entry without `tree` was written under the first
rules: one line a leaf, two children a node (the tree of RFC 9162, section 2.1), other salts.
"""

import hashlib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import chain, count, islice
from operator import concat
from pathlib import Path
from struct import Struct
from typing import TYPE_CHECKING, Any, Final, cast

from recon.ledger.merkle import HASH, joined_root, span

if TYPE_CHECKING:
    from hashlib import _Hash

RULES: Final = 2
"""Number of the rules by which trees are built now."""
WIDTH: Final = {1: 2, 2: 16}
"""Children of a node, by the number of the rules."""
SINGLE: Final = 50_000
"""Lines of a file up to which each line is a leaf."""
BLOCK: Final = 16
"""Lines of a leaf in a longer file."""
SALT: Final = 16
"""Bytes of a leaf's salt."""
CHUNK: Final = 1 << 18
"""Bytes of a file that are cut into lines at once."""

_BATCH: Final = 128
"""Leaves whose salts come from one call of SHAKE-256."""
_OPENINGS: Final = Struct(f"{1 + SALT}s" * _BATCH)
_SIXTEEN: Final = re.compile(rb".*+\n" + rb"(?:.*+\n)?+" * (BLOCK - 1))
_concat: Final = cast(Callable[[bytes, bytes], bytes], concat)
_sha256: Final = hashlib.sha256
_digest: Final = type(hashlib.sha256()).digest


def lines_of(data: bytes) -> Iterator[bytes]:
    """Yield the lines of a file, each with its end (CR, LF or both), as an editor numbers them from 1."""
    for blocks in _cut(chunks_of(data), _blocks):
        for block in blocks:
            yield from block.splitlines(keepends=True)


def chunks_of(data: bytes) -> Iterator[bytes]:
    """Yield a file's content in pieces, as `line_tree` takes it."""
    return (data[at : at + CHUNK] for at in range(0, len(data), CHUNK))


def line_tree(chunks: Iterable[bytes], whole: "_Hash") -> dict[str, Any]:
    """Build the tree over a file's lines. Returns what an entry keeps of it.

    chunks: the file's content in pieces. whole: the SHA-256 object that has taken all of it, which is left as it is.
    """
    leaf, parts = _leaf_parts(chunks)
    openings = _openings(whole)
    leaves, last = [], b""
    for part in parts:
        leaves.append(_leaves(islice(openings, len(part)), part))
        last = part[-1] if part else last
    joined = b"".join(leaves)
    lines = leaf * (len(joined) // HASH - 1) + len(last.splitlines()) if joined else 0
    return {"tree": RULES, "leaf": leaf, "count": lines, "root": joined_root(joined, WIDTH[RULES]).hex()}


def line_tree_of_file(path: Path, whole: "_Hash") -> dict[str, Any]:
    """Build the tree over the lines of a file on the disk, which is read in pieces. Raises OSError."""
    with path.open("rb") as file:
        return line_tree(iter(partial(file.read, CHUNK), b""), whole)


def _leaf_parts(chunks: Iterable[bytes]) -> tuple[int, Iterable[list[bytes]]]:
    """Cut a file into leaves. Returns lines of a leaf, and the leaves in lists."""
    rest, first, ends = iter(chunks), [], 0
    for chunk in rest:
        first.append(chunk)
        ends += chunk.count(b"\n") or chunk.count(b"\r")
        if ends > SINGLE:
            break
    else:
        return 1, _cut(first, _singles)
    return BLOCK, _cut(chain(first, rest), _blocks)


def _cut(chunks: Iterable[bytes], leaves: Callable[[bytes], list[bytes]]) -> Iterator[list[bytes]]:
    """Cut a file into leaves, of which the last may have fewer lines; a list for each chunk or few.

    leaves: cuts a text that ends with a line. Short lists stay in the processor's cache until they are hashed.
    """
    kept, size, enough = list[bytes](), 0, 0
    for chunk in chunks:
        kept.append(chunk)
        size += len(chunk)
        if size < enough:
            continue
        text = b"".join(kept)
        # The byte after a CR decides whether a line ends there: a CR at the very end is left for the next chunk.
        end = text.rfind(b"\n") + 1 or text.rfind(b"\r", 0, -1) + 1
        part = leaves(text[:end])
        # The last leaf may lack lines that are still to come. Where none was complete, twice as much is tried.
        kept = [part.pop() + text[end:] if part else text]
        size = len(kept[0])
        enough = 2 * size
        yield part
    yield leaves(b"".join(kept))


def _singles(text: bytes) -> list[bytes]:
    return text.splitlines(keepends=True)


def _blocks(text: bytes) -> list[bytes]:
    if text.endswith(b"\n") and b"\r" not in text:
        return _SIXTEEN.findall(text)
    lines = text.splitlines(keepends=True)
    return [b"".join(lines[at : at + BLOCK]) for at in range(0, len(lines), BLOCK)]


def _openings(whole: "_Hash") -> Iterator[bytes]:
    """Yield what precedes the lines in each leaf: 00h and the salt."""
    # Whoever knows the hash of the file alone can work out hashes of the file with its padding and more behind it;
    # padding begins with 80h, so this is none of them.
    secret = whole.copy()
    secret.update(b"recon, salts of lines\x00")
    return chain.from_iterable(map(partial(_batch, secret.digest()), count()))


def _batch(secret: bytes, number: int) -> tuple[bytes, ...]:
    seeds = bytearray(hashlib.shake_256(secret + number.to_bytes(8, "big")).digest(_OPENINGS.size))
    seeds[:: 1 + SALT] = bytes(_BATCH)
    return _OPENINGS.unpack(seeds)


def _leaves(openings: Iterable[bytes], pieces: Iterable[bytes]) -> bytes:
    """Hash leaves; returns the hashes joined. Calls chained in C cost half of what a comprehension does."""
    return b"".join(map(_digest, map(_sha256, map(_concat, openings, pieces))))


@dataclass(frozen=True, slots=True)
class Leaves:
    """The lines of a file, kept leaf by leaf: a long file takes one object for 16 lines."""

    pieces: list[bytes]
    """Content of each leaf."""
    leaf: int
    """Lines of a leaf."""

    @classmethod
    def of(cls, data: bytes, tree: Mapping[str, Any]) -> "Leaves":
        """Cut a file as its tree is cut. tree: what an entry keeps of it."""
        leaf = tree.get("leaf", 1)
        if leaf == 1:
            return cls(data.splitlines(keepends=True), leaf)
        return cls(list(chain.from_iterable(_cut(chunks_of(data), _blocks))), leaf)

    def __len__(self) -> int:
        return self.leaf * (len(self.pieces) - 1) + len(self.pieces[-1].splitlines()) if self.pieces else 0

    def __getitem__(self, at: int) -> bytes:
        """Return a line by its number, from 0."""
        piece, line = divmod(at, self.leaf)
        return self.pieces[piece].splitlines(keepends=True)[line]


@dataclass(frozen=True, slots=True)
class Blanked:
    """A file of which only some leaves are shown."""

    count: int
    """Lines of the whole file."""
    shown: tuple[tuple[int, bytes, bytes], ...]
    """Of each shown leaf: the number of its first line from 1, its salt, its lines."""
    hidden: tuple[bytes, ...]
    """Hashes of the largest parts of the tree that hold no shown leaf, from left to right."""


def blanked(data: bytes, shown: Iterable[int], tree: Mapping[str, Any]) -> Blanked:
    """Blank all leaves of a file but those that hold a line with one of these numbers (from 1).

    Numbers beyond the file are passed over. tree: what an entry keeps of the file's lines.
    """
    lines = Leaves.of(data, tree)
    pieces, leaf = lines.pieces, lines.leaf
    rules = tree.get("tree", 1)
    openings = _first_openings(data, len(pieces)) if rules == 1 else _openings(hashlib.sha256(data))
    opened = list(islice(openings, len(pieces)))
    wanted = sorted({(number - 1) // leaf for number in shown if 1 <= number <= len(lines)})
    hidden: list[bytes] = []
    if pieces:
        _hide(_leaves(opened, pieces), WIDTH[rules], 0, wanted, hidden)
    told = tuple((leaf * at + 1, opened[at][1:], pieces[at]) for at in wanted)
    return Blanked(len(lines), told, tuple(hidden))


def _first_openings(data: bytes, leaves: int) -> Iterator[bytes]:
    """Yield what precedes the line in each leaf under the first rules."""
    secret = hashlib.sha256(b"recon, salts of lines\x00" + data).digest()
    salts = hashlib.shake_256(secret).digest(SALT * leaves)
    return (b"\x00" + salts[at : at + SALT] for at in range(0, len(salts), SALT))


def _hide(leaves: bytes, width: int, start: int, shown: list[int], hidden: list[bytes]) -> None:
    """Collect the hashes of what holds no shown leaf.

    leaves: hashes of leaves, joined; start: number of the first. shown: numbers of those among them that are shown.
    """
    if not shown:
        hidden.append(joined_root(leaves, width))
    elif len(leaves) > HASH:
        step = span(len(leaves) // HASH, width)
        for at in range(0, len(leaves), step * HASH):
            first = start + at // HASH
            inside = [number for number in shown if first <= number < first + step]
            _hide(leaves[at : at + step * HASH], width, first, inside, hidden)
