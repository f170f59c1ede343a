"""The guard at each stage border: a frame keeps its schema, or recon itself is at fault.

Pandera holds the contract of the internal frames; what is wrong with a user's data is found by rules of our own, which
carry words and places. Only eager frames are handed over: on lazy ones pandera looks at the schema alone.
"""

from functools import cache
from typing import Any

import polars as pl

from recon.model.errors import FrameError
from recon.model.frames import Frame, FrameSpec


@cache
def _schema(name: str) -> Any:
    import pandera.polars as pa

    from recon.model.frames import ALL

    spec = next(spec for spec in ALL if spec.name == name)
    columns = {column.name: pa.Column(column.dtype, nullable=column.nullable) for column in spec.columns}
    return pa.DataFrameSchema(columns, strict=True, ordered=True, name=spec.name)


def guard(frame: Frame, spec: FrameSpec) -> Frame:
    """Sort `frame` by the columns its spec names, and hold it against the spec: columns, types, nulls, uniqueness.

    Returns the sorted frame. Raises FrameError where it does not keep the spec.
    """
    from pandera.errors import SchemaError, SchemaErrors

    if spec.sorted_by:
        keys = [pl.col(name) for name in spec.sorted_by]
        frame = frame.sort(keys, nulls_last=False, maintain_order=True)
    try:
        _schema(spec.name).validate(frame, lazy=True)
    except (SchemaError, SchemaErrors) as error:
        raise FrameError(f"the frame {spec.name} does not keep its schema: {error}") from error
    if spec.unique and _repeats(frame, spec):
        raise FrameError(f"the frame {spec.name} has two rows with the same {', '.join(spec.unique)}")
    return frame


def _repeats(frame: Frame, spec: FrameSpec) -> bool:
    keys = [pl.col(name) for name in spec.unique or ()]
    if spec.unique == spec.sorted_by:
        # Sorted by the very key: equal rows are neighbours, and comparing neighbours is far cheaper than hashing.
        return bool(frame.select(pl.all_horizontal(key == key.shift() for key in keys).any()).item())
    return bool(frame.select(pl.struct(keys).is_duplicated().any()).item())
