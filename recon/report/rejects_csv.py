"""rejects.csv: the rows that could not be used, with file, line, reason and the line as it stands in the file."""

import polars as pl

from recon.model.reconciliation import Reconciliation
from recon.report.tables import rejects_table

DANGEROUS = r"^[=+\-@\t\r\n\x00＝＋－＠]"
"""A cell that begins so can run as a formula when a spreadsheet opens the file (OWASP, CSV injection)."""


def rejects_csv(done: Reconciliation) -> str:
    """The rejects as CSV text with a header. A text that a spreadsheet could run is preceded by an apostrophe."""

    def tamed(name: str) -> pl.Expr:
        text = pl.col(name)
        return pl.when(text.str.contains(DANGEROUS)).then("'" + text).otherwise(text).alias(name)

    return (
        rejects_table(done)
        .with_columns(tamed(name) for name in ("file", "reason", "text"))
        .write_csv(quote_style="necessary")
    )
