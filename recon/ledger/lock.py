"""One writer at a time.

The lock is the operating system's and lies on the file ledger/lock: it ends with the process that holds it, however
that ends. ledger/holder.json only says who holds it; it is left behind by a kill and then means nothing.
"""

import errno
import json
import os
import socket
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Final

from recon.ledger.faults import told
from recon.ledger.files import clear_unfinished, ledger_folder, private_folder
from recon.model.errors import ReconError

_PAUSE: Final = 0.05
"""Seconds between two looks at a lock that is held."""

_HELD: Final = (errno.EAGAIN, errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK)


@contextmanager
def locked(
    root: Path, *, who: str, wait_seconds: float = 30.0, on_wait: Callable[[str], None] = lambda holder: None
) -> Iterator[None]:
    """Hold the ledger of a route folder against other writers; the ledger folder is made where it is missing.

    who: the command that writes, for others to read. on_wait: told once who holds it, if somebody does. Raises
    ReconError where it is still held after `wait_seconds`, and where the folder supports no locks.
    """
    folder = private_folder(ledger_folder(root))
    with told(folder / "lock"):
        file = os.fdopen(os.open(folder / "lock", os.O_RDWR | os.O_CREAT, 0o600), "r+b")
    with file:
        _acquire(file, folder, wait_seconds, on_wait)
        try:
            _say_who(folder, who)
            clear_unfinished(root)
            yield
        finally:
            # It means nothing once the lock is free, and what was written is lasting by now.
            with suppress(OSError):
                (folder / "holder.json").unlink(missing_ok=True)
            _release(file)


def _acquire(file: IO[bytes], folder: Path, wait_seconds: float, on_wait: Callable[[str], None]) -> None:
    end = time.monotonic() + wait_seconds
    waited = False
    while True:
        with told(folder / "lock"):
            if _try_lock(file):
                return
        if not waited:
            on_wait(_holder(folder))
            waited = True
        if time.monotonic() >= end:
            raise ReconError(
                f"{folder.as_posix()} is held by {_holder(folder)}; waited {wait_seconds:g} s. "
                "Let it finish, or stop it, then run again"
            )
        time.sleep(_PAUSE)


if sys.platform == "win32":  # pragma: no cover - only on Windows
    import msvcrt

    def _try_lock(file: IO[bytes]) -> bool:
        try:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in _HELD:
                return False
            raise
        return True

    def _release(file: IO[bytes]) -> None:
        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _try_lock(file: IO[bytes]) -> bool:
        # flock is of the open file: unlike a POSIX record lock it also keeps two threads of one process apart, and
        # is not lost when some other handle of the same file is closed.
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno in _HELD:
                return False
            raise
        return True

    def _release(file: IO[bytes]) -> None:
        fcntl.flock(file, fcntl.LOCK_UN)


def _say_who(folder: Path, who: str) -> None:
    holder = {"command": who, "host": socket.gethostname(), "pid": os.getpid()}
    path = folder / "holder.json"
    with told(path):
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            json.dump(holder, file)


def held_since(root: Path) -> int:
    """When the lock was taken by whoever holds it: nanoseconds, by the clock of the file system. To be called while
    holding it."""
    path = ledger_folder(root) / "holder.json"
    with told(path):
        return path.stat().st_mtime_ns


def _holder(folder: Path) -> str:
    """Who holds the lock and since when, in words. The time is that of the file: the ledger asks no clock."""
    path = folder / "holder.json"
    try:
        since = datetime.fromtimestamp(path.stat().st_mtime, UTC)
        holder = json.loads(path.read_text(encoding="utf-8"))
        return (
            f'"{holder["command"]}" (process {holder["pid"]} on {holder["host"]}, since {since:%Y-%m-%d %H:%M:%S} UTC)'
        )
    except (OSError, ValueError, KeyError, TypeError):
        # It is being written at this moment, or the holder let go just now.
        return "another command"
