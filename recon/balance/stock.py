"""Stock windows: what ought to be in a slot when it is counted again.

A window runs from one count of a slot to the next. Units are whole numbers; a negative variance is short. Source: US
Navy, Ship's Serviceman (NAVEDTRA 14239), control without a meter: start + put in - remaining = sold, each machine by
itself, units before money.
"""

from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from recon.balance.rounding import cost_minor
from recon.balance.windows import by_mark, following, into_windows, number_marks, reaching, summed
from recon.match.asof import in_force
from recon.match.states import Layouts
from recon.model.border import guard, ordered
from recon.model.frames import STOCK_WINDOWS, Frame


@dataclass(frozen=True, slots=True)
class Stock:
    """windows: the frame `stock`. spans: all windows, the open ones at the end included, with what moved in them.
    moves: every load, removal and vend by window. restated: counts that a later sheet put right, with what counts
    instead. early: slots whose vends or loads came before any count.
    """

    windows: Frame
    spans: Frame
    moves: Frame
    restated: Frame
    early: Frame


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
    vends = priced.select("slot", "time", "units", "outcome", "file", "row")
    gone = vends.filter(pl.col("slot").is_not_null() & (pl.col("units") > 0))
    sold = into_windows(gone, marks, "slot", near)
    spans = _spans(marks, filled, _sums(sold, marks, near))
    return Stock(
        windows=guard(_closed(spans, layouts, near), STOCK_WINDOWS),
        spans=spans,
        moves=_moves(filled, sold),
        restated=_restated(seen, last),
        early=_early(gone, loads, marks),
    )


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


def _sums(sold: Frame, marks: Frame, near: timedelta) -> list[Frame]:
    """Add up what was sold in each window, and what was sold beside it and may belong to it."""
    undecided = pl.col("near_open") | pl.col("near_close") | (pl.col("outcome") == "refunded")
    late, early = reaching(sold, marks, "slot", near)
    return [
        summed(
            sold,
            pl.col("window"),
            vended=pl.col("units"),
            undecided=pl.when(undecided).then("units").otherwise(0),
            events=pl.lit(1, pl.Int64),
            last_vend=pl.col("time"),
        ),
        summed(late, pl.col("reached"), late=pl.col("units")),
        summed(early, pl.col("reached"), early=pl.col("units")),
    ]


def _spans(marks: Frame, filled: Frame, sums: list[Frame]) -> Frame:
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
    zero = ("at_open", "loaded", "removed", "vended", "undecided", "events", "late", "early")
    out = by_mark(marks, put, *sums).with_columns(pl.col(name).fill_null(0) for name in zero)
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


def _moves(filled: Frame, sold: Frame) -> Frame:
    """Every load, removal and vend with its window, as a change of units; `rank` is its order within a moment."""
    shape = ["slot", "window", "time", "file", "row", "change", "rank", "undecided"]
    doubt = pl.col("near_open") | pl.col("near_close") | (pl.col("outcome") == "refunded")
    parts = [
        filled.with_columns(
            (-pl.col("removed")).alias("change"), pl.lit(0).alias("rank"), pl.lit(False).alias("undecided")
        ),
        filled.with_columns(
            pl.col("loaded").alias("change"), pl.lit(1).alias("rank"), pl.lit(False).alias("undecided")
        ),
        sold.with_columns((-pl.col("units")).alias("change"), pl.lit(2).alias("rank"), doubt.alias("undecided")),
    ]
    return pl.concat([part.select(shape) for part in parts]).filter(pl.col("change") != 0)


def _restated(seen: Frame, last: Frame) -> Frame:
    """Counts that a later sheet contradicts: same slot, same moment, another figure."""
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


def _early(sold: Frame, loads: Frame, marks: Frame) -> Frame:
    """Slots with vends or loads before their first count, or without any: from when, how many units, which rows."""
    # Marks stand slot by slot, in the order of their times.
    firsts = marks.filter((pl.col("slot") != pl.col("slot").shift()).fill_null(True)).select(
        "slot", pl.col("time").alias("first_count")
    )  # fmt: skip
    shape = ("slot", "time", "units", "file", "row")
    put = loads.filter(pl.col("slot").is_not_null()).with_columns(pl.lit(0, pl.Int64).alias("units"))
    events = pl.concat([part.select(shape) for part in (sold, put)]).join(firsts, on="slot", how="left")
    return events.filter(pl.col("first_count").is_null() | (pl.col("time") < pl.col("first_count"))).sort(
        "slot", "time", "file", "row"
    )
