"""A frame in parts, one a machine: put in their order once, so that a page only takes its slice."""

import polars as pl

from recon.model.frames import Frame


class Parted:
    """The rows of each machine, without its name. Their order within a machine stays as it was."""

    def __init__(self, frame: Frame) -> None:
        """frame: with a column `machine`, which may be null."""
        machines = frame["machine"]
        if not machines.is_sorted(nulls_last=False):
            frame = frame.sort("machine", nulls_last=False, maintain_order=True)
        runs = frame.select(pl.col("machine").rle()).unnest("machine")
        self._frame = frame.drop("machine")
        self._slices: dict[str | None, tuple[int, int]] = {}
        at = 0
        for length, machine in runs.iter_rows():
            self._slices[machine] = (at, length)
            at += length

    @property
    def machines(self) -> set[str]:
        """The machines that have a row."""
        return {machine for machine in self._slices if machine is not None}

    def of(self, machine: str | None) -> Frame:
        """The rows of one machine; none where it has none."""
        return self._frame.slice(*self._slices.get(machine, (0, 0)))
