"""Rows as recon read them, as CSV: one file a kind, money in the currency's digits, times in the machine's zone."""

from collections.abc import Iterator, Mapping
from typing import Final

import polars as pl

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import ISO, local_text, money_by_machine
from recon.report.tamed import tamed_column

COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "priced": (
        "file", "row", "machine", "time", "bus", "label", "product", "tender", "outcome", "quantity", "price", "priced",
        "paid_low", "paid_high", "units", "reference",
    ),
    "counts": ("file", "row", "machine", "time", "label", "bus", "counted", "loaded", "removed", "counter", "note"),
    "loads": ("file", "row", "machine", "time", "label", "bus", "loaded", "removed", "reason", "note"),
    "cash": ("file", "row", "machine", "time", "collected", "tubes", "note"),
    "payouts": ("file", "row", "paid_on", "from", "to", "machine", "gross", "fees", "net", "reference"),
    "tests": ("file", "row", "machine", "time", "label", "note"),
    "rejects": ("file", "row", "reason"),
}  # fmt: skip
"""Columns of each frame of rows, as docs/frames.md has them."""

NAMES: Final[Mapping[str, str]] = {"priced": "vends"}
"""Frames whose file goes by another name."""
_MONEY: Final = frozenset({"price", "paid_low", "paid_high", "collected", "tubes", "gross", "fees", "net"})


def rows_csv(done: Reconciliation, places: Frame) -> Iterator[tuple[str, str]]:
    """The rows at these places (columns `file`, `row`): name of a kind, and its rows as CSV with a header.

    Kinds without such a row are left out. A text that a spreadsheet could run is preceded by an apostrophe.
    """
    for name, columns in COLUMNS.items():
        rows = done.frames[name].join(places, on=["file", "row"], how="semi", maintain_order="left")
        if rows.height:
            yield NAMES.get(name, name), _spelled(done, rows.select(columns)).write_csv()


def _spelled(done: Reconciliation, rows: Frame) -> Frame:
    money = [name for name in rows.columns if name in _MONEY]
    if money:
        rows = rows.with_columns(
            money_by_machine(pl.col(name), done.digits_of, done.digits).alias(name) for name in money
        )
    if "time" in rows.columns:
        rows = local_text(rows, ["time"], done.zones, done.zone, ISO)
    paths = dict(enumerate(done.paths))
    rows = rows.with_columns(pl.col("file").replace_strict(paths, default=None, return_dtype=pl.String))
    texts = [name for name, dtype in rows.schema.items() if dtype == pl.String and name not in (*_MONEY, "time")]
    return rows.with_columns(tamed_column(name) for name in texts)
