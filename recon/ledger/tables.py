"""Where ledgers of version 0.1 keep parsed rows: ledger/tables/NAME/abcdef....parquet, named by entries.

Nothing reads these rows any more; what parsing gave is cached apart from the record (recon.ledger.parse_cache). Entries
name the files, so that they stay and are verified.
"""

from pathlib import Path

from recon.ledger.files import ledger_folder


def tables_folder(root: Path) -> Path:
    """Where the tables of a route folder are kept."""
    return ledger_folder(root) / "tables"


def table_path(root: Path, name: str, sha256: str) -> Path:
    """Where a table of this name (`vends`, `counts`, ...) and hash is kept."""
    return tables_folder(root) / name / f"{sha256}.parquet"
