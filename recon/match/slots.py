"""Each vend, count and load to the slot that held its number or label at that moment."""

from typing import Final

import polars as pl

from recon.match.asof import in_force
from recon.match.sequence import runs_of
from recon.match.states import Layouts
from recon.model.border import guard, ordered
from recon.model.frames import MATCHED, Frame


def match_vends(vends: Frame, layouts: Layouts) -> Frame:
    """Give every vend its slot and the state of that slot; none is dropped.

    A bus number names the slot in use that had it at that time; where the log gives no number, or one that no slot
    had, a label in the log names the slot. Returns the frame `matched`: `slot` and `state` are null where neither does.
    """
    rows = ordered(vends, MATCHED.sorted_by)
    return guard(_with_state(rows, layouts).select(MATCHED.names), MATCHED, is_sorted=True)


def _with_state(rows: Frame, layouts: Layouts) -> Frame:
    """Add `slot` and `state`. rows: machine by machine, in the order of their times."""
    in_use = layouts.states.filter("in_use")
    found = _find(rows, in_use, "bus")
    if found.null_count() and rows["label"].null_count() < rows.height:
        lost = (found.is_null() & rows["label"].is_not_null()).arg_true()
        found = found.scatter(lost, _find(rows[lost], in_use, "label"))
    return rows.with_columns(in_use["slot"].gather(found), in_use["state"].gather(found))


def _find(rows: Frame, states: Frame, name: str) -> pl.Series:
    """Return for each row the place among `states` of the one that had its machine and its `name` (bus or label) at its
    time, null where there is none.

    Most numbers belong to one state for all the time of the rows. These are looked up in a table of machines and
    numbers; an as-of search is made for the others alone.
    """
    states = states.select("machine", name, "state", "starts", "ends").with_row_index("place").drop_nulls(name)
    if rows.height == 0 or states.height == 0 or rows[name].null_count() == rows.height:
        return pl.Series([None], dtype=pl.Int64).new_from_index(0, rows.height)
    cells = _cells(rows, states, name)
    if cells is None:
        return _as_of(rows, states, name)
    asked, own, size = cells
    first, last = rows["time"].min(), rows["time"].max()
    lasting = (states["starts"] <= first) & (states["ends"].is_null() | (states["ends"] > last))
    held = states.select(
        pl.when(own.is_duplicated() | ~lasting).then(_SEVERAL).otherwise("place").cast(pl.Int64).alias("place")
    )
    table = pl.Series([None], dtype=pl.Int64).new_from_index(0, size)
    found = table.scatter(own, held["place"]).gather(asked)
    if not (held["place"] == _SEVERAL).any():
        return found
    several = (found == _SEVERAL).arg_true()
    return found.scatter(several, _as_of(rows[several], states, name))


_SEVERAL: Final = -1
"""Stands in a table for a number that several states had, or one had for a part of the time."""
_MOST_CELLS: Final = 50_000_000
"""Cells of a table of machines and numbers from which on it is not made."""


def _cells(rows: Frame, states: Frame, name: str) -> tuple[pl.Series, pl.Series, int] | None:
    """Return the cell of each row and of each state in a table of the machines and numbers of states, and its size. The
    cell of a row is null where no state has its machine or its number. None where the table would be too large."""
    machines = states["machine"].unique(maintain_order=True)
    values = states[name].unique(maintain_order=True)
    size = machines.len() * values.len()
    if size > _MOST_CELLS:
        return None
    runs, heads = runs_of(rows["machine"])
    row = _numbered(heads, machines).gather(runs)
    asked = row * values.len() + _numbered(rows[name], values)
    return asked, _numbered(states["machine"], machines) * values.len() + _numbered(states[name], values), size


def _numbered(values: pl.Series, known: pl.Series) -> pl.Series:
    """Return for each value its place among those known, null where it is none of them."""
    if known.dtype == pl.String:
        return values.cast(pl.Enum(known), strict=False).to_physical().cast(pl.Int64)
    # Numbers on the bus end at 65,535.
    table = pl.Series([None], dtype=pl.Int64).new_from_index(0, int(max(known.max(), values.max() or 0)) + 1)  # type: ignore[type-var, arg-type]
    return table.scatter(known, pl.int_range(known.len(), eager=True)).gather(values)


def _as_of(rows: Frame, states: Frame, name: str) -> pl.Series:
    """Return the same by an as-of search for each row. (machine, `name`) becomes one integer key first: looking that up
    is far cheaper."""
    keys = states.select("machine", name).unique(maintain_order=True).with_row_index("key")
    keys = keys.with_columns(pl.col("key").cast(pl.Int32))
    history = states.join(keys, on=["machine", name], how="inner").select("key", "place", "state", "starts", "ends")
    keyed = rows.select("machine", name, "time").join(keys, on=["machine", name], how="left", maintain_order="left")
    # No state has the key of a stranger.
    asked = keyed.select(pl.col("key").fill_null(-1), "time")
    found = in_force(asked, history, key="key", at="time", since="starts", tie="state")
    ended = (pl.col("ends") <= pl.col("time")).fill_null(False)
    return found.select(pl.when(~ended).then("place").cast(pl.Int64)).to_series()


def place(rows: Frame, layouts: Layouts) -> Frame:
    """Give counts or loads their slot: by label where they name one (in use or not), else by the number at that time.

    Returns `rows` plus `slot` (null where the machine has no layout, or no slot had the number).
    """
    named = rows.join(layouts.slots, on=["machine", "label"], how="left", maintain_order="left")
    if named["slot"].null_count() == 0:
        return ordered(named, ("file", "row"))
    rest = named.filter(pl.col("slot").is_null() & pl.col("label").is_null()).drop("slot")
    if rest.height == 0:
        return ordered(named, ("file", "row"))
    in_use = layouts.states.filter("in_use")
    numbered = rest.with_columns(in_use["slot"].gather(_find(rest, in_use, "bus")))
    kept = named.filter(pl.col("slot").is_not_null() | pl.col("label").is_not_null())
    return pl.concat([kept, numbered.select(kept.columns)]).sort("file", "row")
