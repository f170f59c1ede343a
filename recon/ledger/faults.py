"""What disks, networks and other programs do to a ledger, as sentences that say what to do."""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from recon.model.errors import LedgerDamaged, ReconError

_FULL: Final = "the disk is full. Make room, then run again: nothing half written counts"
_READ_ONLY: Final = "the folder cannot be written to. Allow writing, or copy the route folder to where you may write"
_NETWORK: Final = (
    "the folder does not support locks, as some network folders do not. "
    "Keep the route folder on a disk of this computer, and copy it to the network as a backup"
)
_READING: Final = "reading or writing failed. Check the disk, or the connection if this is a network folder"

_NAMED: Final = {
    _FULL: ("ENOSPC", "EDQUOT", "EFBIG"),
    _READ_ONLY: ("EROFS", "EACCES", "EPERM"),
    _NETWORK: ("ENOLCK", "EOPNOTSUPP", "ENOTSUP", "ENOSYS"),
    _READING: ("EIO", "ESTALE"),
}
# Not every system knows every one of them.
_BY_ERRNO: Final = {
    getattr(errno, name): said for said, names in _NAMED.items() for name in names if hasattr(errno, name)
}

_BY_SQLITE: Final = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: "the journal cannot be opened. Check that the folder is there and may be written to",
    sqlite3.SQLITE_IOERR: _READING,
    sqlite3.SQLITE_BUSY: (
        "another program keeps the journal open. Close it, and run again; "
        "if there is none, the folder lies on a network that does not support locks: keep it on a disk of this computer"
    ),
    sqlite3.SQLITE_LOCKED: "another program keeps the journal open. Close it, and run again",
    sqlite3.SQLITE_NOLFS: _FULL,
}

_DAMAGED: Final = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT)
_IO_LOCKS: Final = (
    sqlite3.SQLITE_IOERR_LOCK,
    sqlite3.SQLITE_IOERR_RDLOCK,
    sqlite3.SQLITE_IOERR_UNLOCK,
    sqlite3.SQLITE_IOERR_CHECKRESERVEDLOCK,
)


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what the system says of `path` into a ReconError that a user can act on.

    A journal that is no whole database is LedgerDamaged. What is not known to be of the user's making goes through as
    it is.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise _of_sqlite(path, error) from error
    except OSError as error:
        where = path if error.filename is None else Path(error.filename)
        reason = _BY_ERRNO.get(error.errno or 0, f"{error.strerror}. Check the disk and the rights of the folder")
        raise ReconError(f"{where.as_posix()}: {reason}") from error


def _of_sqlite(path: Path, error: sqlite3.Error) -> Exception:
    extended = getattr(error, "sqlite_errorcode", None)
    primary = None if extended is None else extended & 0xFF
    if primary in _DAMAGED or "malformed" in str(error):
        return LedgerDamaged(
            f"{path.as_posix()} is damaged ({error}). Put back the newest whole copy of the ledger folder; "
            "recon verify tells whether a copy is whole"
        )
    if extended in _IO_LOCKS:
        return ReconError(f"{path.as_posix()}: {_NETWORK}")
    if primary in _BY_SQLITE:
        return ReconError(f"{path.as_posix()}: {_BY_SQLITE[primary]}")
    return error
