"""How a frame is described: its columns, their order, and what identifies a row."""

from typing import NamedTuple, TypeAlias

import polars as pl

Frame: TypeAlias = pl.DataFrame


class Column(NamedTuple):
    """A column: its name, polars type, meaning, and whether it may be empty."""

    name: str
    dtype: pl.DataType | type[pl.DataType]
    meaning: str
    nullable: bool = False


class FrameSpec(NamedTuple):
    """A frame: one row a what, which columns, sorted by which, and which of them identify a row."""

    name: str
    row_is: str
    columns: tuple[Column, ...]
    sorted_by: tuple[str, ...]
    unique: tuple[str, ...] | None = None

    @property
    def schema(self) -> dict[str, pl.DataType | type[pl.DataType]]:
        """Column names to polars types, in order."""
        return {column.name: column.dtype for column in self.columns}

    @property
    def names(self) -> list[str]:
        """Column names, in order."""
        return [column.name for column in self.columns]

    def empty(self) -> Frame:
        """A frame of this shape without rows."""
        return pl.DataFrame(schema=self.schema)
