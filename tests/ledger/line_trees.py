"""The trees over the lines of a file, written out slowly from what is documented of them."""

import hashlib
from typing import Any


def sha256(data: bytes) -> bytes:
    return hashlib.sha256(data).digest()


def root_over(hashes: list[bytes], width: int) -> bytes:
    """Level by level: a node for each `width` neighbours, one alone moves up."""
    while len(hashes) > 1:
        groups = [hashes[at : at + width] for at in range(0, len(hashes), width)]
        hashes = [group[0] if len(group) == 1 else sha256(b"\x01" + b"".join(group)) for group in groups]
    return hashes[0] if hashes else sha256(b"")


def slow_tree(data: bytes, leaf: int) -> dict[str, Any]:
    """What an entry keeps of a file's lines, `leaf` lines in each leaf."""
    lines = data.splitlines(keepends=True)
    secret, hashes = sha256(data + b"recon, salts of lines\x00"), []
    for number, first in enumerate(range(0, len(lines), leaf)):
        stream = hashlib.shake_256(secret + (number // 128).to_bytes(8, "big")).digest(128 * 17)
        salt = stream[number % 128 * 17 :][1:17]
        hashes.append(sha256(b"\x00" + salt + b"".join(lines[first : first + leaf])))
    return {"tree": 2, "leaf": leaf, "count": len(lines), "root": root_over(hashes, 16).hex()}


def first_tree(data: bytes) -> dict[str, Any]:
    """What an entry kept of a file's lines under the first rules."""
    lines = data.splitlines(keepends=True)
    salts = hashlib.shake_256(sha256(b"recon, salts of lines\x00" + data)).digest(16 * len(lines))
    hashes = [sha256(b"\x00" + salts[16 * at : 16 * at + 16] + line) for at, line in enumerate(lines)]
    return {"count": len(lines), "root": root_over(hashes, 2).hex()}
