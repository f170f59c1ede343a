"""The vends of all files in memory, in narrow columns, and which of them count.

A vend takes less than half of what it takes in the frames of the stages. So a long route is held whole
and handed out for some machines at a time: a vend of one machine never repeats, prices or explains one of another.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import polars as pl

from recon.intake.duplicates import part_duplicates
from recon.intake.mended import STANDS_FOR, as_they_stand
from recon.model.frames import NOTICES, VENDS, Frame

_LARGEST: Final = 2**31 - 1
_MULTIPLIER: Final = 0x9E3779B97F4A7C15
"""Spreads small numbers over 64 bits (the golden ratio); products wrap around."""


def narrow(vends: Frame) -> Frame:
    """Put the columns of the frame `vends` into the smallest types that hold them; an empty label column is left out.

    Machines become categories; whole numbers of 64 bits become such of 32 where all of them fit.
    """
    small = [
        column.cast(pl.Int32)
        for column in vends.iter_columns()
        if column.dtype == pl.Int64 and _or_zero(column.min()) >= -_LARGEST and _or_zero(column.max()) <= _LARGEST
    ]
    columns = vends.with_columns(*small, pl.col("machine").cast(pl.Categorical))
    return columns.drop("label") if vends["label"].null_count() == vends.height else columns


def _or_zero(value: object) -> int:
    return value if isinstance(value, int) else 0


def widened(rows: Frame) -> Frame:
    """Give narrow rows the columns and types of the frame `vends`; its `label` is null where it was left out."""
    label = [] if "label" in rows.columns else [pl.lit(None, pl.String).alias("label")]
    types = [pl.col(column.name).cast(column.dtype) for column in VENDS.columns]
    return rows.with_columns(label).select(types)


@dataclass(eq=False)
class VendRows:
    """The vends of all files, and which of them count once repeats are known."""

    stands_for: Frame = field(default_factory=lambda: pl.DataFrame(schema=STANDS_FOR))
    """The rows of files for which mended ones stand; these go by that file and line until they are handed out."""
    _parts: list[Frame] = field(default_factory=list)
    _single: list[pl.Series | None] = field(default_factory=list)
    """For each part the rows that no other can repeat; None where that holds for all."""
    _chosen: Frame = field(default_factory=VENDS.empty)
    """Of all other rows those that count."""

    def add(self, rows: Frame) -> None:
        """Take narrow rows."""
        if rows.height:
            self._parts.append(rows)
            self._single.append(None)

    def part_repeats(self) -> Frame:
        """Find the rows that repeat others. Returns the remarks on them (NOTICES), by the places in their own files.

        Only rows that share a reference with another of the machine, or a moment where they have none, are compared.
        """
        suspects = _suspects(self._parts)
        if suspects is None:
            return NOTICES.empty()
        found = [widened(part.filter(mask)) for part, mask in zip(self._parts, suspects, strict=True)]
        kept, remarks = part_duplicates(pl.concat(found), "vends", self._reach)
        self._single = [~mask for mask in suspects]
        self._chosen = kept.select(VENDS.names)
        return as_they_stand(remarks, self.stands_for, ("file", "row"), ("other_file", "other_row"))

    def _reach(self) -> Frame:
        """`file`, and up to when it goes (`reach`)."""
        parts = [part.group_by("file").agg(pl.col("time").max().alias("reach")) for part in self._parts]
        return pl.concat(parts).group_by("file").agg(pl.col("reach").max())

    @cached_property
    def machines(self) -> dict[str, int]:
        """How many rows each machine has, repeats included, by machine id."""
        counts = [part["machine"].value_counts(name="rows").cast({"machine": pl.String}) for part in self._parts]
        none = pl.DataFrame(schema={"machine": pl.String, "rows": pl.UInt32})
        every = pl.concat([none, *counts]).group_by("machine").agg(pl.col("rows").cast(pl.Int64).sum())
        return dict(every.sort("machine").iter_rows())

    @cached_property
    def _places(self) -> list[pl.Series]:
        """Return for each part and row the place of its machine among all ids in their order."""
        ids = pl.Series("machine", list(self.machines), dtype=pl.String)
        codes = ids.cast(pl.Categorical).to_physical()
        most = codes.max()
        none = pl.Series("place", [0], dtype=pl.Int32).new_from_index(0, (most if isinstance(most, int) else 0) + 1)
        place = none.scatter(codes, pl.int_range(ids.len(), dtype=pl.Int32, eager=True))
        return [place.gather(part["machine"].to_physical()) for part in self._parts]

    def of(self, first: str, last: str) -> Frame:
        """Return the vends that count of the machines whose ids lie from `first` to `last`, in no certain order."""
        own = [at for at, machine in enumerate(self.machines) if first <= machine <= last]
        if not own:
            return VENDS.empty()
        if len(own) == len(self.machines):
            return self.all()
        inside = [place.is_between(own[0], own[-1]) for place in self._places]
        chosen = self._chosen.filter(pl.col("machine").is_between(pl.lit(first), pl.lit(last)))
        return self._handed_out(lambda at, single: inside[at] if single is None else inside[at] & single, chosen)

    def all(self) -> Frame:
        """Return the vends that count, in no certain order."""
        return self._handed_out(lambda at, single: single, self._chosen)

    def _handed_out(self, wanted: Callable[[int, pl.Series | None], pl.Series | None], chosen: Frame) -> Frame:
        """Return rows of the parts as the frame `vends`, and chosen ones. wanted: which rows of a part; None: all."""
        frames = [chosen]
        for at, (part, single) in enumerate(zip(self._parts, self._single, strict=True)):
            mask = wanted(at, single)
            frames.append(widened(part if mask is None else part.filter(mask)))
        return as_they_stand(pl.concat(frames), self.stands_for, ("file", "row"))


def _suspects(parts: Sequence[Frame]) -> list[pl.Series] | None:
    """Find which rows of each part may be repeats or be repeated; None where there are none.

    Machine and reference, or machine and moment where there is none, become one number of 64 bits. Where two numbers
    differ, so do the rows; the others are compared by their text, so that a hash which two rows share by chance costs
    time alone.
    """
    keys = [_keys(part) for part in parts]
    if not keys:
        return None
    every = pl.concat(keys).sort()
    again = every.filter((every == every.shift(1)).fill_null(False)).unique()
    if again.len() == 0:
        return None
    return [key.is_in(again.implode()) for key in keys]


def _keys(part: Frame) -> pl.Series:
    machine = part["machine"].to_physical().cast(pl.UInt64) * _MULTIPLIER
    reference = part["reference"]
    named = reference.hash(seed=0)
    if reference.null_count():
        moments = part["time"].to_physical().cast(pl.UInt64) * _MULTIPLIER
        named = named.to_frame("key").select(pl.when(reference.is_null()).then(moments).otherwise("key")).to_series()
    return (named + machine).alias("key")


def by_number(rows: Frame, numbers: Mapping[int, int]) -> Frame:
    """Give rows the file numbers that their files have now, by those that they had; rows of others are left out."""
    most = max(numbers, default=0)
    place = pl.Series("file", [None], dtype=pl.Int32).new_from_index(0, most + 2)
    place = place.scatter(list(numbers), list(numbers.values())) if numbers else place
    numbered = rows["file"].max()
    there = isinstance(numbered, int) and numbered <= most + 1
    file = place.gather(rows["file"] if there else rows["file"].clip(0, most + 1)).alias("file")
    renumbered = rows.clone().replace_column(rows.columns.index("file"), file)
    return renumbered.drop_nulls("file") if file.null_count() else renumbered
