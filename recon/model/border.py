"""The guard at each stage border: a frame keeps its schema, or recon itself is at fault.

Pandera holds the contract of the internal frames; what is wrong with a user's data is found by rules of our own, which
carry words and places. Only eager frames are handed over: on lazy ones pandera looks at the schema alone.

Loading pandera costs more than reconciling a small route. So a frame is first looked at with polars alone; only if that
look finds a fault, or with RECON_BORDERS=full in the environment (as in all tests), does pandera judge it. That both
looks come to the same verdict is tested.
"""

import os
from collections.abc import Sequence
from functools import cache
from typing import Any

import polars as pl

from recon.model.errors import FrameError
from recon.model.frames import Frame, FrameSpec


_MANY = 1000
"""Rows from which on it pays to look whether a frame is sorted already, as most are."""


@cache
def _schema(name: str) -> Any:
    import pandera.polars as pa

    from recon.model.asked_frames import ASKED
    from recon.model.frames import ALL

    spec = next(spec for spec in (*ALL, *ASKED) if spec.name == name)
    columns = {column.name: pa.Column(column.dtype, nullable=column.nullable) for column in spec.columns}
    return pa.DataFrameSchema(columns, strict=True, ordered=True, name=spec.name)


def guard(frame: Frame, spec: FrameSpec) -> Frame:
    """Sort `frame` by the columns its spec names, and hold it against the spec: columns, types, nulls, uniqueness.

    Returns the sorted frame. Raises FrameError where it does not keep the spec.
    """
    if spec.sorted_by and not (frame.height > _MANY and in_order(frame, spec.sorted_by)):
        keys = [pl.col(name) for name in spec.sorted_by]
        frame = frame.sort(keys, nulls_last=False, maintain_order=True)
    if os.environ.get("RECON_BORDERS") == "full" or not keeps(frame, spec):
        judge(frame, spec)
    if spec.unique and _repeats(frame, spec):
        raise FrameError(f"the frame {spec.name} has two rows with the same {', '.join(spec.unique)}")
    return frame


def in_order(frame: Frame, names: Sequence[str]) -> bool:
    """Whether the rows stand sorted by these columns, of numbers or moments without an empty one; False where a column
    is neither, for others are compared as slowly as they are sorted.
    """
    if not all(frame.schema[name].is_numeric() or frame.schema[name].is_temporal() for name in names):
        return False
    if sum(frame.select(names).null_count().row(0)):
        return False
    late = pl.lit(False)
    for name in reversed(names):
        column = pl.col(name)
        before = column.shift(1)
        late = (column < before) | ((column == before) & late)
    return not frame.select(late.fill_null(False).any()).item()


def keeps(frame: Frame, spec: FrameSpec) -> bool:
    """Whether the frame has the columns, types and filled cells that its spec names, by one look with polars."""
    if frame.columns != spec.names or any(
        found != column.dtype for found, column in zip(frame.dtypes, spec.columns, strict=True)
    ):
        return False
    filled = [column.name for column in spec.columns if not column.nullable]
    return not filled or sum(frame.select(filled).null_count().row(0)) == 0


def judge(frame: Frame, spec: FrameSpec) -> None:
    """Hold the frame against its pandera schema. Raises FrameError where it does not keep it."""
    from pandera.errors import SchemaError, SchemaErrors

    try:
        _schema(spec.name).validate(frame, lazy=True)
    except (SchemaError, SchemaErrors) as error:
        raise FrameError(f"the frame {spec.name} does not keep its schema: {error}") from error


def _repeats(frame: Frame, spec: FrameSpec) -> bool:
    keys = [pl.col(name) for name in spec.unique or ()]
    if spec.unique == spec.sorted_by:
        # Sorted by the very key: equal rows are neighbours, and comparing neighbours is far cheaper than hashing.
        return bool(frame.select(pl.all_horizontal(key == key.shift() for key in keys).any()).item())
    return bool(frame.select(pl.struct(keys).is_duplicated().any()).item())
