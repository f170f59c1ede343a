"""One column of amounts, whole numbers or times, read as the intake reads it."""

from datetime import UTC, datetime

import polars as pl

from recon.intake import values
from recon.intake.amounts import Mark, plain_numbers
from recon.intake.clock import read_times
from recon.model.currencies import EXPONENTS

NOW = datetime(2026, 12, 1, 12, tzinfo=UTC)


def columns(
    texts: dict[str, list[str | None]], *, coin: str | list[str] = "CAD", decimal: Mark | None = None,
    minor_units: bool = False,
) -> dict[str, list[tuple[int | None, str | None]]]:  # fmt: skip
    """(value, reason) of each cell of some number columns of one file; amounts may be below zero."""
    frame = pl.DataFrame({f"text_{name}": pl.Series(cells, dtype=pl.String) for name, cells in texts.items()})
    frame = frame.select(values.trimmed(name).alias(name) for name in frame.columns).with_row_index("row")
    coins = [coin] * frame.height if isinstance(coin, str) else coin
    frame = frame.with_columns(pl.Series("of", coins, dtype=pl.String), pl.col("row").cast(pl.Int64))
    frame = plain_numbers(frame, list(texts), coin=pl.col("of"), decimal=decimal, minor_units=minor_units)
    return {name: _read(frame, name, EXPONENTS[coins[0]] if coins else 2, minor_units) for name in texts}


def _read(frame: pl.DataFrame, name: str, digits: int, minor_units: bool) -> list[tuple[int | None, str | None]]:
    text = pl.col(f"text_{name}")
    plain = pl.col(f"plain_{name}") if f"plain_{name}" in frame.columns else text
    odd = pl.col(f"odd_{name}") if f"odd_{name}" in frame.columns else pl.lit(None, pl.String)
    if name == "price":
        parsed = values.price(text, digits, plain=plain, minor_units=minor_units)
    elif name == "bus":
        parsed = values.bus_number(text, 10, plain=plain)
    elif name in ("counted", "loaded", "removed", "quantity"):
        parsed = values.whole(text, name, plain=plain)
    else:
        parsed = values.amount(text, name, digits, negative=True, plain=plain, minor_units=minor_units)
    return frame.select(parsed.value.alias("value"), pl.coalesce(odd, parsed.reason).alias("reason")).rows()


def amounts(
    *cells: str | None, coin: str | list[str] = "CAD", decimal: Mark | None = None, minor_units: bool = False,
    field: str = "total",
) -> list[tuple[int | None, str | None]]:  # fmt: skip
    """(minor units, reason) of each cell of one column."""
    return columns({field: list(cells)}, coin=coin, decimal=decimal, minor_units=minor_units)[field]


def figures(
    *cells: str | None, coin: str = "CAD", decimal: Mark | None = None, minor_units: bool = False, field: str = "total"
) -> list[int | None]:
    """The same, where every cell has to read."""
    read = amounts(*cells, coin=coin, decimal=decimal, minor_units=minor_units, field=field)
    assert [reason for _, reason in read] == [None] * len(read)
    return [value for value, _ in read]


def times(
    *cells: str | None, form: str | None = None, now: datetime = NOW, clock: bool = True
) -> list[datetime | None]:
    """What each cell of one column reads as: a local time, or a moment in UTC."""
    written = read_times(pl.Series(cells, dtype=pl.String), form, now=now, with_clock=clock)
    return [one or other for one, other in zip(written.local.to_list(), written.moment.to_list(), strict=True)]
