"""Trees over the lines of a file against a slow one, and proofs of shown lines, which nobody can alter."""

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from builders import NOW
from evidence import recorded
from hypothesis import assume, given
from hypothesis import strategies as st
from line_trees import first_tree, slow_tree

from recon.ledger import lines as lines_module
from recon.ledger.bundle import Bundle
from recon.ledger.bundle_verifier import UNREADABLE, Failed, lines_root
from recon.ledger.entries import FIRST, new_row
from recon.ledger.journal import reading
from recon.ledger.lines import Blanked, Leaves, blanked, chunks_of, line_tree, line_tree_of_file, lines_of

LINES = st.lists(
    st.tuples(st.binary(max_size=5), st.sampled_from([b"\n", b"\n", b"\n", b"\r\n", b"\r"])), max_size=90
).map(lambda lines: b"".join(text + end for text, end in lines))
FILES = st.builds(bytes.__add__, LINES, st.binary(max_size=4))


def tree_of(data: bytes) -> dict[str, Any]:
    return line_tree(chunks_of(data), hashlib.sha256(data))


@contextmanager
def long_from(single: int, chunk: int = 1 << 18) -> Iterator[None]:
    """Take a file of more than so many lines for a long one, and cut it into lines so many bytes at once."""
    with mock.patch.object(lines_module, "SINGLE", single), mock.patch.object(lines_module, "CHUNK", chunk):
        yield


# The tree


@given(FILES, st.integers(1, 40))
def test_a_line_a_leaf(data: bytes, chunk: int) -> None:
    with long_from(1000, chunk):
        assert tree_of(data) == slow_tree(data, 1)
        assert list(lines_of(data)) == data.splitlines(keepends=True)


@given(FILES, st.integers(1, 40))
def test_blocks_of_lines(data: bytes, chunk: int) -> None:
    assume(data.count(b"\n") or data.count(b"\r"))
    with long_from(0, chunk):
        tree = tree_of(data)
        assert tree == slow_tree(data, 16)
        lines, expected = Leaves.of(data, tree), data.splitlines(keepends=True)
    assert [lines[at] for at in range(len(lines))] == expected
    assert all(len(piece.splitlines()) == 16 for piece in lines.pieces[:-1])


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_the_length_from_which_leaves_hold_blocks(tmp_path: Path, end: bytes) -> None:
    for count, leaf in ((50_000, 1), (50_001, 16), (50_016, 16), (70_000, 16)):
        data = b"".join(b"%d,A1,%d" % (at, at % 7) + end for at in range(count))
        tree = tree_of(data)
        assert (tree["leaf"], tree["count"]) == (leaf, count)
        assert tree == slow_tree(data, leaf)
        (tmp_path / "file").write_bytes(data)
        assert line_tree_of_file(tmp_path / "file", hashlib.sha256(data)) == tree


def test_lines_longer_than_what_is_cut_at_once() -> None:
    data = b"".join(b"x" * (at * 997 % 5000) + b"\n" for at in range(100)) + b"y" * 9000
    for single in (0, 1000):
        with long_from(single, 64):
            assert tree_of(data) == slow_tree(data, 1 if single else 16)


def test_an_empty_file_has_no_lines() -> None:
    tree = {"tree": 2, "leaf": 1, "count": 0, "root": hashlib.sha256(b"").hexdigest()}
    assert tree_of(b"") == tree
    assert blanked(b"", {1}, tree) == blanked(b"", {1}, first_tree(b"")) == Blanked(0, (), ())


def test_the_hash_of_the_file_is_left_as_it_is() -> None:
    whole = hashlib.sha256(b"a\nb\n")
    line_tree([b"a\n", b"b\n"], whole)
    assert whole.digest() == hashlib.sha256(b"a\nb\n").digest()


@pytest.mark.parametrize("tree", [{}, {"tree": 2, "leaf": 1}, {"tree": 2, "leaf": 16}])
def test_equal_lines_have_unequal_hashes(tree: dict[str, int]) -> None:
    """A short line cannot be guessed from its hash, nor known again in another place or file."""
    leaf = tree.get("leaf", 1)
    data = b"1\n" * 4 * leaf
    one, two = blanked(data, {1, 1 + leaf}, tree), blanked(data, {1 + 2 * leaf, 1 + 3 * leaf}, tree)
    assert len({*one.hidden, *two.hidden}) == len([*one.hidden, *two.hidden])
    assert len({salt for _, salt, _ in (*one.shown, *two.shown)}) == 4
    other = blanked(data + b"1\n", range(1, 4 * leaf + 2), tree)
    assert not {salt for _, salt, _ in other.shown} & {salt for _, salt, _ in (*one.shown, *two.shown)}


@pytest.mark.parametrize("single", [5, 50_000])
def test_the_results_of_a_run_have_a_tree_whatever_their_length(tmp_path: Path, single: int) -> None:
    with long_from(single, 100):
        root = recorded(tmp_path / "route")
    with reading(root) as ledger:
        (made,) = ledger.entries("run-made")
    data = (root / "reports" / made.body["report"] / "results.json").read_bytes()
    assert made.body["lines"] == slow_tree(data, 16 if single == 5 else 1)


# Lines that are shown


def packed(data: bytes, tree: dict[str, Any], shown: set[int]) -> tuple[bytes, dict[str, Any]] | None:
    """A file as a bundle shows it, and its proof; None where its lines cannot be shown in their places."""
    bundle = Bundle([new_row(1, NOW, "file-taken", {"lines": tree}, FIRST)])
    if not bundle.part("file", data, shown, 1):
        return None
    return bundle.files["file"], json.loads(bundle.files["proofs/file.json"])


def proves(text: bytes, proof: dict[str, Any], tree: dict[str, Any]) -> bool:
    try:
        return lines_root(text, proof, tree) == tree["root"]
    except (Failed, *UNREADABLE):
        return False


def tree_by(rules: str, data: bytes) -> dict[str, Any]:
    return first_tree(data) if rules == "first" else slow_tree(data, 16 if rules == "blocks" else 1)


RULES = st.sampled_from(["first", "lines", "blocks"])
SHOWN = st.sets(st.integers(-1, 95), max_size=6)


@given(FILES, SHOWN, RULES)
def test_shown_lines_are_proved_beside_blank_ones(data: bytes, shown: set[int], rules: str) -> None:
    tree = tree_by(rules, data)
    made = packed(data, tree, shown)
    assume(made is not None)
    assert made is not None
    text, proof = made
    assert proves(text, proof, tree)
    lines, leaf = data.splitlines(keepends=True), tree.get("leaf", 1)
    leaves = {(number - 1) // leaf for number in shown if 1 <= number <= len(lines)}
    for at, (line, whole) in enumerate(zip(text.splitlines(keepends=True), lines, strict=True)):
        assert line == whole if at // leaf in leaves else line in (b"\n", b"\r")
    assert [number for number, _ in proof["shown"]] == [leaf * at + 1 for at in sorted(leaves)]


@given(FILES, SHOWN, RULES, st.data())
def test_nothing_of_a_proof_can_be_altered(data: bytes, shown: set[int], rules: str, draw: st.DataObject) -> None:
    tree = tree_by(rules, data)
    made = packed(data, tree, shown)
    assume(made is not None and data)
    assert made is not None
    text, proof = made
    leaf, hidden, salts = tree.get("leaf", 1), proof["hidden"], proof["shown"]
    bad: list[tuple[bytes, Any, Any]] = [
        (text, {**proof, "count": proof["count"] + 1}, tree),
        (text + b"\n\n", {**proof, "count": proof["count"] + 1}, tree),
        (text, proof, {**tree, "count": tree["count"] - 1}),
        (text, {**proof, "hidden": [*hidden, "0" * 64]}, tree),
        (text, {**proof, "shown": [*salts, [tree["count"] + 1, "0" * 32]]}, tree),
        (text, {**proof, "shown": [*salts, [0, "0" * 32]]}, tree),
        (text, proof, {**tree, "tree": 3}),
    ]
    if hidden:
        at = draw.draw(st.integers(0, len(hidden) - 1))
        other = f"{int(hidden[at], 16) ^ 1 << draw.draw(st.integers(0, 255)):064x}"
        bad.append((text, {**proof, "hidden": [*hidden[:at], other, *hidden[at + 1 :]]}, tree))
        bad.append((text, {**proof, "hidden": [*hidden[:at], *hidden[at + 1 :]]}, tree))
    if salts:
        at = draw.draw(st.integers(0, len(salts) - 1))
        number, salt = salts[at]
        other = f"{int(salt, 16) ^ 1 << draw.draw(st.integers(0, 127)):032x}"
        bad.append((text, {**proof, "shown": [*salts[:at], [number, other], *salts[at + 1 :]]}, tree))
        bad.append((text, {**proof, "shown": [*salts[:at], *salts[at + 1 :]]}, tree))
        lines = text.splitlines(keepends=True)
        begin = len(b"".join(lines[: number - 1]))
        end = len(b"".join(lines[: number - 1 + leaf]))
        byte = draw.draw(st.integers(begin, end - 1))
        altered = text[:byte] + bytes([text[byte] ^ 1 << draw.draw(st.integers(0, 7))]) + text[byte + 1 :]
        bad.append((altered, proof, tree))
        # A byte of a line cannot pass for one of its salt, nor one of the salt for one of the line.
        for moved, kept in ((salt + text[begin : begin + 1].hex(), text[begin + 1 : end]),
                            (salt[:-2], bytes.fromhex(salt[-2:]) + text[begin:end])):  # fmt: skip
            shifted = {**proof, "shown": [*salts[:at], [number, moved], *salts[at + 1 :]]}
            bad.append((text[:begin] + kept + text[end:], shifted, tree))
    assert not [number for number, one in enumerate(bad) if proves(*one)]


@pytest.mark.parametrize("leaf", [1, 16])
def test_a_leaf_cannot_be_moved_among_its_neighbours(leaf: int) -> None:
    """Hashes of another length would leave the bytes of a node as they are, and a leaf in another place."""
    data = b"".join(b"%03d\n" % at for at in range(16 * leaf))
    tree = slow_tree(data, leaf)
    made = packed(data, tree, {3 * leaf + 1})
    assert made is not None
    text, proof = made
    assert proves(text, proof, tree)
    before, after = proof["hidden"][:3], proof["hidden"][3:]
    ((number, salt),) = proof["shown"]
    moved = text[leaf:].replace(text.strip(b"\n"), text.strip(b"\n") + b"\n" * leaf)
    assert len(moved.splitlines()) == 16 * leaf
    assert moved.splitlines()[2 * leaf] == text.splitlines()[3 * leaf]
    hidden = [before[0], before[1] + before[2], *after, ""]
    assert not proves(moved, {**proof, "shown": [[number - leaf, salt]], "hidden": hidden}, tree)
