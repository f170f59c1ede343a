"""The load list: what to bring at the next visit, slot by slot, and what will have run out by then.

What is in a slot is its last count, plus loads, less removals and vends since. What is asked for is taken to be Poisson
with the slot's own rate (recon.balance.demand). A slot is filled to par, or to the smallest level that lasts until the
visit after the next with a chosen chance: the order-up-to level of a periodic review with lost sales.
"""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from math import ceil
from typing import Any, Literal

import polars as pl

from recon.balance.demand import HOUR, demand
from recon.balance.poisson import at_most, critical_ratio, expected_left, least_level
from recon.balance.selling import Selling, selling
from recon.balance.visits import visits
from recon.match.states import COST_DIGITS
from recon.model.asked_frames import PLAN_SLOTS, PLAN_VAN, PLAN_VISITS
from recon.model.border import guard
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

Fill = Literal["par", "demand", "worth"]
MOST_UNITS = 100_000
"""More than fits any slot: the limit of a level where the layout gives no capacity."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """How to plan.

    fill: to par; to the level that lasts with `chance` (demand); or, for products with a shelf life, to the level that
    earns most where what is left when it ends is lost, and all others as by demand (worth). coming, until: the visit to
    load for and the one after, as local times without a zone; a midnight stands for the day. long_days: without a
    shelf life, a level that lasts longer is pointed out. A slot is to be widened where, filled to par, it ran empty in
    `widen_share` of at least `least_windows` windows; it is to be moved or dropped where over as many windows it sells
    less than `slow` units from one visit to the next.
    """

    fill: Fill = "par"
    chance: float = 0.95
    coming: datetime | None = None
    until: datetime | None = None
    long_days: float = 90.0
    widen_share: float = 0.5
    slow: float = 1.0
    least_windows: int = 3


@dataclass(frozen=True, slots=True)
class Plan:
    """slots, visits, van: the frames `plan_slots`, `plan_visits` and `plan_van`. demand: the frame `demand` behind
    them."""

    wishes: Wishes
    demand: Frame
    slots: Frame
    visits: Frame
    van: Frame = field(repr=False)


def plan(
    done: Reconciliation,
    wishes: Wishes = Wishes(),
    *,
    machines: Collection[str] = (),
    known: Selling | None = None,
) -> Plan:
    """Plan the next visit of these machines (all where none is named), from everything that the run knows. known: as
    from `selling`, where it is worked out already.

    The layout is taken as it stands at the earliest of these visits. A slot never counted is listed without a figure to
    bring. Machines that the route does not have are passed over.
    """
    known = known or selling(done)
    coming = visits(done, known, wishes.coming, wishes.until)
    if machines:
        coming = coming.filter(pl.col("machine").is_in(list(machines)))
    at = max(done.now, min(coming["next_visit"], default=done.now))
    rates = demand(done, at=at, known=known)
    base = _base(done, known, rates, coming, at)
    rows = base.select(_LOOKED_AT).iter_rows(named=True)
    worked = pl.DataFrame([_figures(row, wishes) for row in rows], schema=_FIGURES)
    slots = _advised(pl.concat([base, worked], how="horizontal"), wishes)
    slots = guard(slots.select(PLAN_SLOTS.names), PLAN_SLOTS)
    return Plan(wishes, rates, slots, _summed(coming, slots, done), _van(slots, done))


def _base(done: Reconciliation, known: Selling, rates: Frame, coming: Frame, at: datetime) -> Frame:
    """What is known of each slot before anything is reckoned."""
    states = known.laid.states.filter(pl.col("starts") <= at).sort("slot", "starts", "state")
    now = states.unique("slot", keep="last", maintain_order=True).select(
        "slot", "tray", "capacity", "par", "price", "unit_cost"
    )
    packed = done.frames["products"].select("product", "name", "shelf_days")
    times = coming.select("machine", "next_visit", "until", "log_end", "gap_days")
    base = (
        rates.drop("units")
        .join(times, on="machine", how="inner")
        .join(now, on="slot", how="left")
        .join(packed, on="product", how="left")
        .join(_contents(known), on="slot", how="left")
    )
    known_at = pl.max_horizontal("counted_at", "log_end")
    # What the layout puts in only after all that is known: of this product nothing is in the slot yet.
    swap = (pl.col("since") > known_at).fill_null(False)
    contents = ("units", "units_low", "units_high")
    base = base.with_columns(known_at.alias("known_at"), swap.alias("swap")).with_columns(
        pl.when(pl.col("swap") & pl.col("units").is_not_null()).then(0).otherwise(pl.col(name)).alias(name)
        for name in contents
    )
    return _unmapped(base, done).sort("slot")


def _contents(known: Selling) -> Frame:
    """Units in each slot by the running balance of its last window, which is still open."""
    last = known.stock.spans.filter(pl.col("next_time").is_null())
    return last.select(
        "slot",
        pl.col("time").alias("counted_at"),
        pl.col("expected").alias("units"),
        (pl.col("expected") - pl.col("late")).alias("units_low"),
        (pl.col("expected") + pl.col("undecided")).alias("units_high"),
    )


def _unmapped(base: Frame, done: Reconciliation) -> Frame:
    """Add the units that the machine vended since a slot's last count from numbers that no slot has."""
    strays = done.frames["priced"].filter(pl.col("slot").is_null() & (pl.col("units") > 0))
    both = base.select("slot", "machine", "counted_at").join(
        strays.select("machine", "time", "units"), on="machine", how="inner"
    )
    since = both.filter(pl.col("time") >= pl.col("counted_at")).group_by("slot").agg(
        pl.col("units").sum().alias("unmapped")
    )  # fmt: skip
    return base.join(since, on="slot", how="left").with_columns(pl.col("unmapped").fill_null(0))


_FIGURES: dict[str, Any] = {
    column.name: column.dtype
    for column in PLAN_SLOTS.columns
    if column.name in {
        "units_then", "empty_chance", "empty_at", "mean", "aim", "level", "capped", "carry", "short_chance",
        "short_at", "lasts_days", "stale_units", "per_visit",
    }
}  # fmt: skip


_LOOKED_AT = (
    "rate", "next_visit", "until", "known_at", "units", "swap", "gap_days", "shelf_days", "par", "capacity", "price",
    "unit_cost",
)  # fmt: skip
"""What these figures are made of."""


def _figures(row: dict[str, Any], wishes: Wishes) -> dict[str, Any]:
    """What the distribution says of one slot. A loop over slots, never over vends."""
    rate: float | None = row["rate"]
    lead = max(0.0, (row["until"] - row["next_visit"]).total_seconds() / HOUR)
    waiting = max(0.0, (row["next_visit"] - row["known_at"]).total_seconds() / HOUR) if row["known_at"] else 0.0
    mean = None if rate is None else rate * lead
    level, aim, capped = _level(row, wishes, mean, lead)
    out: dict[str, Any] = dict.fromkeys(_FIGURES) | {"mean": mean, "aim": aim, "level": level, "capped": capped}
    units = None if row["units"] is None else max(0, row["units"])
    start = level
    if units is not None:
        before = 0.0 if rate is None or row["swap"] else rate * waiting
        out["units_then"] = expected_left(units, before)
        if level is not None:
            out["carry"] = max(0, ceil(level - out["units_then"] - 1e-9))
            # Nothing is taken out of a slot that holds more than its level.
            start = level if row["swap"] else max(level, int(out["units_then"]))
        if not row["swap"] and (rate is not None or units == 0):
            out["empty_chance"] = 1.0 if units == 0 else 1 - at_most(units - 1, before)
        out["empty_at"] = _sold_out(row["known_at"], units, rate, row["next_visit"])
    if rate is not None and mean is not None:
        out["per_visit"] = rate * row["gap_days"] * 24
        if start is not None:
            out["short_chance"] = 1 - at_most(start, mean)
            out["short_at"] = _sold_out(row["next_visit"], start, rate, row["until"])
            out["lasts_days"] = start / rate / 24 if rate > 0 else None
            if row["shelf_days"] is not None:
                out["stale_units"] = expected_left(start, rate * row["shelf_days"] * 24)
    return out


def _sold_out(start: datetime | None, units: int, rate: float | None, end: datetime) -> datetime | None:
    """When `units` are sold at this rate, from `start` on; None where not before `end`."""
    if start is None or not rate or units / rate >= (end - start) / timedelta(hours=1):
        return None
    return start + timedelta(hours=units / rate)


def _level(
    row: dict[str, Any], wishes: Wishes, mean: float | None, lead: float
) -> tuple[int | None, float | None, bool]:
    """Units to fill up to, the chance aimed at, and whether the slot does not hold what that chance asks for."""
    par: int | None = row["par"]
    if wishes.fill == "par" or mean is None:
        return par, None, False
    aim = wishes.chance
    shelf, price, cost = row["shelf_days"], row["price"], row["unit_cost"]
    if wishes.fill == "worth" and None not in (shelf, price, cost):
        aim = critical_ratio(price, Decimal(cost).scaleb(-COST_DIGITS))
        mean *= min(1.0, shelf * 24 / lead) if lead else 1.0
    most = MOST_UNITS if row["capacity"] is None else row["capacity"]
    level, capped = least_level(mean, aim, most=most)
    return level, aim, capped


def _advised(slots: Frame, wishes: Wishes) -> Frame:
    """Add outlasts, advice and sells_at: which slots to widen, move or drop, by the rules that Wishes states."""
    enough = pl.col("windows") >= wishes.least_windows
    widen = (pl.col("full") >= wishes.least_windows) & (pl.col("emptied") >= wishes.widen_share * pl.col("full"))
    own = pl.col("basis") == "own"
    slow = enough & own & (pl.col("per_visit") < wishes.slow).fill_null(False)
    place = pl.concat_str("machine", pl.lit("/"), "label")
    # Where the same product sells well enough: the best such slot of the list.
    best = (
        slots.filter(own & (pl.col("per_visit") >= wishes.slow))
        .with_columns(place.alias("best"))
        .sort("per_visit", "slot", descending=[True, False])
        .unique("product", keep="first", maintain_order=True)
        .select("product", "best")
    )
    joined = slots.join(best, on="product", how="left", maintain_order="left")
    advice = (
        pl.when(widen).then(pl.lit("widen"))
        .when(slow & pl.col("best").is_not_null()).then(pl.lit("move"))
        .when(slow).then(pl.lit("drop"))
        .otherwise(pl.lit("keep"))
    )  # fmt: skip
    long = (pl.col("lasts_days") > wishes.long_days) | ((pl.col("rate") == 0) & (pl.col("level") > 0))
    return joined.with_columns(
        advice.cast(PLAN_SLOTS.schema["advice"]).alias("advice"),
        (pl.col("shelf_days").is_null() & long).fill_null(False).alias("outlasts"),
    ).with_columns(pl.when(pl.col("advice") == "move").then("best").alias("sells_at"))


def _summed(coming: Frame, slots: Frame, done: Reconciliation) -> Frame:
    sums = slots.group_by("machine").agg(
        pl.len().cast(pl.Int64).alias("slots"),
        pl.col("units").null_count().cast(pl.Int64).alias("uncounted"),
        pl.col("carry").sum().alias("carry"),
    )
    sites = done.frames["machines"].select("machine", "site")
    joined = coming.join(sites, on="machine", how="left").join(sums, on="machine", how="left")
    filled = joined.with_columns(pl.col(name).fill_null(0) for name in ("slots", "uncounted", "carry"))
    return guard(filled.select(PLAN_VISITS.names), PLAN_VISITS)


def _van(slots: Frame, done: Reconciliation) -> Frame:
    """What to take along, product by product, in whole cases where their size is known."""
    packed = done.frames["products"].select("product", "case_size")
    wanted = slots.filter(pl.col("carry") > 0).group_by("product", "name").agg(
        pl.len().cast(pl.Int64).alias("slots"), pl.col("carry").sum().alias("units")
    )  # fmt: skip
    cases = (pl.col("units") + pl.col("case_size") - 1) // pl.col("case_size")
    van = wanted.join(packed, on="product", how="left").with_columns(cases.alias("cases"))
    van = van.with_columns((pl.col("cases") * pl.col("case_size") - pl.col("units")).alias("leftover"))
    return guard(van.select(PLAN_VAN.names), PLAN_VAN)
