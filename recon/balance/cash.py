"""Cash from one collection of a machine to the next: the box against the log.

over/short = collected + change of the coin tubes - price of the cash vends that stayed paid. Coins go to the tubes
first and come back out as change, so what the tubes hold more than after the last collection is money taken too.
"""

from datetime import timedelta

import polars as pl

from recon.balance.windows import by_mark, into_windows, number_marks, reaching, summed
from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.frames import CASH_WINDOWS, Frame


def cash_windows(cash: Frame, priced: Frame, layouts: Layouts, *, near: timedelta) -> Frame:
    """Balance every machine that has a layout between its successive collections.

    cash: collections. priced: vends with what was paid. near: vends this close to a collection may fall on either side.
    Returns the frame `cash_windows`. The range of `expected` puts vends near a collection, vends without a known price
    and refunds that may have come from elsewhere than the machine to the least and to the most. Where the machine's log
    holds no cash vend at all, nothing can be expected and the figures are null.
    """
    numbers = (
        layouts.machines.select("machine")
        .with_row_index("machine_no")
        .with_columns(pl.col("machine_no").cast(pl.Int32))
    )
    marks = number_marks(_collections(cash).join(numbers, on="machine", how="inner"), "machine_no")
    vends = priced.select(
        "machine", "time", "priced", "stayed_paid", "quantity", "paid_low", "paid_high", "tender", "outcome"
    )
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
    )
    events = into_windows(paid, marks, "machine_no", near)
    windows = by_mark(marks, *_sums(events, marks, near))
    zero = ("vends", "unpriced_vends", "low", "high", "doubt", "refunds", "before", "after")
    windows = windows.with_columns(pl.col(name).fill_null(0) for name in zero)
    by_cash = priced.select("machine", "tender").filter(pl.col("tender") == "cash").select("machine")
    logs_cash = by_cash.unique().with_columns(pl.lit(True).alias("logs_cash"))
    windows = windows.join(logs_cash, on="machine", how="left", maintain_order="left")
    return guard(_shape(windows), CASH_WINDOWS)


def collection_ends(cash: Frame) -> Frame:
    """machine, first and last: the moments of its first and its last collection."""
    return cash.group_by("machine").agg(pl.col("time").min().alias("first"), pl.col("time").max().alias("last"))


def loose_cash(cash: Frame, priced: Frame) -> Frame:
    """Find the paid cash vends that no two collections of their machine enclose.

    Returns machine, time, file, row, paid_low and quantity.
    """
    shape = ("machine", "time", "file", "row", "paid_low", "quantity")
    vends = priced.select(*shape, "tender", "stayed_paid")
    paid = vends.filter((pl.col("tender") == "cash") & pl.col("stayed_paid"))
    ends = paid.join(collection_ends(cash), on="machine", how="left", maintain_order="left")
    outside = pl.col("first").is_null() | (pl.col("time") < pl.col("first")) | (pl.col("time") >= pl.col("last"))
    return ends.filter(outside).select(shape)


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


def _sums(events: Frame, marks: Frame, near: timedelta) -> list[Frame]:
    """Add up what was paid in each window, and what was paid beside it and may belong to it."""
    kept = pl.col("stayed_paid")
    doubt = pl.col("near_open") | pl.col("near_close")
    inside = summed(
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
    return [
        inside,
        summed(late, pl.col("reached"), before=pl.col("high")),
        summed(early, pl.col("reached"), after=pl.col("high")),
    ]


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
