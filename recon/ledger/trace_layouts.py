"""Where each state of a slot stands in its layout file."""

from collections.abc import Collection

import polars as pl

from recon.match.timeline import slot_states
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.route.folder import Route

LAID = {"state": pl.Int32, "layout_file": pl.String, "layout_line": pl.Int64}


def laid_where(route: Route, done: Reconciliation, machines: Collection[str]) -> Frame:
    """File and line of what set each state of the slots of some machines: a [[slot]], or the [[change]] from which it
    holds.

    Returns LAID, one row a state. The layouts are read as they stand now: route and run have to be of one moment.
    """
    rows = []
    for entry in route.layouts:
        machine = entry.layout.machine
        if machine not in machines:
            continue
        nth, label = 0, None
        for state in slot_states(entry.layout):
            nth = nth + 1 if state.label == label else 0
            label = state.label
            rows.append((machine, state.label, nth, entry.file, entry.place(state.path).line))
    places = pl.DataFrame(
        rows,
        schema={"machine": pl.String, "label": pl.String, "nth": pl.Int64} | dict(list(LAID.items())[1:]),
        orient="row",
    )
    states = done.frames["states"].filter(pl.col("machine").is_in(list(machines))).sort("state")
    numbered = states.with_columns(pl.int_range(pl.len()).over("slot").cast(pl.Int64).alias("nth"))
    joined = numbered.join(places, on=["machine", "label", "nth"], how="left", maintain_order="left")
    return joined.select(pl.col(name).cast(dtype) for name, dtype in LAID.items())
