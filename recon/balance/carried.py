"""What is carried forward: what the vends of closed books came to, which a later run adds its own to.

A vend is past where it lies before the moment (`until`) up to which its machine is carried. Sums, extremes and lists of
first rows add up: of all vends they are those of the past and of the others put together, so that a run which holds the
others alone comes to the same. That a past vend comes to what it came to before is for recon.carrying to see.
"""

from typing import NamedTuple

import polars as pl

from recon.model import carried_frames as specs
from recon.model.frames import Frame


class Carried(NamedTuple):
    """The frames of recon.model.carried_frames, each by its name."""

    until: Frame
    sold: Frame
    moved: Frame
    cashed: Frame
    loose: Frame
    card_days: Frame
    cards: Frame
    totals: Frame
    hours: Frame
    filled: Frame
    differing: Frame
    strays: Frame
    meanwhile: Frame
    seen: Frame
    sheets: Frame
    collected: Frame
    repeated: Frame
    doubled: Frame
    settled: Frame
    told: Frame
    restated: Frame
    spelled: Frame

    def of(self, first: str, last: str, slots: pl.Series) -> "Carried":
        """That of the machines whose ids lie from `first` to `last`. slots: the numbers of theirs."""
        own = pl.col("machine").is_between(pl.lit(first), pl.lit(last))
        theirs = pl.col("slot").is_between(slots.min(), slots.max()) if slots.len() else pl.lit(False)
        return Carried(*(frame.filter(own if "machine" in frame.columns else theirs) for frame in self))

    def without(self, machines: pl.Series, slots: pl.Series) -> "Carried":
        """All but that of some machines. slots: the numbers of theirs."""
        if machines.len() == 0:
            return self
        own, theirs = ~pl.col("machine").is_in(machines.implode()), ~pl.col("slot").is_in(slots.implode())
        kept = [
            frame.filter(own if "machine" in frame.columns else theirs) if frame.height else frame for frame in self
        ]
        # Of files it is known all the same to what moment they reach.
        return Carried(*kept)._replace(seen=self.seen)


def looked_up(key: str, of: Frame, name: str) -> pl.Expr:
    """The moment `name` that `of` has for each number in the column `key`; null where it has none. of: one row a
    number."""
    most = of[key].max()
    if not isinstance(most, int):
        return pl.lit(None, of.schema[name])
    moments = pl.Series(name, [None], dtype=of.schema[name]).new_from_index(0, most + 1)
    return pl.lit(moments.scatter(of[key], of[name])).gather(pl.col(key), null_on_oob=True)


NOTHING = Carried(*(spec.empty() for spec in specs.CARRIED))


def past(vends: Frame, until: Frame) -> pl.Series:
    """Which vends lie before the moment up to which their machine is carried (Boolean). until: frame `until`.

    Vends stand machine by machine: the moment is looked up once for each stretch of one.
    """
    name = "past"
    if until.height == 0 or vends.height == 0:
        return pl.Series(name, [False], dtype=pl.Boolean).new_from_index(0, vends.height)
    stretches = vends.select(pl.col("machine").rle()).unnest("machine").rename({"value": "machine"})
    moments = stretches.join(until.select("machine", "until"), on="machine", how="left", maintain_order="left")
    own = moments["until"].gather(vends["machine"].rle_id())
    return vends.select((pl.col("time") < own).fill_null(False).alias(name)).to_series()
