"""Bus number or selection label: which of the two a column of an unknown sales log holds.

Its header says little: "selection" stands over either. Where every cell fits one of them and some do not fit the other,
the cells decide; where both fit, as on machines numbered from 0, and they name different slots, a person has to.
"""

from collections.abc import Sequence
from dataclasses import replace

from recon.intake.dialect import fold
from recon.intake.propose_columns import Column, Fit, Machine, label_share, number_share
from recon.model.source import REQUIRED

_FITS = 0.5
"""Share of the cells from which on a column may be either."""
_FEWER = 0.05
"""By how much fewer cells must fit the one for the other to be taken."""


def settled_by_cells(fit: Fit, columns: Sequence[Column], machines: Sequence[Machine]) -> Fit:
    """The fit of a sales log with its one column of numbers or labels as its cells have it; without it, and lacking it,
    where they do not tell. A column in our own name stays, and so do columns of both."""
    given = [name for name in ("bus", "label") if name in fit.columns]
    if fit.kind != "vends" or len(given) != 1 or _numbered_as_labelled(machines):
        return fit
    [name] = given
    column = next(each for each in columns if each.header == fit.columns[name])
    shares = {"bus": number_share(column, machines, 10), "label": label_share(column, machines)}
    if fold(column.header) == name or min(shares.values()) < _FITS:
        return fit
    if abs(shares["bus"] - shares["label"]) >= _FEWER:
        better = max(shares, key=lambda each: shares[each])
        return replace(fit, columns={better if own == name else own: header for own, header in fit.columns.items()})
    rest = {own: header for own, header in fit.columns.items() if own != name}
    needed = next(each for each in REQUIRED["vends"] if (name,) in each)
    return replace(fit, columns=rest, lacking=(*fit.lacking, needed))


def _numbered_as_labelled(machines: Sequence[Machine]) -> bool:
    """Whether the labels are the numbers, so that it makes no difference."""
    return all({label.lstrip("0") or "0" for label in each.labels} == set(map(str, each.numbers)) for each in machines)
