"""Which kept files an entry names."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from recon.ledger.originals import original_path
from recon.ledger.tables import table_path, tables_folder

HASH: Final = re.compile(r"[0-9a-f]{64}")
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9_-]*")


class NotAReference(ValueError):
    """Where an entry ought to name a kept file it says something else."""


def named_files(root: Path, body: object, key: str = "") -> Iterator[tuple[str, Path, str]]:
    """The kept files that an entry's body names, at any depth: (`original` or `table`, path, hash).

    Under the key `original` stands a hash; under `table` a hash, or objects of `name` and `sha256`. Raises
    NotAReference where it is neither.
    """
    if isinstance(body, Mapping):
        if key == "table":
            yield "table", *_table(root, body.get("name"), body.get("sha256"))
            return
        for name, value in body.items():
            yield from named_files(root, value, name)
    elif isinstance(body, list):
        for value in body:
            yield from named_files(root, value, key)
    elif key == "original" and body is not None:
        yield "original", original_path(root, _hash(body)), _hash(body)
    elif key == "table" and body is not None:
        sha256 = _hash(body)
        found = next(iter(sorted(tables_folder(root).glob(f"*/{sha256}.parquet"))), None)
        yield "table", found or table_path(root, "*", sha256), sha256


def _table(root: Path, name: object, sha256: object) -> tuple[Path, str]:
    if not isinstance(name, str) or _NAME.fullmatch(name) is None:
        raise NotAReference(f"{name!r} is no name of a table")
    return table_path(root, name, _hash(sha256)), _hash(sha256)


def _hash(value: object) -> str:
    if not isinstance(value, str) or HASH.fullmatch(value) is None:
        raise NotAReference(f"{value!r} is no SHA-256")
    return value
