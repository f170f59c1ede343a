"""Progress on standard error: only where a person looks at it, and only once the work takes longer than a moment."""

import os
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Self

PATIENCE = 0.7
"""Seconds before anything is shown: short work needs no progress."""
BAR = 20
"""Signs that the bar is long."""
_WIDTH = 76
_FILE = "reading inbox/"
"""How the step of a file begins."""


class Progress:
    """Tell on one line of standard error what is being done; silent in a pipe, in CI and with `quiet`.

    inbox: where given, the files of it that were read are shown as a bar, of all there are.
    """

    def __init__(self, *, quiet: bool, inbox: Path | None = None) -> None:
        self.shown = not quiet and sys.stderr.isatty() and not os.environ.get("CI") and os.environ.get("TERM") != "dumb"
        self.began = time.monotonic()
        self.drawn = 0
        self._inbox = inbox
        self._files: int | None = None
        self._read = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.seconds = time.monotonic() - self.began
        if self.drawn:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()

    seconds: float = 0.0

    def step(self, what: str) -> None:
        """Say what is done now."""
        now = time.monotonic()
        self._read += what.startswith(_FILE)
        if not self.shown or now - self.began < PATIENCE:
            return
        plain = "".join(mark if mark.isprintable() else "?" for mark in f"{self._bar(what)}{what}")
        sys.stderr.write(f"\r\x1b[K{plain[:_WIDTH]}")
        sys.stderr.flush()
        self.drawn += 1

    def _bar(self, what: str) -> str:
        """How far the reading is: files begun, of all there are, which are counted when this is first shown."""
        if self._inbox is None or not what.startswith(_FILE):
            return ""
        if self._files is None:
            self._files = sum(path.is_file() for path in self._inbox.rglob("*"))
        # Files that came in meanwhile, or are read a second time.
        of = max(self._files, self._read)
        full = BAR * self._read // of
        return f"[{'#' * full}{'.' * (BAR - full)}] {self._read:,}/{of:,} "
