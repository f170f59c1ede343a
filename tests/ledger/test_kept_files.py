"""Originals: kept once, by a hash that other programs reckon alike."""

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest

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


