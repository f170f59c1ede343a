"""Cash from one collection of a machine to the next: the box against the log.

over/short = collected + change of the coin tubes - price of the cash vends that stayed paid. Coins go to the tubes
first and come back out as change, so what the tubes hold more than after the last collection is money taken too.
"""

from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from recon.balance.windows import doubtful, number_marks, places_in, sums_in
from recon.match.sequence import Sequence, cumulative, in_sequence, runs_of
from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.frames import CASH_WINDOWS, Frame


@dataclass(frozen=True, slots=True)
class CashVends:
    """The vends that were paid in cash, machine by machine in the order of their times."""

    vends: Frame
    """Rows of `priced`, of any outcome."""
    sequence: Sequence
    """These by number of machine and moment."""
    machines: Frame
    """machine and `machine_no` (Int64) of all machines that logged cash, have a layout or a collection."""


def cash_vends(cash: Frame, priced: Frame, layouts: Layouts) -> CashVends:
    """Find the vends that were paid in cash. cash: collections; priced: sorted as that frame is."""
    names = ("machine", "time", "file", "row", "tender", "outcome", "stayed_paid", "priced", "quantity")
    vends = priced.select(*names, "paid_low", "paid_high").filter(pl.col("tender") == "cash")
    runs, logged = runs_of(vends["machine"])
    every = pl.concat([logged, cash["machine"], layouts.machines["machine"]]).unique().sort()
    machines = every.to_frame("machine").with_row_index("machine_no").with_columns(pl.col("machine_no").cast(pl.Int64))
    own = logged.to_frame("machine").join(machines, on="machine", how="left", maintain_order="left")
    sequence = in_sequence(own["machine_no"].gather(runs), vends["time"], every.len())
    return CashVends(vends if sequence.order is None else vends[sequence.order], sequence, machines)


def cash_windows(cash: Frame, paid: CashVends, layouts: Layouts, *, near: timedelta) -> Frame:
    """Balance every machine that has a layout between its successive collections.

    cash: collections. near: vends this close to a collection may fall on either side.
    Returns the frame `cash_windows`. The range of `expected` puts vends near a collection, vends without a known price
    and refunds that may have come from elsewhere than the machine to the least and to the most. Where the machine's log
    holds no cash vend at all, nothing can be expected and the figures are null.
    """
    known = paid.machines.join(layouts.machines.select("machine"), on="machine", how="semi", maintain_order="left")
    marks = number_marks(_collections(cash).join(known, on="machine", how="inner"), "machine_no")
    number = pl.col("machine_no")
    windows = marks.with_columns(_sums(paid, marks, near).get_columns()).with_columns(
        logs_cash=paid.sequence.ahead(number + 1) > paid.sequence.ahead(number)
    )
    return guard(_shape(windows), CASH_WINDOWS)


def collection_ends(cash: Frame) -> Frame:
    """machine, first and last: the moments of its first and its last collection."""
    return cash.group_by("machine").agg(pl.col("time").min().alias("first"), pl.col("time").max().alias("last"))


def loose_cash(cash: Frame, paid: CashVends) -> Frame:
    """Find the paid cash vends that no two collections of their machine enclose.

    Returns machine, time, file, row, paid_low and quantity.
    """
    number = pl.col("machine_no")
    ends = paid.machines.join(collection_ends(cash), on="machine", how="left", maintain_order="left").select(
        start=paid.sequence.ahead(number),
        first=paid.sequence.before(number, pl.col("first").cast(pl.Int64)),
        last=paid.sequence.before(number, pl.col("last").cast(pl.Int64)),
        stop=paid.sequence.ahead(number + 1),
    )
    # Without any collection all are loose.
    first, last = pl.coalesce("first", "stop"), pl.coalesce("last", "stop")
    runs = ends.select(begin=pl.concat_list("start", last), end=pl.concat_list(first, "stop"))
    runs = runs.explode("begin", "end", empty_as_null=True, keep_nulls=True)
    places = runs.select(pl.int_ranges("begin", "end")).to_series().explode(empty_as_null=False, keep_nulls=False)
    vends = paid.vends[places]
    return vends.filter("stayed_paid").select("machine", "time", "file", "row", "paid_low", "quantity")


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


def _sums(paid: CashVends, marks: Frame, near: timedelta) -> Frame:
    """Add up what was paid in each window, and what was paid beside it and may belong to it; one row a mark."""
    kept, quantity = pl.col("stayed_paid"), pl.col("quantity")
    refunded = pl.col("outcome") == "refunded"
    amounts = {
        "vends": pl.when(kept).then(quantity).otherwise(0),
        "low": pl.when(kept).then(pl.col("paid_low") * quantity).otherwise(0),
        "refunds": pl.when(refunded & ~kept).then(pl.col("paid_high") * quantity).otherwise(0),
    }
    ranged = (paid.vends["priced"] == "range").any()
    if ranged:
        amounts["unpriced_vends"] = pl.when(kept & (pl.col("priced") == "range")).then(quantity).otherwise(0)
        amounts["high"] = pl.when(kept).then(pl.col("paid_high") * quantity).otherwise(0)
    sums = cumulative(paid.vends.select(**amounts))
    if not ranged:
        sums = sums.with_columns(pl.lit(0, pl.Int64).alias("unpriced_vends"), pl.col("low").alias("high"))
    places = places_in(paid.sequence, marks, "machine_no", near)
    high = sums.select("high")
    return sums_in(sums, places).with_columns(
        doubtful(sums.select("low"), places)["low"].alias("doubt"),
        sums_in(high, places, "late_begin", "begin")["high"].alias("before"),
        sums_in(high, places, "end", "early_end")["high"].alias("after"),
    )


def _shape(windows: Frame) -> Frame:
    closed = windows.with_columns(
        pl.col("time").alias("opened_at"),
        pl.col("next_time").alias("closed_at"),
        *(
            pl.col(name).shift(-1).over("machine_no").alias(f"close_{name}")
            for name in ("collected", "tubes", "file", "row")
        ),
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
