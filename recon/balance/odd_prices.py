"""Vends whose price was filled in, or is another than the layout's: gathered by slot, tender and source or price.

What findings say of them is their number, their span of time, the prices and the first of their rows, so that this is
all that is carried forward of past ones. Past vends lie before the others, machine by machine: what is first and what
is last of both hangs on that.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import polars as pl

from recon.balance.carried import NOTHING, Carried
from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.carried_frames import DIFFERING, FILLED
from recon.model.frame_spec import FrameSpec
from recon.model.frames import Frame
from recon.model.words import EVIDENCE_SHOWN


class OddPrices(NamedTuple):
    """Vends of machines that have a layout. filled: those with a price filled in; differing: those logged at another
    than the layout's, as frames of these names. open: vends of which only a range is known, row by row, with the
    `label` of their slot and the `logged_label`. past_filled, past_differing: what is to be carried forward.
    """

    filled: Frame
    differing: Frame
    open: Frame
    past_filled: Frame
    past_differing: Frame


def odd_prices(
    priced: Frame, layouts: Layouts, past: pl.Series | None = None, carried: Carried = NOTHING
) -> OddPrices:
    """Gather the vends whose price is not simply the layout's.

    past: which of the vends are to be carried forward. carried: what was, of vends that are not among these.
    """
    filled, open_ = pl.col("priced").is_in(["layout", "neighbours"]), pl.col("priced") == "range"
    differs = (pl.col("priced") == "log") & (pl.col("price") != pl.col("layout_price"))
    own = pl.lit(False) if past is None else past
    # Most vends have the price of the layout: all else is asked of the others alone.
    told = priced.select(*_OF_PRICES, own.alias("past")).filter(filled | open_ | differs)
    named = told.rename({"label": "logged_label"}).join(
        layouts.slots.select("slot", "label"), on="slot", how="left", maintain_order="left"
    )
    known = named.join(layouts.machines.select("machine"), on="machine", how="semi", maintain_order="left")
    all_filled, past_filled = _both(known.filter(filled), FILLED, carried.filled)
    all_differing, past_differing = _both(known.filter(differs), DIFFERING, carried.differing)
    return OddPrices(all_filled, all_differing, known.filter(open_), past_filled, past_differing)


_OF_PRICES = (
    "file", "row", "machine", "time", "bus", "label", "slot", "product", "tender", "quantity", "price", "layout_price",
    "priced", "paid_low", "paid_high",
)  # fmt: skip

_FIGURES: Final = {
    "count": pl.len().cast(pl.Int64),
    "product": pl.col("product").last(),
    "opened_at": pl.col("time").min(),
    "closed_at": pl.col("time").max(),
    "evidence": pl.struct("file", "row").head(EVIDENCE_SHOWN),
    "prices": pl.col("paid_low").unique(maintain_order=True),
    "amount": ((pl.col("price") - pl.col("layout_price")) * pl.col("quantity")).sum(),
}
"""Of the vends of a group, in the order of their times."""

_OF_PARTS: Final = {
    "count": pl.col("count").sum(),
    "product": pl.col("product").last(),
    "opened_at": pl.col("opened_at").min(),
    "closed_at": pl.col("closed_at").max(),
    "evidence": pl.col("evidence").explode(empty_as_null=False).head(EVIDENCE_SHOWN),
    "prices": pl.col("prices").explode(empty_as_null=False).unique(maintain_order=True),
    "amount": pl.col("amount").sum(),
}
"""The same of parts of a group, the earlier ones first."""


def _both(vends: Frame, spec: FrameSpec, carried: Frame) -> tuple[Frame, Frame]:
    """Groups of all vends and of the past ones, by the key of a spec."""
    keys = list(spec.sorted_by)
    figures = [name for name in spec.names if name not in keys]
    groups = vends.sort("time", "file", "row").group_by(*keys, "past", maintain_order=True).agg(
        _FIGURES[name].alias(name) for name in figures
    )  # fmt: skip
    before = _joined([carried, groups.filter("past")], spec)
    return _joined([before, groups.filter(~pl.col("past"))], spec), before


def _joined(parts: Sequence[Frame], spec: FrameSpec) -> Frame:
    keys = list(spec.sorted_by)
    together = pl.concat([part.select(spec.names) for part in parts])
    if together.select(pl.struct(keys).is_duplicated().any()).item():
        figures = [name for name in spec.names if name not in keys]
        together = together.group_by(keys, maintain_order=True).agg(_OF_PARTS[name].alias(name) for name in figures)
    return guard(together.select(spec.names), spec)
