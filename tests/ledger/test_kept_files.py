"""Originals and the lines of files: kept once, by a hash that other programs reckon alike."""

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.ledger.lines import Blanked, blanked, line_tree, lines_of
from recon.ledger.merkle import node_hash, split
from recon.ledger.originals import keep, original, original_path
from recon.model.errors import LedgerDamaged


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="there is no sha256sum program here")
@pytest.mark.parametrize("data", [b"", b"abc", b"time,label\r\n2026-09-01,A1\r\n", bytes(range(256)) * 5000])
def test_sha_256_as_the_system_reckons_it(tmp_path: Path, data: bytes) -> None:
    sha256 = keep(tmp_path, data)
    said = subprocess.run(
        ["sha256sum", original_path(tmp_path, sha256)], capture_output=True, text=True, check=True
    ).stdout
    assert said.split()[0] == sha256


def test_sha_256_of_the_standard() -> None:
    """FIPS 180-2, appendix B.1: the message "abc" (from memory; sha256sum above is the oracle)."""
    assert hashlib.sha256(b"abc").hexdigest().startswith("ba7816bf")


def test_an_original_is_kept_once(tmp_path: Path) -> None:
    first = keep(tmp_path, b"one")
    stamp = original_path(tmp_path, first).stat().st_mtime_ns
    assert keep(tmp_path, b"one") == first
    assert original_path(tmp_path, first).stat().st_mtime_ns == stamp
    assert original(tmp_path, first) == b"one"
    assert len([path for path in (tmp_path / "ledger").rglob("*") if path.is_file()]) == 1


def test_an_original_that_is_altered_or_gone(tmp_path: Path) -> None:
    sha256 = keep(tmp_path, b"one")
    original_path(tmp_path, sha256).write_bytes(b"two")
    with pytest.raises(LedgerDamaged, match=f"originals/{sha256[:2]}/{sha256} was altered"):
        original(tmp_path, sha256)
    original_path(tmp_path, sha256).unlink()
    with pytest.raises(LedgerDamaged, match="is missing"):
        original(tmp_path, sha256)


def top_of(part: Blanked) -> str:
    """The root of a file's lines, from those that are shown and the hashes of the others."""
    shown = {number: hashlib.sha256(b"\x00" + salt + line).digest() for number, salt, line in part.shown}
    hidden = list(part.hidden)

    def top(first: int, after: int) -> bytes:
        if not any(first < number <= after for number in shown):
            return hidden.pop(0)
        if after - first == 1:
            return shown[after]
        middle = first + split(after - first)
        left = top(first, middle)
        return node_hash(left, top(middle, after))

    found = top(0, part.count)
    assert hidden == []
    return found.hex()


@given(
    st.lists(st.tuples(st.binary(max_size=5), st.sampled_from([b"\n", b"\r\n", b"\r"])), min_size=1, max_size=40),
    st.sets(st.integers(1, 45)),
)
def test_shown_lines_are_proved_beside_blank_ones(lines: list[tuple[bytes, bytes]], shown: set[int]) -> None:
    data = b"".join(text + end for text, end in lines)
    part = blanked(data, shown)
    count = len(lines_of(data))
    assert part.count == count == line_tree(data)["count"]
    assert [number for number, _, _ in part.shown] == sorted(number for number in shown if number <= count)
    assert all(line == lines_of(data)[number - 1] for number, _, line in part.shown)
    assert top_of(part) == line_tree(data)["root"]


def test_equal_lines_have_unequal_hashes() -> None:
    """A short line cannot be guessed from its hash, nor known again in another place or file."""
    data = b"1\n1\n1\n1\n"
    one, two = blanked(data, {1, 2}), blanked(data, {3, 4})
    assert len({*one.hidden, *two.hidden}) == 2
    assert len({salt for _, salt, _ in (*one.shown, *two.shown)}) == 4
    assert not {salt for _, salt, _ in blanked(data + b"1\n", {1, 2, 3, 4, 5}).shown} & {
        salt for _, salt, _ in blanked(data, {1, 2, 3, 4}).shown
    }


def test_an_empty_file_has_no_lines() -> None:
    assert line_tree(b"") == {"count": 0, "root": hashlib.sha256(b"").hexdigest()}
    assert blanked(b"", {1}) == Blanked(0, (), ())
