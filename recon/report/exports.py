"""The tables of a run as CSV and Parquet, for spreadsheets, databases and notebooks.

CSV: money as decimal text in the currency's own digits, times as ISO 8601 in the machine's own time, with its offset. A
text that a spreadsheet could run as a formula is preceded by an apostrophe (recon.report.tamed); figures never are, so
that a negative one stays a figure. Parquet: money in whole minor units beside `currency` and `digits`, times in UTC.
"""

import io
from collections.abc import Iterator

import polars as pl

from recon.model.frames import TIME, Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import ISO, local_text, money_text
from recon.report.tamed import tamed_column
from recon.report.typed_tables import Table, spelled_places, typed_tables

FOLDER = "tables"


def tables(done: Reconciliation) -> Iterator[tuple[str, bytes]]:
    """Path below the report's folder, and content: `tables/NAME.csv` and `tables/NAME.parquet` for each table.

    The same reconciliation gives the same bytes, as long as polars is of the same version.
    """
    for table in typed_tables(done):
        yield f"{FOLDER}/{table.name}.csv", table_csv(table, done).encode()
        yield f"{FOLDER}/{table.name}.parquet", table_parquet(table)


def table_csv(table: Table, done: Reconciliation) -> str:
    """A table as CSV text with a header."""
    frame = spelled_places(table.frame)
    texts = [name for name, dtype in frame.schema.items() if dtype == pl.String]
    times = [name for name, dtype in frame.schema.items() if dtype == TIME]
    frame = frame.with_columns(
        *(tamed_column(name) for name in texts),
        *(_amount(name, frame).alias(name) for name in table.money),
    )
    if times:
        # Tables without a machine have no times.
        frame = local_text(frame, times, done.zones, done.zone, ISO)
    shown = frame.drop("digits") if table.money else frame
    return shown.write_csv(quote_style="necessary")


def _amount(name: str, frame: Frame) -> pl.Expr:
    """Minor units as decimal text by the digits of each row."""
    text = pl.lit(None, dtype=pl.String)
    for digits in sorted(frame["digits"].unique()):
        text = pl.when(pl.col("digits") == digits).then(money_text(pl.col(name), digits)).otherwise(text)
    return text


def table_parquet(table: Table) -> bytes:
    """A table as a Parquet file."""
    out = io.BytesIO()
    table.frame.write_parquet(out)
    return out.getvalue()
