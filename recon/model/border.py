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
from recon.model.frames import TIME, Frame, FrameSpec

_MANY = 1000
"""Rows from which on sorting by one integer pays."""

_SECOND = 1_000_000
"""Microseconds."""

_APART = 1000
"""Values of a sort key for each row from which on few rows are alike in it."""


@cache
def _schema(name: str) -> Any:
    import pandera.polars as pa

    from recon.model.asked_frames import ASKED
    from recon.model.frames import ALL

    spec = next(spec for spec in (*ALL, *ASKED) if spec.name == name)
    columns = {column.name: pa.Column(column.dtype, nullable=column.nullable) for column in spec.columns}
    return pa.DataFrameSchema(columns, strict=True, ordered=True, name=spec.name)


def guard(frame: Frame, spec: FrameSpec, *, is_sorted: bool = False) -> Frame:
    """Sort `frame` by the columns its spec names, and hold it against the spec: columns, types, nulls, uniqueness.

    is_sorted: the caller has kept the row order of a frame that was sorted so; with RECON_BORDERS=full that is checked.
    Returns the sorted frame. Raises FrameError where it does not keep the spec.
    """
    full = os.environ.get("RECON_BORDERS") == "full"
    if spec.sorted_by and frame.height > 1:
        if not is_sorted:
            frame = ordered(frame, spec.sorted_by)
        elif full and not in_order(frame, spec.sorted_by):
            raise FrameError(f"the frame {spec.name} is not sorted by {', '.join(spec.sorted_by)}")
    if full or not keeps(frame, spec):
        judge(frame, spec)
    if spec.unique and frame.height > 1 and _repeats(frame, spec):
        raise FrameError(f"the frame {spec.name} has two rows with the same {', '.join(spec.unique)}")
    return frame


def ordered(frame: Frame, names: Sequence[str]) -> Frame:
    """The frame sorted by these columns, empty cells first; rows alike in all of them stay in their order.

    A large frame is sorted by one integer a row, which stands for as many of the columns as 63 bits hold; only the rows
    alike in that are sorted by the rest. The other columns are only gathered.
    """
    # Most frames are in order, and a look costs less than the sort of even a small one. Most others show it at once.
    if in_order(frame.head(_MANY), names) and (frame.height <= _MANY or in_order(frame, names)):
        return frame
    if frame.height > _MANY:
        places = _places(frame, names)
        if places is not None:
            # A column of several chunks is gathered at ten times the cost.
            return frame.rechunk()[places]
    return frame.sort([pl.col(name) for name in names], nulls_last=False, maintain_order=True)


def _places(frame: Frame, names: Sequence[str]) -> pl.Series | None:
    """Return the row numbers in the order of these columns; None where a cell is empty or not even the first column
    fits."""
    if not all(_compares(frame.schema[name]) for name in names) or _any_empty(frame, names):
        return None
    whole, used = _as_one(frame, names)
    if used == 0:
        return None
    places, whole = order_of(whole)
    alike = whole.slice(1) == whole.slice(0, frame.height - 1)
    if not alike.any():
        return places
    last = pl.Series([False])
    tied = pl.concat([last, alike], rechunk=True) | pl.concat([alike, last], rechunk=True)
    at, rows = tied.arg_true(), places.filter(tied)
    rest = {name: frame[name].gather(rows) for name in names[used:]}
    some = pl.DataFrame({"\0": whole.filter(tied), **rest, "\1": rows})
    return places.scatter(at, some.sort(some.columns)["\1"])


def in_order(frame: Frame, names: Sequence[str]) -> bool:
    """Whether the rows stand sorted by these columns, without an empty cell; False where one holds neither texts nor
    numbers nor moments.
    """
    if not all(_compares(frame.schema[name]) for name in names) or _any_empty(frame, names):
        return False
    # Column by column: most frames that are not in order show it in the first. Series are compared without a query.
    if frame.height < 2:
        return True
    alike: pl.Series | None = None
    for name in names:
        column = frame.get_column(name)
        before, after = column.slice(0, frame.height - 1), column.slice(1)
        late = after < before
        if (late if alike is None else late & alike).any():
            return False
        same = after == before
        alike = same if alike is None else same & alike
        if not alike.any():
            return True
    return True


def _compares(dtype: pl.DataType) -> bool:
    return dtype.is_integer() or dtype.is_temporal() or dtype == pl.String


def those(frame: Frame, chosen: pl.Series) -> Frame:
    """Return the rows that are chosen (Boolean; an empty cell is not). Often all of them or none are, and polars is
    asked nothing."""
    count = chosen.sum()
    return frame if count == frame.height else frame.filter(chosen) if count else frame.clear()


def order_of(values: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Return the row numbers in the order of whole numbers from 0 on, and these sorted. Where both fit into one number,
    rows of the same number stay in their order; else they stand in no certain order."""
    count, most = values.len(), values.max()
    if isinstance(most, int) and (most + 1) * count <= 2**63 - 1:
        # Sorting numbers takes a third of the time of sorting places by them, on one thread half that on two.
        both = (values * count + pl.int_range(count, eager=True)).sort(multithreaded=False)
        values = both // count
        return both - values * count, values
    places = values.arg_sort()
    return places, values.gather(places)


def _as_one(frame: Frame, names: Sequence[str]) -> tuple[pl.Series, int]:
    """Return one integer a row that sorts as the first of these columns do, and how many columns that are: as many as
    63 bits hold, and no more than it takes to tell most rows apart."""
    whole, size = pl.Series([0], dtype=pl.Int64).new_from_index(0, frame.height), 1
    for used, name in enumerate(names):
        if size > _APART * frame.height:
            return whole, used
        column = frame[name]
        places = _of_texts(column) if column.dtype == pl.String else column.cast(pl.Int64)
        least, most = places.min(), places.max()
        assert isinstance(least, int)
        assert isinstance(most, int)
        places = places - least
        if column.dtype == TIME and (places % _SECOND).max() == 0:
            places, least, most = places // _SECOND, 0, (most - least) // _SECOND
        if size * (most - least + 1) > 2**63 - 1:
            return whole, used
        size *= most - least + 1
        whole = whole * (most - least + 1) + places
    return whole, len(names)


def _of_texts(texts: pl.Series) -> pl.Series:
    """For each text its place among the different ones."""
    return texts.cast(pl.Enum(texts.unique().sort())).to_physical().cast(pl.Int64)


def keeps(frame: Frame, spec: FrameSpec) -> bool:
    """Whether the frame has the columns, types and filled cells that its spec names, by one look with polars."""
    if frame.columns != spec.names or any(
        found != column.dtype for found, column in zip(frame.dtypes, spec.columns, strict=True)
    ):
        return False
    return not _any_empty(frame, [column.name for column in spec.columns if not column.nullable])


def _any_empty(frame: Frame, names: Sequence[str]) -> bool:
    # Each column knows the count: no query is made.
    return any(frame.get_column(name).null_count() for name in names)


def judge(frame: Frame, spec: FrameSpec) -> None:
    """Hold the frame against its pandera schema. Raises FrameError where it does not keep it."""
    from pandera.errors import SchemaError, SchemaErrors

    try:
        _schema(spec.name).validate(frame, lazy=True)
    except (SchemaError, SchemaErrors) as error:
        raise FrameError(f"the frame {spec.name} does not keep its schema: {error}") from error


def _repeats(frame: Frame, spec: FrameSpec) -> bool:
    names = spec.unique or ()
    if spec.unique != spec.sorted_by:
        return bool(frame.select(pl.struct(names).is_duplicated().any()).item())
    # Sorted by the very key: equal rows are neighbours, and comparing neighbours is far cheaper than hashing.
    alike: pl.Series | None = None
    for name in names:
        column = frame.get_column(name)
        same = column.slice(1) == column.slice(0, frame.height - 1)
        alike = same if alike is None else same & alike
        if not alike.any():
            return False
    return True
