"""How many vends are reconciled at once: those of a longer route some machines at a time."""

import os
from collections.abc import Mapping
from typing import Final

from recon.model.errors import ReconError

VENDS_AT_ONCE: Final = 2_000_000
"""Measured (docs/scale.md): with these a run stays below 3 GB, and more at once is not faster."""


def vends_at_once() -> int:
    """Return that number: RECON_AT_ONCE of the environment, or VENDS_AT_ONCE. It decides about memory, never about
    results.

    Raises ReconError where the environment names no number above 0.
    """
    told = os.environ.get("RECON_AT_ONCE")
    if told is None:
        return VENDS_AT_ONCE
    if not told.isascii() or not told.isdigit() or len(told) > 18 or int(told) == 0:
        raise ReconError(f'RECON_AT_ONCE is "{told}": expected how many vends may be held at once, such as 2000000')
    return int(told)


def spans_of(machines: Mapping[str, int], at_once: int) -> list[tuple[str, str]]:
    """Part machines in the order of their ids into spans of at most `at_once` vends, or of one machine.

    machines: how many vends each has. Returns the first and the last id of each span, which together hold every id; one
    span that holds none where there are no machines.
    """
    if not machines:
        return [("", "")]
    spans: list[tuple[str, str]] = []
    held = 0
    for machine in sorted(machines):
        if spans and held + machines[machine] <= at_once:
            spans[-1] = (spans[-1][0], machine)
            held += machines[machine]
        else:
            spans.append((machine, machine))
            held = machines[machine]
    return spans
