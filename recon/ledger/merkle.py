"""Merkle trees over the entries of the journal and the lines of a file.

Source: RFC 9162, section 2.1 (the same tree as RFC 6962, section 2.1): a leaf is SHA-256(00h, data), a node
SHA-256(01h, left, right), and the left side of n leaves holds the largest power of two below n. Hashes are 32 bytes.
"""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

HASH: Final = 32
"""Bytes of a hash."""
EMPTY: Final = hashlib.sha256(b"").digest()
"""Root of a tree without leaves."""


def leaf_hash(data: bytes) -> bytes:
    """Hash of a leaf that holds `data`."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of an inner node above two hashes."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def split(size: int) -> int:
    """How many of `size` leaves (two or more) stand left of the top node: the largest power of two below `size`."""
    return span(size, 2)


def span(size: int, width: int) -> int:
    """Return how many leaves each child of the top node over `size` leaves (two or more) holds, the last perhaps fewer:
    the largest power of `width` below `size`."""
    leaves = 1
    while leaves * width < size:
        leaves *= width
    return leaves


def root(leaves: Sequence[bytes]) -> bytes:
    """Root over leaf hashes, in O(n)."""
    return joined_root(b"".join(leaves), 2)


def joined_root(leaves: bytes, width: int) -> bytes:
    """Return the root of a tree whose nodes have up to `width` children, in O(n): level by level, a node without a
    neighbour moving up as it is. leaves: the hashes of all leaves, joined."""
    if not leaves:
        return EMPTY
    sha256, step = hashlib.sha256, width * HASH
    while len(leaves) > HASH:
        ends = len(leaves) - (HASH if len(leaves) % step == HASH else 0)
        above = [sha256(b"\x01" + leaves[at : at + step]).digest() for at in range(0, ends, step)]
        leaves = b"".join([*above, leaves[ends:]])
    return leaves


def inclusion_path(leaves: Sequence[bytes], index: int) -> list[bytes]:
    """The hashes that lead from one leaf hash to the root, the nearest first (RFC 9162, section 2.1.3.1).

    index counts from 0. Raises IndexError where there is no such leaf.
    """
    if not 0 <= index < len(leaves):
        raise IndexError(f"leaf {index} of {len(leaves)}")
    path = []
    while len(leaves) > 1:
        left = split(len(leaves))
        if index < left:
            path.append(root(leaves[left:]))
            leaves = leaves[:left]
        else:
            path.append(root(leaves[:left]))
            leaves, index = leaves[left:], index - left
    return path[::-1]


def includes(leaf: bytes, index: int, size: int, path: Sequence[bytes], top: bytes) -> bool:
    """Whether the path proves that leaf `index` (from 0) of `size` leaves is `leaf` under the root `top` (RFC 9162,
    section 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    at, last, node = index, size - 1, leaf
    for beside in path:
        if last == 0:
            return False
        if at % 2 or at == last:
            node = node_hash(beside, node)
            while at % 2 == 0 and at:
                at, last = at >> 1, last >> 1
        else:
            node = node_hash(node, beside)
        at, last = at >> 1, last >> 1
    return last == 0 and node == top


def consistency_path(leaves: Sequence[bytes], earlier: int) -> list[bytes]:
    """The hashes that prove that the tree over the first `earlier` leaves is part of the tree over all of them (RFC
    9162, section 2.1.4.1). Raises IndexError where `earlier` is not between 1 and the number of leaves."""
    if not 1 <= earlier <= len(leaves):
        raise IndexError(f"the first {earlier} of {len(leaves)} leaves")
    path: list[bytes] = []
    whole = True
    while earlier != len(leaves):
        left = split(len(leaves))
        if earlier <= left:
            path.append(root(leaves[left:]))
            leaves = leaves[:left]
        else:
            path.append(root(leaves[:left]))
            leaves, earlier, whole = leaves[left:], earlier - left, False
    if not whole:
        path.append(root(leaves))
    return path[::-1]


def consistent(earlier: int, earlier_top: bytes, size: int, top: bytes, path: Sequence[bytes]) -> bool:
    """Whether the path proves that `earlier` leaves under `earlier_top` are the first of `size` leaves under `top`
    (RFC 9162, section 2.1.4.2)."""
    if not 1 <= earlier <= size:
        return False
    if earlier == size:
        return not path and earlier_top == top
    steps = list(path)
    if earlier & (earlier - 1) == 0:
        steps.insert(0, earlier_top)
    if not steps:
        return False
    at, last = earlier - 1, size - 1
    while at % 2:
        at, last = at >> 1, last >> 1
    old = new = steps[0]
    for beside in steps[1:]:
        if last == 0:
            return False
        if at % 2 or at == last:
            old, new = node_hash(beside, old), node_hash(beside, new)
            while at % 2 == 0 and at:
                at, last = at >> 1, last >> 1
        else:
            new = node_hash(new, beside)
        at, last = at >> 1, last >> 1
    return last == 0 and old == earlier_top and new == top


@dataclass(slots=True)
class Frontier:
    """The tree as far as it must be known to go on: the roots of its whole subtrees, the largest first.

    size: leaves so far; it has as many bits set as there are peaks. Appending and the root cost O(log n).
    """

    size: int = 0
    peaks: list[bytes] = field(default_factory=list)

    @classmethod
    def over(cls, leaves: Iterable[bytes]) -> "Frontier":
        """The frontier after these leaf hashes."""
        frontier = cls()
        for leaf in leaves:
            frontier.append(leaf)
        return frontier

    def append(self, leaf: bytes) -> None:
        """Add a leaf hash at the end."""
        node, size = leaf, self.size
        while size % 2:
            node = node_hash(self.peaks.pop(), node)
            size >>= 1
        self.peaks.append(node)
        self.size += 1

    @property
    def root(self) -> bytes:
        """Root over all leaves so far."""
        if not self.peaks:
            return EMPTY
        node = self.peaks[-1]
        for peak in self.peaks[-2::-1]:
            node = node_hash(peak, node)
        return node
