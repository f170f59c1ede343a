"""How money and times are spelled in text columns: one place for messages and results alike."""

from collections.abc import Mapping

import polars as pl

ISO = "%Y-%m-%dT%H:%M:%S%.f%:z"
DAY_AND_CLOCK = "%Y-%m-%d %H:%M"
FORMULA_SIGNS = r"=+\-@\t\r\n\x00＝＋－＠"
"""Signs with which a cell may begin that runs as a formula when a spreadsheet opens it (OWASP, CSV injection), as they
stand within the brackets of a regular expression."""


def money_text(minor: pl.Expr, digits: int) -> pl.Expr:
    """Minor units as a decimal string in the currency's own digits: -175 with 2 digits is "-1.75"; null stays null."""
    if digits == 0:
        return minor.cast(pl.String)
    unit = 10**digits
    size = minor.abs()
    sign = pl.when(minor < 0).then(pl.lit("-")).otherwise(pl.lit(""))
    fraction = (size % unit).cast(pl.String).str.zfill(digits)
    text = pl.concat_str(sign, (size // unit).cast(pl.String), pl.lit("."), fraction)
    return pl.when(minor.is_null()).then(None).otherwise(text)


def money_by_machine(minor: pl.Expr, digits: Mapping[str, int], default: int) -> pl.Expr:
    """`money_text` where machines may have different currencies; `digits` by machine id, `default` for all others."""
    text = money_text(minor, default)
    for other in sorted({count for count in digits.values() if count != default}):
        machines = [machine for machine, count in digits.items() if count == other]
        text = pl.when(pl.col("machine").is_in(machines)).then(money_text(minor, other)).otherwise(text)
    return text


def local_text(
    frame: pl.DataFrame, columns: list[str], zones: Mapping[str, str], default: str, form: str
) -> pl.DataFrame:
    """Replace UTC times by text in each machine's own zone. `frame` needs a `machine` column; row order is kept.

    Polars takes one zone an expression, never one a row: so the rows are split by zone and put back in order.
    """
    here = {zones.get(machine, default) for machine in frame["machine"].unique()}
    if len(here) == 1:
        own = here.pop()
        return frame.with_columns(
            pl.col(name).dt.convert_time_zone(own).dt.to_string(form).alias(name) for name in columns
        )
    zone = (
        pl.col("machine").replace_strict(dict(zones), default=default, return_dtype=pl.String)
        if zones
        else pl.lit(default)
    )
    numbered = frame.with_columns(zone.fill_null(default).alias("_zone")).with_row_index("_at")
    parts = [
        part.with_columns(
            pl.col(name).dt.convert_time_zone(str(key[0])).dt.to_string(form).alias(name) for name in columns
        )
        for key, part in numbered.partition_by("_zone", as_dict=True, maintain_order=True).items()
    ]
    if not parts:
        return frame.with_columns(pl.col(name).cast(pl.String) for name in columns)
    return pl.concat(parts).sort("_at").drop("_at", "_zone")
