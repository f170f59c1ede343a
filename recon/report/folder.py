"""reports/<run>/: written whole or not at all, and never over an earlier run."""

import hashlib
import os
import shutil
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import IO, NamedTuple

from recon.ledger.files import sync_folder
from recon.model.errors import ReconError
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone

_PART = ".part-"
"""How the name of a report begins that is not complete."""


SUMS = "SHA256SUMS"
"""The hashes of all files of a report, as the program sha256sum writes and checks them."""


_STRETCH = 16 << 20
"""Bytes after which a long file is made lasting as far as it goes."""


class Written(NamedTuple):
    """A report that was written. sums: SHA-256 of its SHA256SUMS, hex."""

    folder: Path
    sums: str


class Hashed:
    """The content of a file in pieces, which is hashed on its way."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces
        self._sha256 = hashlib.sha256()
        self._passed = False

    def __iter__(self) -> Iterator[bytes]:
        yield from self._pieces
        self._passed = True

    def hash(self, piece: bytes) -> None:
        """Take a piece that has come. Each once, in their order."""
        self._sha256.update(piece)

    @property
    def sha256(self) -> "hashlib._Hash":
        """Return the SHA-256 of the whole, once all of it has passed."""
        assert self._passed, "asked before all of it has passed"
        return self._sha256

    @property
    def digest(self) -> str:
        """SHA-256 of the whole, hex, once all of it has passed."""
        return self.sha256.hexdigest()


Content = str | bytes | Hashed
"""What a file is to hold, whole or in pieces."""


def write_report(root: Path, done: Reconciliation, files: Iterable[tuple[str, Content]]) -> Written:
    """Write files (path below the folder, and content) into a new folder below reports/, named for the moment of the
    run in the route's zone.

    The folder is made beside its final name and renamed when it is complete and on the disk. So neither a kill nor a
    power cut leaves half a report, of which the ledger would say that it was altered. To be called while holding the
    lock of the ledger. files: taken one by one, so that a long report need not be in memory as a whole. They are
    readable by their owner alone. Raises ReconError where it cannot be written.
    """
    reports = root / "reports"
    stamp = done.now.astimezone(zone(done.zone)).strftime("%Y-%m-%d-%H%M%S")
    part = reports / f"{_PART}{stamp}"
    try:
        for left in reports.glob(f"{_PART}*"):
            # By a run that was killed: only one writes at a time.
            shutil.rmtree(left, ignore_errors=True)
        reports.mkdir(exist_ok=True)
        part.mkdir(mode=0o700)
        sums = []
        for name, content in files:
            (part / name).parent.mkdir(mode=0o700, exist_ok=True)
            sums.append(f"{_put(part / name, content)}  {name}\n")
        digest = _put(part / SUMS, "".join(sums))
        for folder in (*(path for path in part.iterdir() if path.is_dir()), part):
            sync_folder(folder)
        written = Written(_settle(part, reports, stamp), digest)
        sync_folder(reports)
        return written
    except ReconError:
        shutil.rmtree(part, ignore_errors=True)
        raise
    except OSError as error:
        shutil.rmtree(part, ignore_errors=True)
        where = error.filename or reports
        raise ReconError(
            f"the report cannot be written to {where}: {error.strerror}. Make room or allow writing, then run again"
        ) from error


def _put(path: Path, content: Content) -> str:
    """Write a file; returns the SHA-256 of its bytes, hex.

    Of a text in pieces one is hashed and written while the next is made: both take about as long.
    """
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        if not isinstance(content, Hashed):
            whole = content.encode() if isinstance(content, str) else content
            file.write(whole)
            _make_lasting(file)
            return hashlib.sha256(whole).hexdigest()
        with ThreadPoolExecutor(1) as beside:
            taken: list[Future[None]] = []
            for piece in content:
                for before in taken:
                    before.result()
                taken = [beside.submit(_take, file, content, piece)]
            for last in taken:
                last.result()
        _make_lasting(file)
    return content.digest


def _make_lasting(file: IO[bytes]) -> None:
    file.flush()
    os.fsync(file.fileno())


def _take(file: IO[bytes], content: Hashed, piece: bytes) -> None:
    content.hash(piece)
    before = file.tell()
    file.write(piece)
    # Long files go to the disk while the next piece is made: little is left to wait for at the end.
    if before // _STRETCH != file.tell() // _STRETCH:
        _make_lasting(file)


def _settle(part: Path, reports: Path, stamp: str) -> Path:
    number = 1
    while True:
        final = reports / (stamp if number == 1 else f"{stamp}-{number}")
        if not final.exists():
            return part.rename(final)
        number += 1
