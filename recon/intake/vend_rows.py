"""The vends of all files before repeats are parted, where they are too many to be held at once.

They are laid down as Parquet in a temporary folder, sorted by machine, and read again for some machines at a time: a
vend of one machine never repeats, prices or explains one of another. What earlier runs kept is read where it is kept.
"""

import io
import shutil
import tempfile
import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import polars as pl

from recon.intake.kept import Keeper, KeptPart, by_batch
from recon.model.errors import ReconError
from recon.model.frames import TIME, VENDS, Frame

ROWS_A_GROUP = 32_768
"""Rows of a Parquet row group. Those whose machines are not asked for are not read: the smaller, the fewer."""


def by_machine(rows: Frame) -> Frame:
    """Rows sorted by `machine`, those of a machine in the order in which they stood.

    Ids are put in order once, and rows by the place of theirs: that takes a quarter of the time of sorting them as
    texts.
    """
    ids = pl.Enum(rows["machine"].drop_nulls().unique().sort())
    return rows.sort(pl.col("machine").cast(ids).to_physical(), maintain_order=True)


def vends_as_parquet(rows: Frame) -> bytes:
    """Rows with a `machine` and a `file` as a Parquet file, sorted so that a reader can pass over other machines."""
    # Categories as text: how they are numbered differs from one process to the next.
    plain = rows.with_columns(pl.col(pl.Categorical, pl.Enum).cast(pl.String))
    buffer = io.BytesIO()
    by_machine(plain).write_parquet(buffer, compression="zstd", compression_level=1, row_group_size=ROWS_A_GROUP)
    return buffer.getvalue()


@dataclass(frozen=True, slots=True)
class _Table:
    """A Parquet file of vends. numbers: its file numbers, and those of this run."""

    path: Path
    numbers: Mapping[int, int]

    def scan(self) -> pl.LazyFrame:
        rows = pl.scan_parquet(self.path)
        now = pl.col("file").replace_strict(dict(self.numbers), default=None, return_dtype=pl.Int32)
        return rows.with_columns(now).filter(pl.col("file").is_not_null())


@dataclass(eq=False)
class VendRows:
    """Rows of the shape VENDS, in memory or laid down. They are there as long as this object is."""

    _held: list[Frame] = field(default_factory=list)
    _tables: list[_Table] = field(default_factory=list)
    _folder: Path | None = None

    @property
    def laid_down(self) -> bool:
        """Whether any rows are out of memory."""
        return bool(self._tables)

    def take(self, frames: Sequence[Frame]) -> None:
        """Hold rows in memory."""
        self._held += [frame.select(VENDS.names) for frame in frames]

    def lay_down(self, frames: Sequence[Frame], files: Sequence[int]) -> Path | None:
        """Write rows to a file of their own, and return it. None where there are none.

        files: those that the rows come from; in the file each goes by its place among these.
        Raises ReconError where there is no room for them.
        """
        if not frames:
            return None
        place = {number: at for at, number in enumerate(files)}
        rows = pl.concat([frame.select(VENDS.names) for frame in frames])
        placed = rows.with_columns(pl.col("file").replace_strict(place, return_dtype=pl.Int32))
        try:
            if self._folder is None:
                self._folder = Path(tempfile.mkdtemp(prefix="recon-"))
                weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
            path = self._folder / f"{len(self._tables)}.parquet"
            path.write_bytes(vends_as_parquet(placed))
        except OSError as error:
            where = self._folder or "a temporary folder"
            raise ReconError(
                f"{rows.height:,} vends cannot be laid down in {where}: {error}. They are too many to be held at once: "
                "make room there, or name another folder in the environment as TMPDIR, then run again"
            ) from error
        self._tables.append(_Table(path, dict(enumerate(files))))
        return path

    def put_back(self, keeper: Keeper, places: Sequence[tuple[KeptPart, int]]) -> None:
        """Add what is kept of files read before, each with the number that it has now."""
        for name, numbers in by_batch(places):
            self._tables += [_Table(path, numbers) for _, path in keeper.tables("vends", [name])]

    @property
    def _in_memory(self) -> list[pl.LazyFrame]:
        return [frame.lazy().with_columns(pl.col(pl.Categorical, pl.Enum).cast(pl.String)) for frame in self._held]

    def _scans(self) -> list[pl.LazyFrame]:
        return [*(table.scan() for table in self._tables), *self._in_memory]

    @cached_property
    def seen(self) -> Frame:
        """What machines are in which files: machine, file, last (moment of its last row), rows.

        Mended rows count for the files in which they stood.
        """
        own = [
            rows.group_by("machine", "file").agg(
                pl.col("time").max().alias("last"), pl.len().cast(pl.Int64).alias("rows")
            )
            for rows in self._scans()
        ]
        none = pl.DataFrame(schema={"machine": pl.String, "file": pl.Int32, "last": TIME, "rows": pl.Int64})
        parts = pl.concat([none, *pl.collect_all(own)])
        return parts.group_by("machine", "file").agg(pl.col("last").max(), pl.col("rows").sum())

    @cached_property
    def machines(self) -> dict[str, int]:
        """How many rows each machine has, by machine id."""
        counts = self.seen.group_by("machine").agg(pl.col("rows").sum())
        return dict(counts.sort("machine").iter_rows())

    @cached_property
    def reach(self) -> Frame:
        """`file`, and up to when it goes (`reach`)."""
        return self.seen.group_by("file").agg(pl.col("last").max().alias("reach"))

    def of(self, first: str, last: str) -> Frame:
        """The rows of the machines whose ids lie from `first` to `last`, in no certain order."""
        own = pl.col("machine").is_between(pl.lit(first), pl.lit(last))
        frames = pl.collect_all([rows.filter(own) for rows in self._scans()])
        typed = [pl.col(column.name).cast(column.dtype) for column in VENDS.columns]
        return pl.concat([VENDS.empty(), *(frame.select(typed) for frame in frames)])
