"""Each vend, count and load to the slot that held its number or label at that moment."""

import polars as pl

from recon.match.asof import in_force
from recon.match.states import Layouts
from recon.model.border import guard, ordered
from recon.model.frames import MATCHED, Frame


def match_vends(vends: Frame, layouts: Layouts) -> Frame:
    """Give every vend its slot and the state of that slot; none is dropped.

    A bus number names the slot in use that had it at that time; where the log gives no number, or one that no slot
    had, a label in the log names the slot. Returns the frame `matched`: `slot` and `state` are null where neither does.
    """
    return guard(_with_state(vends, layouts).select(MATCHED.names), MATCHED)


def _with_state(rows: Frame, layouts: Layouts) -> Frame:
    in_use = layouts.states.filter("in_use")
    by_bus = _look_up(rows, in_use.filter(pl.col("bus").is_not_null()), "bus")
    if by_bus["state"].null_count() == 0 or by_bus["label"].null_count() == by_bus.height:
        return by_bus
    rest = by_bus["state"].is_null()
    named = _look_up(rows.filter(rest), in_use, "label")
    places = rest.arg_true()
    return by_bus.with_columns(by_bus[name].scatter(places, named[name]) for name in ("slot", "state"))


def _look_up(rows: Frame, states: Frame, name: str) -> Frame:
    """As-of by (machine, `name`). The pair becomes one integer key first: looking that up is far cheaper.

    Returns `rows`, in their order, plus `slot` and `state`.
    """
    keys = states.select("machine", name).unique(maintain_order=True).with_row_index("key")
    keys = keys.with_columns(pl.col("key").cast(pl.Int32))
    history = states.join(keys, on=["machine", name], how="inner").select("key", "slot", "state", "starts", "ends")
    keyed = rows.select("machine", name, "time").join(keys, on=["machine", name], how="left", maintain_order="left")
    # No state has the key of a stranger.
    asked = keyed.select(pl.col("key").fill_null(-1), "time")
    found = in_force(asked, history, key="key", at="time", since="starts", tie="state")
    ended = (pl.col("ends") <= pl.col("time")).fill_null(False)
    held = found.select(pl.when(~ended).then(pl.col(column)).alias(column) for column in ("slot", "state"))
    return rows.with_columns(held.get_columns())


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
    in_use = layouts.states.filter(pl.col("in_use") & pl.col("bus").is_not_null())
    numbered = _look_up(rest, in_use, "bus").drop("state")
    kept = named.filter(pl.col("slot").is_not_null() | pl.col("label").is_not_null())
    return pl.concat([kept, numbered.select(kept.columns)]).sort("file", "row")
