"""Cash from one collection of a machine to the next: the box against the log.

over/short = collected + change of the coin tubes - price of the cash vends that stayed paid. Coins go to the tubes
first and come back out as change, so what the tubes hold more than after the last collection is money taken too.
"""

from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from recon.balance.carried import NOTHING, Carried
from recon.balance.windows import (
    added,
    brought,
    by_mark,
    into_windows,
    number_marks,
    reaching,
    tallied,
    to_carry,
    whole,
)
from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.carried_frames import CASHED, LOOSE
from recon.model.frames import CASH_WINDOWS, Frame


@dataclass(frozen=True, slots=True)
class Cash:
    """windows: the frame `cash_windows`. cashed: what of past vends is to be carried forward, by the spec of that name.
    """

    windows: Frame
    cashed: Frame


def cash_windows(
    cash: Frame,
    priced: Frame,
    layouts: Layouts,
    *,
    near: timedelta,
    past: pl.Series | None = None,
    carried: Carried = NOTHING,
) -> Cash:
    """Balance every machine that has a layout between its successive collections.

    cash: collections. priced: vends with what was paid. near: vends this close to a collection may fall on either side.
    past: which of the vends are to be carried forward. carried: what was, of vends that are not among these.
    The range of `expected` puts vends near a collection, vends without a known price and refunds that may have come
    from elsewhere than the machine to the least and to the most. Where the machine's log holds no cash vend at all,
    nothing can be expected and the figures are null.
    """
    numbers = (
        layouts.machines.select("machine")
        .with_row_index("machine_no")
        .with_columns(pl.col("machine_no").cast(pl.Int32))
    )
    marks = number_marks(_collections(cash).join(numbers, on="machine", how="inner"), "machine_no")
    own = pl.lit(False) if past is None else past
    vends = priced.select(
        "machine", "time", "priced", "stayed_paid", "quantity", "paid_low", "paid_high", "tender", "outcome",
        own.alias("past"),
    )  # fmt: skip
    paid = vends.filter((pl.col("tender") == "cash") & pl.col("outcome").is_in(["vended", "refunded"])).join(
        numbers, on="machine", how="inner"
    )
    paid = paid.select(
        "machine_no",
        "time",
        (pl.col("paid_low") * pl.col("quantity")).alias("low"),
        (pl.col("paid_high") * pl.col("quantity")).alias("high"),
        "priced",
        "stayed_paid",
        "quantity",
        "past",
    )
    events = into_windows(paid, marks, "machine_no", near)
    sums = _sums(events, marks, near, carried.cashed)
    windows = by_mark(marks, whole(sums))
    zero = ("vends", "unpriced_vends", "low", "high", "doubt", "refunds", "before", "after")
    windows = windows.with_columns(pl.col(name).fill_null(0) for name in zero)
    by_cash = priced.select("machine", "tender").filter(pl.col("tender") == "cash").select("machine")
    by_cash = pl.concat([by_cash, carried.totals.filter("logs_cash").select("machine")]).unique()
    logs_cash = by_cash.with_columns(pl.lit(True).alias("logs_cash"))
    windows = windows.join(logs_cash, on="machine", how="left", maintain_order="left")
    return Cash(guard(_shape(windows), CASH_WINDOWS), to_carry(sums, marks, "machine", CASHED))


def collection_ends(cash: Frame) -> Frame:
    """machine, first and last: the moments of its first and its last collection."""
    return cash.group_by("machine").agg(pl.col("time").min().alias("first"), pl.col("time").max().alias("last"))


def loose_cash(cash: Frame, priced: Frame, past: pl.Series) -> Frame:
    """Paid cash vends that no two collections of their machine enclose, as a frame `loose`, and `past` besides."""
    vends = priced.select(*LOOSE.names, "tender", "stayed_paid", past.alias("past"))
    paid = vends.filter((pl.col("tender") == "cash") & pl.col("stayed_paid"))
    ends = paid.join(collection_ends(cash), on="machine", how="left", maintain_order="left")
    outside = pl.col("first").is_null() | (pl.col("time") < pl.col("first")) | (pl.col("time") >= pl.col("last"))
    return ends.filter(outside).select(*LOOSE.names, "past")


def _collections(cash: Frame) -> Frame:
    """One row a machine and moment: the rows of one sheet add up, a later sheet for the same moment replaces an
    earlier.
    """
    return _sheets(cash).unique(["machine", "time"], keep="last", maintain_order=True)


def _sheets(cash: Frame) -> Frame:
    sheets = cash.sort("machine", "time", "file", "row").group_by("machine", "time", "file", maintain_order=True)
    return sheets.agg(pl.col("collected").sum(), pl.col("tubes").drop_nulls().last(), pl.col("row").last())


def restated_collections(cash: Frame) -> Frame:
    """Collections that a later sheet for the same moment gives otherwise: machine, time, file, row, collected, tubes,
    and of the sheet that counts `final`, `final_tubes`, `final_file`, `final_row`; sorted by machine, time and file.
    """
    sheets = _sheets(cash)
    sheets = sheets.filter(sheets.select("machine", "time").is_duplicated())
    final = sheets.unique(["machine", "time"], keep="last", maintain_order=True).select(
        "machine",
        "time",
        pl.col("collected").alias("final"),
        pl.col("tubes").alias("final_tubes"),
        pl.col("file").alias("final_file"),
        pl.col("row").alias("final_row"),
    )
    return (
        sheets.join(final, on=["machine", "time"], how="left")
        .filter((pl.col("collected") != pl.col("final")) | pl.col("tubes").ne_missing(pl.col("final_tubes")))
        .sort("machine", "time", "file")
    )


def _sums(events: Frame, marks: Frame, near: timedelta, carried: Frame) -> Frame:
    """What was paid in each window, by `mark` and `past`: what of past vends came to it stands in a row of its own."""
    kept = pl.col("stayed_paid")
    doubt = pl.col("near_open") | pl.col("near_close")
    inside = tallied(
        events,
        pl.col("window"),
        vends=pl.when(kept).then("quantity").otherwise(0),
        unpriced_vends=pl.when(kept & (pl.col("priced") == "range")).then("quantity").otherwise(0),
        low=pl.when(kept).then("low").otherwise(0),
        high=pl.when(kept).then("high").otherwise(0),
        doubt=pl.when(kept & doubt).then("low").otherwise(0),
        refunds=pl.when(~kept).then("high").otherwise(0),
    )
    late, early = reaching(events.filter(kept), marks, "machine_no", near)
    parts = [
        inside,
        tallied(late, pl.col("reached"), before=pl.col("high")),
        tallied(early, pl.col("reached"), after=pl.col("high")),
        brought(carried, marks, "machine"),
    ]
    return added(parts, CASHED, "machine")


def _shape(windows: Frame) -> Frame:
    closed = windows.with_columns(
        pl.col("time").alias("opened_at"),
        pl.col("next_time").alias("closed_at"),
        *(
            pl.col(name).shift(-1).over("machine_no").alias(f"close_{name}")
            for name in ("collected", "tubes", "file", "row")
        ),
        pl.col("logs_cash").fill_null(False),
    ).filter(pl.col("next_time").is_not_null())
    tube_change = pl.col("close_tubes") - pl.col("tubes")
    known = pl.col("logs_cash")
    expected = pl.when(known).then("low")
    return closed.select(
        "machine",
        "opened_at",
        "closed_at",
        "vends",
        "unpriced_vends",
        expected.alias("expected"),
        pl.when(known).then(pl.col("low") - pl.col("doubt")).alias("expected_low"),
        pl.when(known)
        .then(pl.col("high") + pl.col("refunds") + pl.col("before") + pl.col("after"))
        .alias("expected_high"),
        (pl.col("high") - pl.col("low")).alias("unpriced_span"),
        pl.col("close_collected").alias("collected"),
        tube_change.alias("tube_change"),
        (pl.col("close_collected") + tube_change.fill_null(0) - expected).alias("over_short"),
        "logs_cash",
        pl.col("close_file").alias("file"),
        pl.col("close_row").alias("row"),
        pl.col("file").alias("open_file"),
        pl.col("row").alias("open_row"),
    )
