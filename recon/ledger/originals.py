"""Files as they arrived, kept by the hash of their bytes: ledger/originals/ab/abcdef..."""

import hashlib
from pathlib import Path

from recon.ledger.faults import told
from recon.ledger.files import ledger_folder, write_once
from recon.model.errors import LedgerDamaged


def originals_folder(root: Path) -> Path:
    """Where the originals of a route folder are kept."""
    return ledger_folder(root) / "originals"


def original_path(root: Path, sha256: str) -> Path:
    """Where the original with this hash (64 lower-case hex digits) is kept."""
    return originals_folder(root) / sha256[:2] / sha256


def keep(root: Path, data: bytes, *, sha256: str | None = None) -> str:
    """Keep the bytes of a file, once. Returns their SHA-256 in hex. sha256: the same, where it was reckoned already.

    To be called while holding the lock of the ledger. Raises ReconError where they cannot be written.
    """
    sha256 = sha256 or hashlib.sha256(data).hexdigest()
    write_once(root, original_path(root, sha256), data)
    return sha256


def original(root: Path, sha256: str) -> bytes:
    """The bytes that were kept under a hash.

    Raises LedgerDamaged where they are missing or no longer have it.
    """
    return whole(root, original_path(root, sha256), sha256)


def whole(root: Path, path: Path, sha256: str) -> bytes:
    """The bytes of a kept file, which have this hash. Raises LedgerDamaged where it is missing or altered."""
    name = path.relative_to(root).as_posix()
    if not path.is_file():
        raise LedgerDamaged(f"{name} is missing: put it back from a copy")
    with told(path):
        data = path.read_bytes()
    found = hashlib.sha256(data).hexdigest()
    if found != sha256:
        raise LedgerDamaged(
            f"{name} was altered: its bytes have the hash {found}, expected {sha256}. "
            "Put it back from a copy"
        )
    return data
