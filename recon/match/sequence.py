"""Events in the order of their key and moment, in which moments are searched.

There are hundreds of vends to a count or a collection. So vends are put in order once and marks are searched in them,
rather than every vend among the marks: what lies between two marks is then the difference of two cumulative sums.
"""

from dataclasses import dataclass
from typing import Final

import polars as pl

from recon.match.asof import places, places_of
from recon.model.border import order_of
from recon.model.frames import Frame

_LARGEST: Final = 2**63 - 1


@dataclass(frozen=True, slots=True)
class Sequence:
    """Events by key, and by moment within a key; those of one key and moment stand in no certain order."""

    order: pl.Series | None
    """Row of each event in what the sequence was made of; None where they stood in order."""
    keys: pl.Series
    """Key and moment of each event as one integer (Int64), sorted."""
    first: int
    """The earliest moment, in microseconds."""
    width: int
    """What one key takes of that integer: a place for each moment, and one behind the last."""
    moments: pl.Series | None
    """Where key and microseconds do not fit into 63 bits: the different moments, of which places stand in `keys`."""

    def before(self, key: pl.Expr, moment: pl.Expr) -> pl.Expr:
        """Return how many events stand before this moment (Int64, microseconds) of this key (Int64, 0 or more), those
        of smaller keys among them."""
        own = moment - self.first if self.moments is None else places_of(self.moments, moment)
        return places_of(self.keys, key * self.width + own.clip(0, self.width - 1))

    def ahead(self, key: pl.Expr) -> pl.Expr:
        """Return how many events have a smaller key than this one."""
        return places_of(self.keys, key * self.width)


def in_sequence(key: pl.Series, time: pl.Series, most: int) -> Sequence:
    """Put events in order. key: an integer, 0 or more; time: a moment; neither is ever null. most: the largest key that
    is going to be asked for.
    """
    numbers, micros = key.cast(pl.Int64), time.cast(pl.Int64)
    if key.len() == 0:
        return Sequence(None, numbers, 0, 1, None)
    ends = (numbers.max(), micros.min(), micros.max())
    largest, first, last = (end for end in ends if isinstance(end, int))
    width, moments = last - first + 2, None
    if (max(largest, most) + 1) * width > _LARGEST:
        moments = micros.unique().sort()
        width, own = moments.len() + 1, places(moments, micros)
    else:
        own = micros - first
    keys = numbers * width + own
    if keys.is_sorted():
        return Sequence(None, keys, first, width, moments)
    # Vends stand in the order of their times machine by machine: keeping to that, sorting by slot is enough.
    order, _ = order_of(numbers)
    if not (ordered := keys.gather(order)).is_sorted():
        order = keys.arg_sort()
        ordered = keys.gather(order)
    return Sequence(order, ordered, first, width, moments)


def runs_of(values: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Return for each value the number of its run of equal neighbours, from 0 on, and the value of each run."""
    return values.rle_id(), values.rle().struct.field("value").alias(values.name)


def cumulative(amounts: Frame) -> Frame:
    """Return sums up to each row: one row more than `amounts`, of which the first is 0. Int64 columns."""
    none = pl.DataFrame([pl.Series(name, [0], dtype=pl.Int64) for name in amounts.columns])
    return pl.concat([none, amounts], rechunk=True).select(pl.all().cum_sum())
