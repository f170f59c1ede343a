"""Figures that a decision put right: the line shows what is reckoned with, and says what the file says."""

from collections.abc import Mapping

import polars as pl

from recon.ledger.trace_lines import Figures
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import money_by_machine

_LINE_OF = {
    "counted": "count", "loaded": "load", "removed": "removal", "collected": "collection", "tubes": "collection",
    "gross": "payout", "fees": "payout", "net": "payout", "price": "vend",
}  # fmt: skip
_MONEY = ("collected", "tubes", "gross", "fees", "net", "price")


def with_corrections(figures: Figures, done: Reconciliation) -> Figures:
    """Put `entry` and the sentence of each correction to the lines that it speaks of."""
    corrections = done.frames.get("corrections")
    if corrections is None or corrections.height == 0:
        return figures
    lines = figures.lines.with_row_index("_at")
    spoken_of = corrections.join(lines.select("file", "row", "what", "machine", "_at"), on=["file", "row"], how="inner")
    told = _told(spoken_of, done.digits_of, done.digits)
    joined = lines.drop("entry").join(told, on="_at", how="left", maintain_order="left")
    why = pl.concat_str("why", "_told", separator="; ", ignore_nulls=True).replace("", None)
    return Figures(figures.heads, joined.with_columns(why.alias("why")).select(figures.lines.columns))


def _told(corrections: Frame, digits: Mapping[str, int], default: int) -> Frame:
    own = corrections.filter(pl.col("field").replace_strict(_LINE_OF, default="") == pl.col("what").cast(pl.String))

    def shown(name: str) -> pl.Expr:
        money = money_by_machine(pl.col(name), digits, default)
        units = pl.col(name).cast(pl.String)
        return pl.when(pl.col("field").is_in(_MONEY)).then(money).otherwise(units).fill_null("nothing")

    words = "{} corrected to {} by entry {}; the file says {}"
    sentence = pl.format(words, "field", shown("is"), "entry", shown("was"))
    return (
        own.with_columns(sentence.alias("_told"))
        .group_by("_at", maintain_order=True)
        .agg(pl.col("entry").max(), pl.col("_told").str.join("; "))
    )
