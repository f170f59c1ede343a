"""The vends of all files before repeats are parted, where they are too many to be held at once.

They are laid down as Parquet in a temporary folder, sorted by machine, and read again for some machines at a time: a
vend of one machine never repeats, prices or explains one of another. What earlier runs kept is read where it is kept.
"""

import io
import shutil
import tempfile
import weakref
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import polars as pl

from recon.intake.kept import Keeper, KeptPart, by_batch
from recon.model.border import guard
from recon.model.carried_frames import SEEN, UNTIL
from recon.model.errors import ReconError
from recon.model.frames import VENDS, Frame

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

    def scan_files(self, files: Collection[int]) -> pl.LazyFrame | None:
        """The rows of some files alone, by their numbers in this run; None where it has none of them. That is asked of
        the numbers in the table, before anything else of a row is read."""
        numbers = {then: now for then, now in self.numbers.items() if now in files}
        if not numbers:
            return None
        rows = pl.scan_parquet(self.path).filter(pl.col("file").is_in(sorted(numbers)))
        return rows.with_columns(pl.col("file").replace_strict(numbers, return_dtype=pl.Int32))


@dataclass(eq=False)
class VendRows:
    """Rows of the shape VENDS, in memory or laid down. They are there as long as this object is.

    until: as a frame `until`, machines of which only the rows from a moment on are asked for.
    """

    _held: list[Frame] = field(default_factory=list)
    _tables: list[_Table] = field(default_factory=list)
    _folder: Path | None = None
    _known: Frame = field(default_factory=SEEN.empty)
    _looked_through: frozenset[int] = frozenset()
    until: Frame = field(default_factory=UNTIL.empty)
    _of: "VendRows | None" = None

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

    def later(self, until: Frame) -> "VendRows":
        """The same rows, but of some machines those from a moment on alone. until: see the class."""
        return VendRows(self._held, self._tables, until=until, _of=self)

    def know(self, seen: Frame, files: Collection[int]) -> None:
        """Take what earlier runs saw of some files, all of it, as a frame `seen`: they are not looked through again.

        files: the numbers of these, those among them that hold no vends.
        """
        assert "seen" not in self.__dict__, "all files were looked through already"
        self._known, self._looked_through = seen, frozenset(files)

    @property
    def _in_memory(self) -> list[pl.LazyFrame]:
        return [frame.lazy().with_columns(pl.col(pl.Categorical, pl.Enum).cast(pl.String)) for frame in self._held]

    def _scans(self) -> list[pl.LazyFrame]:
        return [*(table.scan() for table in self._tables), *self._in_memory]

    def _asked(self) -> list[pl.LazyFrame]:
        """Of all rows those that are asked for."""
        if self.until.height == 0:
            return self._scans()
        first, machines = self.until["until"].min(), self.until["machine"].implode()
        ends = self.until.select("machine", "until")
        late = pl.col("until").is_null() | (pl.col("time") >= pl.col("until"))
        reach = self.seen.join(ends, on="machine", how="left")
        files = set(reach.filter(pl.col("until").is_null() | (pl.col("last") >= pl.col("until")))["file"])
        scans = [scan for table in self._tables if (scan := table.scan_files(files)) is not None]
        if reach["until"].null_count():
            # A look at time and machine alone passes over most rows before anything else of them is read.
            maybe = (pl.col("time") >= pl.lit(first)) | ~pl.col("machine").is_in(machines)
            scans = [rows.filter(maybe) for rows in scans]
        return [
            rows.join(ends.lazy(), on="machine", how="left").filter(late).drop("until")
            for rows in (*scans, *self._in_memory)
        ]

    @cached_property
    def _at_hand(self) -> list[Frame]:
        """The rows that are asked for, taken into memory once."""
        return pl.collect_all(self._asked())

    @cached_property
    def seen(self) -> Frame:
        """What machines are in which files, from when to when (frame `seen`): of all rows, asked for or not.

        Mended rows count for the files in which they stood.
        """
        if self._of is not None:
            return self._of.seen
        files = self._looked_through
        unknown = ~pl.col("file").is_in(sorted(files))
        tables = [
            table.scan().filter(unknown) for table in self._tables if not files.issuperset(table.numbers.values())
        ]
        own = [
            rows.group_by("machine", "file").agg(
                pl.col("time").min().alias("first"), pl.col("time").max().alias("last"),
                pl.len().cast(pl.Int64).alias("rows"),
            )
            for rows in (*tables, *(frame.lazy() for frame in self._held))
        ]  # fmt: skip
        parts = pl.concat([self._known, *(part.select(SEEN.names) for part in pl.collect_all(own))])
        every = parts.group_by("machine", "file").agg(
            pl.col("first").min(), pl.col("last").max(), pl.col("rows").sum()
        )
        return guard(every, SEEN)

    @cached_property
    def machines(self) -> dict[str, int]:
        """How many rows each machine has at most of those that are asked for, by machine id."""
        ends = self.seen.join(self.until.select("machine", "until"), on="machine", how="left")
        late = pl.col("until").is_null() | (pl.col("last") >= pl.col("until"))
        counts = ends.group_by("machine").agg(pl.when(late).then("rows").otherwise(0).sum())
        return dict(counts.sort("machine").iter_rows())

    @cached_property
    def reach(self) -> Frame:
        """`file`, and up to when it goes (`reach`), whatever of it is asked for."""
        return self.seen.group_by("file").agg(pl.col("last").max().alias("reach"))

    def clashing(self, ends_of_references: Frame, *, hold: bool) -> list[str]:
        """Machines of which a row that is asked for has the reference of one that is not: the two may be one vend.

        ends_of_references: of the rows that are not asked for, by machine, the bytes of the longest reference
        (`longest`), and the greatest of that length (`greatest`). hold: whether the rows that are asked for may be
        taken into memory for it, and stay there.
        """
        rows_asked = [rows.lazy() for rows in self._at_hand] if hold else self._asked()
        ends = self.until.lazy().select("machine", "until")
        named = pl.col("reference").is_not_null()
        size = pl.col("reference").str.len_bytes()
        beyond = (size > pl.col("longest")) | ((size == pl.col("longest")) & (pl.col("reference") > pl.col("greatest")))
        known = ends_of_references.lazy().select("machine", "longest", "greatest")
        asked = [
            rows.filter(named).select("machine", "reference").join(known, on="machine", how="inner")
            .filter(~beyond.fill_null(True)).select("machine", "reference")
            for rows in rows_asked
        ]  # fmt: skip
        within = pl.concat([pl.DataFrame(schema=_NAMED), *pl.collect_all(asked)]).unique()
        if within.height == 0:
            return []
        late = within.lazy()
        early = named & (pl.col("time") < pl.lit(self.until["until"].max()))
        found = [
            rows.filter(early)
            .select("machine", "reference", "time")
            .join(late, on=["machine", "reference"], how="semi")
            .join(ends, on="machine", how="inner")
            .filter(pl.col("time") < pl.col("until"))
            .select(pl.col("machine").unique())
            for rows in self._scans()
        ]
        return sorted({machine for part in pl.collect_all(found) for machine in part["machine"]})

    def of(self, first: str, last: str) -> Frame:
        """The rows of the machines whose ids lie from `first` to `last`, in no certain order."""
        own = pl.col("machine").is_between(pl.lit(first), pl.lit(last))
        held = self.__dict__.get("_at_hand")
        frames = pl.collect_all([rows.filter(own) for rows in self._asked()]) if held is None else [
            rows.filter(own) for rows in held
        ]  # fmt: skip
        typed = [pl.col(column.name).cast(column.dtype) for column in VENDS.columns]
        return pl.concat([VENDS.empty(), *(frame.select(typed) for frame in frames)])


_NAMED = {"machine": pl.String, "reference": pl.String}
