"""Progress on standard error: only where a person looks at it, and only once the work takes longer than a moment."""

import os
import sys
import time
from types import TracebackType
from typing import Self

PATIENCE = 0.7
"""Seconds before anything is shown: short work needs no progress."""


class Progress:
    """Tell on one line of standard error what is being done; silent in a pipe, in CI and with `quiet`."""

    def __init__(self, *, quiet: bool) -> None:
        self.shown = not quiet and sys.stderr.isatty() and not os.environ.get("CI") and os.environ.get("TERM") != "dumb"
        self.began = time.monotonic()
        self.drawn = 0

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
        if not self.shown or now - self.began < PATIENCE:
            return
        sys.stderr.write(f"\r\x1b[K{what[:76]}")
        sys.stderr.flush()
        self.drawn += 1
