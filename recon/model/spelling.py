"""How money and times are spelled in text columns: one place for messages and results alike."""

from collections.abc import Mapping, Sequence
from typing import Any

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

    Polars takes one zone an expression, never one a row. Of a long frame each moment is spelled once in each zone, for
    many rows are of one visit; of a short one each row in every zone, which takes a single query.
    """
    here = sorted({zones.get(machine, default) for machine in _each(frame["machine"], zones, default)} or {default})
    if len(here) > 1 and frame.height > _MANY:
        return frame.with_columns(_by_moment(frame, name, zones, default, here, form) for name in columns)
    machine = pl.col("machine")
    of_zone = {zone: [name for name, own in zones.items() if own == zone] for zone in here if zone != default}

    def spelled(name: str) -> pl.Expr:
        first, *others = [default, *of_zone] if default in here or not of_zone else [*of_zone]
        text = _in_zone(pl.col(name), first, form)
        for zone in others:
            text = pl.when(machine.is_in(of_zone[zone])).then(_in_zone(pl.col(name), zone, form)).otherwise(text)
        return text.alias(name)

    return frame.with_columns(spelled(name) for name in columns)


_MANY = 3000
"""Rows from which on moments are spelled by themselves."""


def _each(machines: pl.Series, zones: Mapping[str, str], default: str) -> list[Any]:
    """Return the machines, once each where they are many; none where their zones do not differ anyway."""
    if all(zone == default for zone in zones.values()):
        return []
    return (machines.unique() if machines.len() > _MANY else machines).to_list()


def _in_zone(moment: pl.Expr, zone: str, form: str) -> pl.Expr:
    return moment.dt.convert_time_zone(zone).dt.to_string(form)


def _by_moment(
    frame: pl.DataFrame, name: str, zones: Mapping[str, str], default: str, here: Sequence[str], form: str
) -> pl.Series:
    """A column of moments as text: each moment in each of the zones `here`, and of that list the one that is asked."""
    moments = frame[name].drop_nulls().unique().sort()
    told = moments.to_frame().select(_in_zone(pl.col(name), zone, form).alias(zone) for zone in here)
    texts = pl.concat(told.get_columns())
    of_zone = {zone: place for place, zone in enumerate(here)}
    places = {machine: of_zone[zones.get(machine, default)] for machine in frame["machine"].unique() if machine}
    usual = of_zone.get(default, 0)
    place = frame["machine"].replace_strict(places, default=usual, return_dtype=pl.Int64).fill_null(usual)
    at = place * moments.len() + frame[name].rank("dense").cast(pl.Int64) - 1
    return texts.gather(at).alias(name)
