"""Merkle trees against published roots and paths, and against the definition written out."""

import hashlib

import pytest

from recon.ledger.merkle import (
    EMPTY,
    Frontier,
    consistency_path,
    consistent,
    includes,
    inclusion_path,
    leaf_hash,
    root,
)

# transparency-dev/merkle, testonly/constants.go, commit 417fb0c3: leaves, and the roots over the first 0 to 8 of them
# (RFC 6962 and RFC 9162, section 2.1).
LEAVES = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
PATHS = {
    0: [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    5: [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
}

HASHES = [leaf_hash(bytes.fromhex(leaf)) for leaf in LEAVES]
MANY = [leaf_hash(bytes([at])) for at in range(67)]


@pytest.mark.parametrize("size", range(9))
def test_published_roots(size: int) -> None:
    assert root(HASHES[:size]).hex() == ROOTS[size]
    assert Frontier.over(HASHES[:size]).root.hex() == ROOTS[size]


@pytest.mark.parametrize("index", PATHS)
def test_published_paths(index: int) -> None:
    assert [node.hex() for node in inclusion_path(HASHES, index)] == PATHS[index]
    assert includes(HASHES[index], index, 8, [bytes.fromhex(node) for node in PATHS[index]], bytes.fromhex(ROOTS[8]))


def by_definition(leaves: list[bytes]) -> bytes:
    """RFC 9162, section 2.1.1, as it is written there."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    left = 1
    while left * 2 < len(leaves):
        left *= 2
    return hashlib.sha256(b"\x01" + by_definition(leaves[:left]) + by_definition(leaves[left:])).digest()


@pytest.mark.parametrize("size", range(68))
def test_roots_by_definition(size: int) -> None:
    assert root(MANY[:size]) == Frontier.over(MANY[:size]).root == by_definition(MANY[:size])


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8, 13, 32, 33, 67])
def test_every_leaf_is_proved_and_no_other(size: int) -> None:
    top = root(MANY[:size])
    for index in range(size):
        path = inclusion_path(MANY[:size], index)
        assert includes(MANY[index], index, size, path, top)
        assert not includes(leaf_hash(b"other"), index, size, path, top)
        assert not includes(MANY[index], index, size, [*path, top], top)
        assert size == 1 or not includes(MANY[index], index, size, path[:-1], top)
        assert size == 1 or not includes(MANY[index], (index + 1) % size, size, path, top)
        assert not includes(MANY[index], index, size, path, EMPTY)


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8, 13, 32, 33])
def test_every_earlier_tree_is_proved_and_no_other(size: int) -> None:
    top = root(MANY[:size])
    for earlier in range(1, size + 1):
        path = consistency_path(MANY[:size], earlier)
        assert consistent(earlier, root(MANY[:earlier]), size, top, path)
        assert not consistent(earlier, leaf_hash(b"other"), size, top, path)
        assert not consistent(earlier, root(MANY[:earlier]), size, leaf_hash(b"other"), path)
        assert not consistent(earlier, root(MANY[:earlier]), size, top, [*path, top])
        assert not path or not consistent(earlier, root(MANY[:earlier]), size, top, path[:-1])


def test_leaves_that_are_not_there() -> None:
    for index in (-1, 8):
        with pytest.raises(IndexError):
            inclusion_path(HASHES, index)
        assert not includes(HASHES[0], index, 8, [], HASHES[0])
    for earlier in (0, 9):
        with pytest.raises(IndexError):
            consistency_path(HASHES, earlier)
        assert not consistent(earlier, EMPTY, 8, root(HASHES), [])
