"""A frame in parts, one a machine: put in their order once, so that a page only takes its slice."""

from collections.abc import Sequence

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
        self._whole = frame
        self._frame = frame.drop("machine")
        self._slices: dict[str | None, tuple[int, int]] = {}
        at = 0
        for length, machine in runs.iter_rows():
            self._slices[machine] = (at, length)
            at += length

    def among(self, machines: Sequence[str]) -> Frame:
        """Return the rows of some machines, with the column `machine`, in the order of the names given."""
        stretches: list[tuple[int, int]] = []
        for at, length in (self._slices[machine] for machine in machines if machine in self._slices):
            if stretches and sum(stretches[-1]) == at:
                at, length = stretches[-1][0], stretches.pop()[1] + length
            stretches.append((at, length))
        return pl.concat([self._whole.slice(0, 0), *(self._whole.slice(*stretch) for stretch in stretches)])

    @property
    def machines(self) -> set[str]:
        """The machines that have a row."""
        return {machine for machine in self._slices if machine is not None}

    def of(self, machine: str | None) -> Frame:
        """The rows of one machine; none where it has none."""
        return self._frame.slice(*self._slices.get(machine, (0, 0)))
