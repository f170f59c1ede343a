"""How fast each slot sells: units in the hours in which it could, since it got the product that it holds.

A rate is units sold by seconds open for sale (recon.balance.selling), all hours of the day and week alike. A slot with
too little of both falls back on the sales of others, and says on whose.
"""

from datetime import datetime, timedelta

import polars as pl

from recon.balance.selling import Selling, selling, spells
from recon.balance.windows import sums_in
from recon.model.asked_frames import BASIS, DEMAND
from recon.model.border import guard
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

LEAST_OPEN = timedelta(days=7)
LEAST_UNITS = 10
"""Enough to go by: open for sale for a whole week, or this many units sold."""

HOUR = 3600


def demand(done: Reconciliation, *, at: datetime | None = None, known: Selling | None = None) -> Frame:
    """The rate of every slot in use, from all that the run knows.

    at: the moment (aware) at which the layout is looked at; by default that of the run. known: as from `selling`, where
    it is worked out already. Returns the frame `demand`: only windows from the first count of a slot on tell, and of
    these only the time in which the slot was in use with this product.
    """
    known = known or selling(done)
    moment = at or done.now
    held = spells(known.laid.states, moment)
    base = _base(known, held, moment)
    for part in (_exposure(known, held), _sold(known, held), _windows(known, held, base)):
        base = base.join(part, on="slot", how="left", maintain_order="left")
    counted = ("open_seconds", "empty_seconds", "units", "windows", "full", "emptied")
    base = base.with_columns(pl.col(name).fill_null(0) for name in counted)
    return guard(_rated(base).select(DEMAND.names), DEMAND)


def _base(known: Selling, held: Frame, at: datetime) -> Frame:
    """One row a slot in use: what it is, since when it holds its product, its par."""
    now = known.laid.states.filter(pl.col("starts") <= at).sort("slot", "starts", "state")
    now = now.unique("slot", keep="last", maintain_order=True).select("slot", "machine", "label", "product", "par")
    return held.select("slot", "since").unique("slot").join(now, on="slot", how="left").sort("slot")


def _exposure(known: Selling, held: Frame) -> Frame:
    """Time open and time empty by slot, as far as it was in use with its product."""
    both = known.segments.join(held.rename({"starts": "from", "ends": "to"}), on="slot", how="inner")
    overlap = pl.min_horizontal("ends", "to") - pl.max_horizontal("starts", "from")
    both = both.with_columns(overlap.dt.total_microseconds().clip(0).alias("span"))
    million = 1_000_000
    return both.group_by("slot").agg(
        (pl.col("span").filter("open").sum() // million).cast(pl.Int64).alias("open_seconds"),
        (pl.col("span").filter(~pl.col("open")).sum() // million).cast(pl.Int64).alias("empty_seconds"),
    )


def _sold(known: Selling, held: Frame) -> Frame:
    """Units sold by slot in the windows looked at, while it was in use with its product."""
    sold, windows = known.stock.sold, known.segments["window"].unique()
    spans = known.stock.spans.select("slot").with_columns(known.stock.places.select("begin", "end").get_columns())
    slot = pl.col("slot").cast(pl.Int64)
    stretches = held.select(
        "slot",
        since=sold.sequence.before(slot, pl.col("starts").cast(pl.Int64)),
        until=sold.sequence.before(slot, pl.col("ends").cast(pl.Int64)),
    )
    both = spans[windows].join(stretches, on="slot").select(
        "slot", begin=pl.max_horizontal("begin", "since"), end=pl.min_horizontal("end", "until")
    )
    both = both.filter(pl.col("end") > pl.col("begin"))
    return both.with_columns(sums_in(sold.sums, both)["units"]).group_by("slot").agg(pl.col("units").sum())


def _windows(known: Selling, held: Frame, base: Frame) -> Frame:
    """Closed windows with this product; of these, how many opened at par or more; of those, how many ran empty."""
    empty = known.segments.group_by("window").agg((~pl.col("open")).any().alias("ran_empty"))
    closed = known.stock.spans.filter(pl.col("next_time").is_not_null()).select(
        "slot", "time", "opening", pl.col("mark").alias("window")
    )
    own = closed.join(base.select("slot", "since", "par"), on="slot", how="inner").filter(
        pl.col("time") >= pl.col("since")
    )
    own = own.join(empty, on="window", how="inner").with_columns(
        (pl.col("opening") >= pl.col("par")).fill_null(False).alias("was_full")
    )
    return own.group_by("slot").agg(
        pl.len().cast(pl.Int64).alias("windows"),
        pl.col("was_full").sum().cast(pl.Int64).alias("full"),
        (pl.col("was_full") & pl.col("ran_empty")).sum().cast(pl.Int64).alias("emptied"),
    )


_POOLS = {
    "own": ("slot",), "machine-product": ("machine", "product"), "route-product": ("product",), "machine": ("machine",),
}  # fmt: skip
"""The bases in the order in which they are tried, each with what its slots have in common."""


def _rated(base: Frame) -> Frame:
    """Add rate, basis, basis_units and basis_seconds: of the first pool that has enough to go by."""
    for pool, shared in _POOLS.items():
        base = base.with_columns(
            pl.col(name).sum().over(*shared).alias(f"{pool}:{name}") for name in ("units", "open_seconds")
        )

    def enough(pool: str) -> pl.Expr:
        units, seconds = pl.col(f"{pool}:units"), pl.col(f"{pool}:open_seconds")
        return ((seconds >= LEAST_OPEN.total_seconds()) | (units >= LEAST_UNITS)) & (seconds > 0)

    def first(name: str) -> pl.Expr:
        found = [pl.when(enough(pool)).then(pl.col(f"{pool}:{name}")) for pool in _POOLS]
        return pl.coalesce(*found, pl.lit(0, pl.Int64))

    basis = pl.coalesce(*(pl.when(enough(pool)).then(pl.lit(pool)) for pool in _POOLS), pl.lit("none"))
    rated = base.with_columns(
        basis.cast(BASIS).alias("basis"), first("units").alias("basis_units"),
        first("open_seconds").alias("basis_seconds"),
    )  # fmt: skip
    rate = pl.col("basis_units") * HOUR / pl.col("basis_seconds")
    return rated.with_columns(pl.when(pl.col("basis") != "none").then(rate).alias("rate"))
