"""The stock windows of results.json, a line each, slot by slot.

Most of them were settled by an earlier run: these lines are taken over as they stand in its results, all others are
spelled. What of the text is settled from now on is noted on the way, for the next run.
"""

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import NamedTuple

import polars as pl

from recon.model.carried_frames import SETTLED, SPELLED
from recon.model.errors import ReconError
from recon.model.frames import Frame
from recon.model.reconciliation import Earlier, Reconciliation
from recon.report.tables import stock_table

ROWS_A_PIECE = 50_000
"""Records spelled at once: a long route has millions, and as texts they take ten times the room of their figures."""
_BYTES_A_PIECE = 4 << 20
_BEGINS, _BETWEEN = b"\n    ", b",\n    "


class _Lines(NamedTuple):
    """Lines of one slot one after the other. text: from the first line break on. settled: bytes of those that are
    settled from now on; they come first."""

    slot: int
    text: bytes | memoryview
    settled: int


class StockLines:
    """The list of stock windows in the results of a run.

    settled: up to where windows are settled from now on (frame `settled`).
    """

    def __init__(self, done: Reconciliation, settled: Frame | None = None) -> None:
        self._done = done
        self._settled = SETTLED.empty() if settled is None else settled
        self._places: list[list[int]] = []

    def pieces(self, begins: int) -> Iterator[bytes]:
        """The list as JSON text, one window a line, in pieces. begins: bytes before it in the whole text."""
        parts: list[bytes | memoryview] = [b"["]
        place, size = begins + 1, 1
        for lines in self._by_slot():
            if place > begins + 1:
                parts.append(b",")
                place += 1
            parts.append(lines.text)
            self._note(lines, place)
            place += len(lines.text)
            size += len(lines.text)
            if size > _BYTES_A_PIECE:
                yield b"".join(parts)
                parts, size = [], 0
        yield b"".join(parts) + (b"\n  ]" if place > begins + 1 else b"]")

    @property
    def spelled(self) -> Frame:
        """Where the lines settled from now on stand in the whole text, once it is spelled: a frame `spelled`."""
        return pl.DataFrame(self._places, schema=SPELLED.schema, orient="row")

    def _note(self, lines: _Lines, place: int) -> None:
        if not lines.settled:
            return
        last = self._places[-1] if self._places else None
        if last is not None and last[0] == lines.slot:
            # What was settled before, and goes on: a comma stands between.
            last[2] = place + lines.settled - last[1]
        else:
            self._places.append([lines.slot, place, lines.settled])

    def _by_slot(self) -> Iterator[_Lines]:
        earlier = self._done.earlier
        if earlier is None:
            yield from _spelled(self._done, self._done.frames["stock"], self._settled)
            return
        since = earlier.settled.select("slot", "since")
        rows = self._done.frames["stock"].join(since, on="slot", how="left", maintain_order="left")
        old = (pl.col("opened_at") < pl.col("since")).fill_null(False)
        new = rows.filter(~old).drop("since")
        over = {*rows.filter(old)["slot"], *earlier.settled.filter(pl.col("windows") > 0)["slot"]}
        assert over == set(earlier.spelled["slot"]), "settled windows without a line, or lines without a window"
        on = set(self._settled["slot"])
        with _reader(earlier) as read:
            lines = (
                _Lines(slot, read(start, size), size if slot in on else 0)
                for slot, start, size in earlier.spelled.iter_rows()
            )
            yield from _merged(lines, _spelled(self._done, new, self._settled))


def _merged(old: Iterator[_Lines], new: Iterator[_Lines]) -> Iterator[_Lines]:
    """Lines of both in the order of their slots, old ones first."""
    waiting = next(old, None)
    for lines in new:
        while waiting is not None and waiting.slot <= lines.slot:
            yield waiting
            waiting = next(old, None)
        yield lines
    if waiting is not None:
        yield waiting
    yield from old


def _spelled(done: Reconciliation, windows: Frame, settled: Frame) -> Iterator[_Lines]:
    """Windows as lines, slot by slot; a slot may come in two parts, one behind the other."""
    over = windows.select("slot", "closed_at").join(
        settled.select("slot", "since"), on="slot", how="left", maintain_order="left"
    ).select("slot", (pl.col("closed_at") <= pl.col("since")).fill_null(False).alias("over"))  # fmt: skip
    for begin in range(0, windows.height, ROWS_A_PIECE):
        piece = windows.slice(begin, ROWS_A_PIECE)
        lines = stock_table(replace(done, frames={**done.frames, "stock": piece})).write_ndjson().encode().split(b"\n")
        runs = over.slice(begin, ROWS_A_PIECE).group_by("slot", maintain_order=True).agg(
            pl.len(), pl.col("over").sum().alias("settled")
        )  # fmt: skip
        place = 0
        for slot, count, number in runs.iter_rows():
            own = lines[place : place + count]
            before = sum(map(len, own[:number])) + number * len(_BETWEEN) - 1 if number else 0
            yield _Lines(slot, _BEGINS + _BETWEEN.join(own), before)
            place += count


@contextmanager
def _reader(earlier: Earlier) -> Iterator[Callable[[int, int], bytes | memoryview]]:
    """Gives what reads so many bytes of the earlier results from a place on.

    Raises ReconError where they cannot be read any more, or are not what they were.
    """
    path = earlier.results
    if isinstance(path, bytes):
        whole = memoryview(path)
        yield lambda start, size: whole[start : start + size]
        return

    def read(start: int, size: int) -> bytes:
        file.seek(start)
        return file.read(size)

    try:
        with path.open("rb") as file:
            yield read
            # What is held was hashed; of what is not, the hash is looked at once more, after all of it was used.
            file.seek(0)
            if hashlib.file_digest(file, "sha256").hexdigest() != earlier.sha256:
                raise ReconError(f"{path.as_posix()} changed while it was read: run again")
    except OSError as error:
        raise ReconError(f"{path.as_posix()} cannot be read any more ({error.strerror}): run again") from error
