"""Text cells of a CSV that people open in a spreadsheet: what could run as a formula is preceded by an apostrophe.

A text that begins with apostrophes before such a sign gets one more, so that taking one off again always gives back
what stood there (recon.intake.kinds does so with the free texts of count, load and cash sheets).
"""

import re

import polars as pl

from recon.model.spelling import FORMULA_SIGNS

_TO_TAME = re.compile(f"'*[{FORMULA_SIGNS}]")


def tamed(text: str) -> str:
    """The text as a cell that no spreadsheet runs."""
    return f"'{text}" if _TO_TAME.match(text) else text


def tamed_column(name: str) -> pl.Expr:
    """`tamed` for a whole column of text."""
    text = pl.col(name)
    return pl.when(text.str.contains(f"^{_TO_TAME.pattern}")).then("'" + text).otherwise(text).alias(name)
