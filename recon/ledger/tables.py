"""Normalised tables, kept as Parquet by the hash of the file: ledger/tables/NAME/abcdef....parquet."""

import hashlib
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from recon.ledger.files import ledger_folder, write_once
from recon.ledger.originals import whole

if TYPE_CHECKING:
    import polars as pl


def tables_folder(root: Path) -> Path:
    """Where the tables of a route folder are kept."""
    return ledger_folder(root) / "tables"


def table_path(root: Path, name: str, sha256: str) -> Path:
    """Where a table of this name (`vends`, `counts`, ...) and hash is kept."""
    return tables_folder(root) / name / f"{sha256}.parquet"


def as_parquet(frame: "pl.DataFrame") -> bytes:
    """A frame as the bytes of a Parquet file."""
    buffer = io.BytesIO()
    frame.write_parquet(buffer, compression="zstd", statistics=False)
    return buffer.getvalue()


def keep_table(root: Path, name: str, data: bytes) -> str:
    """Keep a Parquet file under a name of what it holds, once. Returns its SHA-256 in hex.

    The hash is of the file, which another version of polars may write otherwise; the same rows then are kept twice.
    To be called while holding the lock of the ledger. Raises ReconError where it cannot be written.
    """
    sha256 = hashlib.sha256(data).hexdigest()
    write_once(root, table_path(root, name, sha256), data)
    return sha256


def read_tables(root: Path, name: str, hashes: Sequence[str]) -> "pl.DataFrame":
    """The rows of kept tables of one name and one schema, in the order of the hashes; each file is held against its
    hash first.

    hashes: one or more. Raises LedgerDamaged where a table is missing or altered.
    """
    import polars as pl

    files = [whole(root, table_path(root, name, sha256), sha256) for sha256 in hashes]
    return pl.scan_parquet(files).collect()
