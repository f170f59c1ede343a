"""Rounding whole columns to the minor unit: half to even, once, at the end of a sum."""

import polars as pl

from recon.match.states import COST_DIGITS

COST_UNIT = 10**COST_DIGITS
"""Unit costs are whole numbers of this part of a minor unit."""


def half_even(figure: pl.Expr, unit: int) -> pl.Expr:
    """`figure` counts parts of which `unit` (even) make one minor unit; returns whole minor units, half to even.

    5 parts of 10 round to 0, 15 to 2, -5 to 0: as decimal.ROUND_HALF_EVEN does, in integers throughout.
    """
    down = figure.floordiv(unit)
    rest = figure - down * unit
    up = (rest * 2 > unit) | ((rest * 2 == unit) & (down % 2 != 0))
    return down + up.cast(pl.Int64)


def cost_minor(units: pl.Expr, unit_cost: pl.Expr) -> pl.Expr:
    """Cost of `units` at `unit_cost` (ten-thousandths of a minor unit), in minor units."""
    return half_even(units * unit_cost, COST_UNIT)
