"""A command of recon that is stopped on its way: killed, or refused by the system, at the n-th call of a kind.

    python tests/endurance/stopped.py --point fsync --at 3 --then kill -- run ROUTE

runs `recon run ROUTE` in this process and kills it with SIGKILL at its third call of fsync. Everything is patched from
outside; recon knows nothing of it. `--count FILE` stops nothing, and writes how many calls of each kind there were.
"""

import argparse
import builtins
import errno
import io
import json
import os
import signal
import sqlite3
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

POINTS: Final = ("fsync", "os-open", "open", "write", "replace", "rename", "mkdir", "unlink", "sql")
"""What may stop a command: each a call by which it leaves something on the disk."""
THEN: Final = ("kill", "kill-after", "ENOSPC", "EROFS", "EIO")
"""What happens at the call: a kill before it (a write is then half done), a kill after it, or an error in its place."""
_SQLITE: Final = {
    "ENOSPC": sqlite3.SQLITE_FULL, "EROFS": sqlite3.SQLITE_READONLY, "EIO": sqlite3.SQLITE_IOERR_WRITE,
}  # fmt: skip
_WRITING: Final = set("wax+")


class Stop:
    """Counts the calls of each point and acts on the one that was asked for."""

    def __init__(self, point: str | None, at: int, then: str) -> None:
        self.point, self.at, self.then = point, at, then
        self.calls: Counter[str] = Counter()

    def meet(self, point: str, call: Callable[[], Any], half: Callable[[], Any] = lambda: None) -> Any:
        """A call of a point. half: what is left of it where a kill hits it midway."""
        self.calls[point] += 1
        if point != self.point or self.calls[point] != self.at:
            return call()
        if self.then == "kill":
            half()
        elif self.then == "kill-after":
            call()
        else:
            raise self._refusal(point)
        os.kill(os.getpid(), signal.SIGKILL)
        raise AssertionError("a process outlived SIGKILL")

    def _refusal(self, point: str) -> Exception:
        if point == "sql":
            refused = sqlite3.OperationalError("refused by the trial")
            refused.sqlite_errorcode = _SQLITE[self.then]
            return refused
        number = getattr(errno, self.then)
        return OSError(number, os.strerror(number))


class Written:
    """A file open for writing, whose writes are met."""

    def __init__(self, file: Any, stop: Stop) -> None:
        self._file, self._stop = file, stop

    def write(self, data: Any) -> Any:
        def half() -> None:
            self._file.write(data[: len(data) // 2])
            self._file.flush()

        return self._stop.meet("write", lambda: self._file.write(data), half)

    def __enter__(self) -> "Written":
        self._file.__enter__()
        return self

    def __exit__(self, *told: Any) -> Any:
        return self._file.__exit__(*told)

    def __iter__(self) -> Any:
        return iter(self._file)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)


def patch(stop: Stop) -> None:
    """Put a look at `stop` before every call that leaves something on the disk."""

    def met(point: str, call: Callable[..., Any]) -> Callable[..., Any]:
        return lambda *given, **named: stop.meet(point, lambda: call(*given, **named))

    for point, name in (("fsync", "fsync"), ("replace", "replace"), ("rename", "rename"), ("mkdir", "mkdir")):
        setattr(os, name, met(point, getattr(os, name)))
    os.unlink = os.remove = met("unlink", os.unlink)
    os_open, file_open, connect = os.open, io.open, sqlite3.connect

    def open_handle(path: Any, flags: int, *rest: Any, **named: Any) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            return stop.meet("os-open", lambda: os_open(path, flags, *rest, **named))  # type: ignore[no-any-return]
        return os_open(path, flags, *rest, **named)

    def open_file(file: Any, mode: str = "r", *rest: Any, **named: Any) -> Any:
        if not _WRITING & set(mode):
            return file_open(file, mode, *rest, **named)
        return Written(stop.meet("open", lambda: file_open(file, mode, *rest, **named)), stop)

    class Met(sqlite3.Connection):
        def execute(self, *given: Any) -> sqlite3.Cursor:
            return stop.meet("sql", lambda: sqlite3.Connection.execute(self, *given))  # type: ignore[no-any-return]

    def connect_met(*given: Any, **named: Any) -> sqlite3.Connection:
        return connect(*given, factory=Met, **named)

    os.open, io.open, builtins.open, sqlite3.connect = open_handle, open_file, open_file, connect_met  # type: ignore[assignment]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--point", choices=POINTS)
    parser.add_argument("--at", type=int, default=1)
    parser.add_argument("--then", choices=THEN, default="kill")
    parser.add_argument("--count", type=Path)
    parser.add_argument("command", nargs="+")
    asked = parser.parse_args()
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from recon.cli.main import main as recon

    sys.argv = ["recon", *asked.command]
    stop = Stop(None if asked.count else asked.point, asked.at, asked.then)
    plain = io.open
    patch(stop)
    try:
        recon()
    finally:
        if asked.count is not None:
            with plain(asked.count, "w") as file:
                json.dump(stop.calls, file)


if __name__ == "__main__":
    main()
