"""Vends whose price was filled in, or is another than the layout's: gathered by slot, tender and source or price."""

from typing import Final, NamedTuple

import polars as pl

from recon.match.states import Layouts
from recon.model.frames import Frame
from recon.model.words import EVIDENCE_SHOWN


class OddPrices(NamedTuple):
    """Vends of machines that have a layout. filled: those with a price filled in, by machine, label, tender and source
    (`priced`). differing: those logged at another price than the layout's, by machine, label, tender and both prices.
    Both have count, product (of the last), opened_at, closed_at and evidence (the first rows); `filled` also the prices
    filled in, `differing` the amount paid above what was asked. open: vends of which only a range is known, row by row,
    with the `label` of their slot and the `logged_label`.
    """

    filled: Frame
    differing: Frame
    open: Frame


def odd_prices(priced: Frame, layouts: Layouts) -> OddPrices:
    """Gather the vends whose price is not simply the layout's."""
    filled, open_ = pl.col("priced").is_in(["layout", "neighbours"]), pl.col("priced") == "range"
    differs = (pl.col("priced") == "log") & (pl.col("price") != pl.col("layout_price"))
    # Most vends have the price of the layout: all else is asked of the others alone.
    odd = priced.select(_OF_PRICES).filter(filled | open_ | differs)
    named = odd.rename({"label": "logged_label"}).join(
        layouts.slots.select("slot", "label"), on="slot", how="left", maintain_order="left"
    )
    known = named.join(layouts.machines.select("machine"), on="machine", how="semi", maintain_order="left")
    return OddPrices(
        _gathered(known.filter(filled), ["machine", "label", "tender", "priced"], "prices"),
        _gathered(known.filter(differs), ["machine", "label", "tender", "price", "layout_price"], "amount"),
        known.filter(open_),
    )


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


def _gathered(vends: Frame, keys: list[str], figure: str) -> Frame:
    """Gather vends by keys, with one figure besides those that both kinds have; sorted by the keys."""
    names = ["count", "product", "opened_at", "closed_at", "evidence", figure]
    groups = vends.sort("time", "file", "row").group_by(keys, maintain_order=True)
    return groups.agg(_FIGURES[name].alias(name) for name in names).sort(keys)
