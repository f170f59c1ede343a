"""Stock windows: what ought to be in a slot when it is counted again.

A window runs from one count of a slot to the next. Units are whole numbers; a negative variance is short. Source: US
Navy, Ship's Serviceman (NAVEDTRA 14239), control without a meter: start + put in - remaining = sold, each machine by
itself, units before money.
"""

from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from recon.balance.rounding import cost_minor
from recon.balance.windows import (
    by_mark,
    doubtful,
    following,
    into_windows,
    number_marks,
    places_in,
    summed,
    sums_in,
)
from recon.match.asof import in_force
from recon.match.sequence import Sequence, cumulative, in_sequence
from recon.match.states import Layouts
from recon.model.border import guard, ordered
from recon.model.frames import STOCK_WINDOWS, Frame

REMOVAL, LOAD, VEND = range(3)
"""The order of moves within one moment."""


@dataclass(frozen=True, slots=True)
class SlotVends:
    """The vends that left a slot, slot by slot in the order of their moments: what sold up to any moment is one search.
    """

    vends: Frame
    """slot, time, units, outcome, file and row of all vends, as they stand in `priced`."""
    rows: pl.Series
    """Row in `vends` of each vend that left a slot, in the order of `sequence`."""
    sequence: Sequence
    """These vends by slot and moment."""
    sums: Frame
    """`units` and `refunded`: units, and refunded units, of all vends before each of these, and of all of them."""

    def between(self, places: Frame) -> Frame:
        """Return the vends from `begin` to before `end` of each row of `places`, with its other columns and `nth`, the
        place of the vend."""
        runs = places.with_columns(nth=pl.int_ranges("begin", "end"))
        each = runs.explode("nth", empty_as_null=False, keep_nulls=False)
        rows = self.rows.to_frame()[each["nth"]].to_series()
        return each.hstack(self.vends[rows].get_columns())


@dataclass(frozen=True, slots=True)
class Stock:
    """How the stock windows came about."""

    windows: Frame
    """The frame `stock`."""
    spans: Frame
    """All windows, the open ones at the end included, with what moved in them."""
    sold: SlotVends
    """The vends behind them."""
    places: Frame
    """Where each span lies among these vends, in the order of `mark` (recon.balance.windows.places_in)."""
    filled: Frame
    """Every load and removal by window, as in `moves_of`."""
    restated: Frame
    """Counts that a later sheet put right, with what counts instead."""
    early: Frame
    """Vends and loads of slots that came before any count."""

    def moves_of(self, windows: pl.Series) -> Frame:
        """Return every load, removal and vend of these windows (numbers of marks).

        Returns slot, window, time, file, row, change (of units), rank (the order within a moment: removal 0, load 1,
        vend 2) and undecided (Boolean: it may belong to another window, or was refunded).
        """
        marks = windows.unique().sort()
        vends = self.sold.between(self.places[marks].hstack([marks.alias("window")]))
        near = (pl.col("nth") < pl.col("open_end")) | (pl.col("nth") >= pl.col("close_begin"))
        sold = vends.select(
            "slot", "window", "time", "file", "row", (-pl.col("units")).alias("change"), pl.lit(VEND).alias("rank"),
            (near | (pl.col("outcome") == "refunded")).alias("undecided"),
        )  # fmt: skip
        return pl.concat([self.filled.filter(pl.col("window").is_in(marks.implode())), sold])


def stock_windows(
    counts: Frame,
    loads: Frame,
    priced: Frame,
    layouts: Layouts,
    *,
    near: timedelta,
    count_first: bool,
) -> Stock:
    """Balance every slot between its successive counts.

    counts, loads: with `slot` (rows without one are left out). priced: vends with `slot` and `units`. near: vends this
    close to a count may fall on either side of it. count_first: a sheet's count stands before its loads and removals.
    """
    placed = counts.drop_nulls("slot") if counts["slot"].null_count() else counts
    in_files = ordered(placed.filter(pl.col("counted").is_not_null()), ("file", "row"))
    seen = ordered(in_files, ("slot", "time"))
    followed = (pl.col("slot") == pl.col("slot").shift(-1)) & (pl.col("time") == pl.col("time").shift(-1))
    last = seen.filter(~followed.fill_null(False))
    marks = number_marks(last.select("slot", "time", "counted", "file", "row"), "slot")
    filled = into_windows(_load_events(placed, last, loads), marks, "slot", near, mark_first=count_first)
    sold = _by_slot(priced, marks)
    places = places_in(sold.sequence, marks, "slot", near)
    spans = _spans(marks, filled, _sums(sold, places))
    return Stock(
        windows=guard(_closed(spans, layouts, near), STOCK_WINDOWS),
        spans=spans,
        sold=sold,
        places=places,
        filled=_loads_as_moves(filled),
        restated=_restated(seen, last),
        early=_early(sold, loads, marks, places),
    )


def _by_slot(priced: Frame, marks: Frame) -> SlotVends:
    vends = priced.select("slot", "time", "units", "outcome", "file", "row")
    gone = vends["slot"].is_not_null() & (vends["units"] > 0)
    rows = gone.arg_true()
    most = marks["slot"][-1] if marks.height else 0
    slot, time = (vends[name].gather(rows) if rows.len() < vends.height else vends[name] for name in ("slot", "time"))
    sequence = in_sequence(slot, time, most + 1)
    rows = rows if sequence.order is None else rows.gather(sequence.order)
    units = vends["units"].gather(rows)
    refunded = pl.when(pl.Series(vends["outcome"].gather(rows) == "refunded")).then(units).otherwise(0)
    return SlotVends(vends, rows, sequence, cumulative(pl.select(units=units, refunded=refunded)))


def _load_events(placed: Frame, last: Frame, loads: Frame) -> Frame:
    """Loads and removals of count sheets and load slips. Where a sheet was put right, only the later one's count."""
    columns = ["slot", "time", "loaded", "removed", "file", "row"]
    blank = placed.filter(pl.col("counted").is_null()).join(
        last.select("slot", "time", pl.col("file").alias("last_file"), pl.col("row").alias("last_row")),
        on=["slot", "time"],
        how="left",
    )
    # A line left blank, and filled in by a later sheet for the same moment, was put right with its loads.
    later = (pl.col("last_file") > pl.col("file")) | (
        (pl.col("last_file") == pl.col("file")) & (pl.col("last_row") > pl.col("row"))
    )
    blank = blank.filter(~later.fill_null(False))
    slips = loads.filter(pl.col("slot").is_not_null())
    both = pl.concat([last.select(columns), blank.select(columns), slips.select(columns)])
    return both.filter((pl.col("loaded") > 0) | (pl.col("removed") > 0))


def _sums(sold: SlotVends, places: Frame) -> Frame:
    """Add up what was sold in each window, and what was sold beside it and may belong to it; one row a mark."""
    units = sold.sums.select("units")
    all_of, near_of = sums_in(sold.sums, places), doubtful(sold.sums, places)
    before, after = sums_in(units, places, "late_begin", "begin"), sums_in(units, places, "end", "early_end")
    any_sold = places["end"] > places["begin"]
    # The last vend of a window stands before its end.
    ends = places.select(pl.when(pl.Series(any_sold)).then(pl.col("end") - 1)).to_series()
    return pl.DataFrame(
        {
            "vended": all_of["units"],
            # A refunded one is undecided, near a count or not.
            "undecided": near_of["units"] + all_of["refunded"] - near_of["refunded"],
            "events": places["end"] - places["begin"],
            "last_vend": sold.vends["time"].gather(sold.rows.gather(ends)),
            "late": before["units"],
            "early": after["units"],
        }
    )


def _spans(marks: Frame, filled: Frame, sums: Frame) -> Frame:
    opens = pl.col("at_opening")
    filled = filled.join(
        marks.select("mark", pl.col("time").alias("opened")), left_on="window", right_on="mark", how="left"
    )
    filled = filled.with_columns((pl.col("time") == pl.col("opened")).fill_null(False).alias("at_opening"))
    put = summed(
        filled,
        pl.col("window"),
        at_open=pl.when(opens).then(pl.col("loaded") - pl.col("removed")).otherwise(0),
        loaded=pl.when(opens).then(0).otherwise("loaded"),
        removed=pl.when(opens).then(0).otherwise("removed"),
    )
    out = by_mark(marks, put).with_columns(pl.col(name).fill_null(0) for name in ("at_open", "loaded", "removed"))
    out = out.with_columns(sums.get_columns())
    return out.with_columns(
        (pl.col("counted") + pl.col("at_open")).alias("opening"),
        *(following(name, "slot").alias(f"close_{name}") for name in ("counted", "file", "row")),
    ).with_columns((pl.col("opening") + pl.col("loaded") - pl.col("removed") - pl.col("vended")).alias("expected"))


def _closed(spans: Frame, layouts: Layouts, near: timedelta) -> Frame:
    """The windows that a count closes, with product, price and cost as they stood when that visit began."""
    closed = spans.filter(pl.col("next_time").is_not_null()).with_columns(
        pl.col("time").alias("opened_at"),
        pl.col("next_time").alias("closed_at"),
        pl.max_horizontal("time", pl.col("next_time") - near).alias("look_at"),
        (pl.col("close_counted") - pl.col("expected")).alias("variance"),
    )
    history = layouts.states.select("slot", "state", "starts", "product", "price", "unit_cost")
    held = in_force(closed, history, key="slot", at="look_at", since="starts", tie="state")
    value = pl.col("variance")
    return held.join(layouts.slots, on="slot", how="left").select(
        "slot",
        "machine",
        "label",
        "product",
        "opened_at",
        "closed_at",
        "opening",
        "loaded",
        "removed",
        "vended",
        "expected",
        pl.col("close_counted").alias("counted"),
        "variance",
        (value - pl.col("undecided")).alias("variance_low"),
        (value + pl.col("late") + pl.col("early")).alias("variance_high"),
        "price",
        "unit_cost",
        (value * pl.col("price")).alias("retail_value"),
        cost_minor(value, pl.col("unit_cost")).alias("cost_value"),
        pl.col("file").alias("open_file"),
        pl.col("row").alias("open_row"),
        "close_file",
        "close_row",
    )


def _loads_as_moves(filled: Frame) -> Frame:
    """Return every load and removal with its window, as a change of units."""
    shape = ["slot", "window", "time", "file", "row", "change", "rank", "undecided"]
    decided = pl.lit(False).alias("undecided")
    parts = [
        filled.with_columns((-pl.col("removed")).alias("change"), pl.lit(REMOVAL).alias("rank"), decided),
        filled.with_columns(pl.col("loaded").alias("change"), pl.lit(LOAD).alias("rank"), decided),
    ]
    return pl.concat(parts).filter(pl.col("change") != 0).select(shape)


def _restated(seen: Frame, last: Frame) -> Frame:
    """Return counts that a later sheet contradicts: same slot, same moment, another figure."""
    if seen.height == last.height:
        seen = seen.clear()
    final = last.select(
        "slot",
        "time",
        pl.col("counted").alias("final"),
        pl.col("file").alias("final_file"),
        pl.col("row").alias("final_row"),
    )
    differing = seen.join(final, on=["slot", "time"], how="left").filter(pl.col("counted") != pl.col("final"))
    return differing.sort("slot", "time", "file", "row")


def _early(sold: SlotVends, loads: Frame, marks: Frame, places: Frame) -> Frame:
    """Return slots with vends or loads before their first count, or without any: from when, how many units, which rows.
    """
    # Marks stand slot by slot, in the order of their times.
    own = marks.filter((pl.col("slot") != pl.col("slot").shift()).fill_null(True))
    firsts = own.select("slot", pl.col("time").alias("first_count"), begin=places["begin"].gather(own["mark"]))
    shape = ("slot", "time", "units", "file", "row")
    put = loads.filter(pl.col("slot").is_not_null()).with_columns(pl.lit(0, pl.Int64).alias("units"))
    events = pl.concat([sold.between(_before(sold, firsts)).select(shape), put.select(shape)])
    events = events.join(firsts, on="slot", how="left").drop("begin")
    if events.height == 0:
        return events
    return events.filter(pl.col("first_count").is_null() | (pl.col("time") < pl.col("first_count"))).sort(
        "slot", "time", "file", "row"
    )


def _before(sold: SlotVends, firsts: Frame) -> Frame:
    """Find where the vends of each slot that sold begin, and where they end or its first count stands (`begin`, `end`).
    """
    keys = sold.sequence.keys
    if keys.len() == 0:
        return pl.DataFrame(schema={"begin": pl.Int64, "end": pl.Int64})
    least, most = keys[0] // sold.sequence.width, keys[-1] // sold.sequence.width
    slots = pl.int_range(least, most + 1, dtype=pl.Int32, eager=True).to_frame("slot")
    number = pl.col("slot").cast(pl.Int64)
    known = slots.join(firsts, on="slot", how="left", maintain_order="left")
    ends = pl.coalesce("begin", sold.sequence.ahead(number + 1))
    return known.select(begin=sold.sequence.ahead(number), end=ends)
