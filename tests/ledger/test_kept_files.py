"""Originals and tables: kept once, by a hash that other programs reckon alike."""

import hashlib
import random
import shutil
import subprocess
from pathlib import Path

import polars as pl
import pytest

from recon.ledger.originals import keep, original, original_path
from recon.ledger.tables import as_parquet, keep_table, read_tables, table_path
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


def test_tables_come_back_in_the_order_that_is_asked_for(tmp_path: Path) -> None:
    frames = [pl.DataFrame({"row": [at, at + 1], "label": ["A1", None]}) for at in range(30)]
    hashes = [keep_table(tmp_path, "vends", as_parquet(frame)) for frame in frames]
    assert len(set(hashes)) == 30
    order = random.Random(5).sample(range(30), 30)
    assert read_tables(tmp_path, "vends", [hashes[at] for at in order]).equals(pl.concat(frames[at] for at in order))
    assert keep_table(tmp_path, "vends", as_parquet(frames[3])) == hashes[3]


def test_tables_keep_their_types(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {"time": [None], "kind": ["cash"], "amount": [2**62]},
        schema={"time": pl.Datetime("us", "UTC"), "kind": pl.Enum(["cash", "card"]), "amount": pl.Int64},
    )
    for kept in (frame, frame.clear()):
        assert read_tables(tmp_path, "vends", [keep_table(tmp_path, "vends", as_parquet(kept))]).equals(kept)
        assert read_tables(tmp_path, "vends", [keep_table(tmp_path, "vends", as_parquet(kept))]).schema == frame.schema


def test_a_table_that_is_altered(tmp_path: Path) -> None:
    sha256 = keep_table(tmp_path, "vends", as_parquet(pl.DataFrame({"row": [1]})))
    path = table_path(tmp_path, "vends", sha256)
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(LedgerDamaged, match="was altered"):
        read_tables(tmp_path, "vends", [sha256])
