"""Rows that could not be used, told by the machine and slot of which their own cells speak.

A rejected row has no place in any frame, for something about it did not read. Which machine and slot it means can often
be told all the same; where not, it is told of no slot, but counted.
"""

from collections.abc import Iterable, Sequence

import polars as pl

from recon.intake.describe import Reading, UnknownFormat, reading_for
from recon.intake.table import ROW, TextTable
from recon.ledger.trace_originals import Inbox
from recon.model.frames import Frame

REFUSED = {
    "file": pl.Int32, "row": pl.Int64, "kind": pl.String, "machine": pl.String, "label": pl.String, "bus": pl.Int32,
    "reason": pl.String,
}  # fmt: skip


def refused_rows(inbox: Inbox, kinds: Sequence[str]) -> Frame:
    """The rejected rows of the files of some kinds, with machine, label and number as far as their cells tell.

    Rows of files that were not taken in as a whole are left out. Returns REFUSED, sorted by file and row.
    """
    done = inbox.done
    files = done.frames["inputs"].filter(pl.col("kind").is_in(list(kinds))).select("file", "kind")
    rejects = done.frames["rejects"].drop("text").join(files, on="file", how="inner", maintain_order="left")
    rejects = rejects.filter(~pl.col("file").is_in(sorted(inbox.withheld())))
    told = [pl.DataFrame(schema={name: REFUSED[name] for name in ("file", "row", "machine", "label", "bus")})]
    for (file,), rows in rejects.partition_by("file", as_dict=True, maintain_order=True).items():
        told.append(_told(int(str(file)), rows["row"].to_list(), inbox))
    joined = rejects.join(pl.concat(told), on=["file", "row"], how="left", maintain_order="left")
    return joined.select(pl.col(name).cast(dtype) for name, dtype in REFUSED.items()).sort("file", "row")


def _told(file: int, rows: Sequence[int], inbox: Inbox) -> Frame:
    names = ("file", "row", "machine", "label", "bus")
    schema = {name: REFUSED[name] for name in names}
    part = inbox.part(file)
    if part is None or part.mended:
        return pl.DataFrame(schema=schema)
    try:
        reading = reading_for(
            inbox.name(file), part.table.header, inbox.route, names=part.names, doubled=part.table.doubled
        )
    except UnknownFormat:
        return pl.DataFrame(schema=schema)
    records = [(file, row, *_slot(cells, part.table, reading)) for row, cells in _cells(part.table, rows)]
    return pl.DataFrame(records, schema=schema, orient="row")


def _cells(table: TextTable, rows: Sequence[int]) -> Iterable[tuple[int, Sequence[str | None]]]:
    """The cells of records by their line, torn ones included."""
    kept = table.frame.filter(pl.col(ROW).is_in(list(rows)))
    torn = {torn.row: torn.cells for torn in table.torn}
    return [(int(cells[-1]), cells[:-1]) for cells in kept.rows()] + [
        (row, torn[row]) for row in rows if row in torn
    ]


def _slot(
    cells: Sequence[str | None], table: TextTable, reading: Reading
) -> tuple[str | None, str | None, int | None]:
    """Machine, label and bus number of one record."""

    def cell(field: str) -> str | None:
        if field not in reading.columns:
            return None
        at = table.header.index(reading.columns[field])
        text = cells[at] if at < len(cells) else None
        return text.strip() or None if text is not None else None

    machine = reading.machine
    if machine is None and (theirs := cell("machine")) is not None:
        machine = reading.source.machines.get(theirs, theirs)
    number = cell("bus")
    bus = None
    if number is not None:
        try:
            bus = int(number, reading.source.bus_base)
        except ValueError:
            bus = None
    return machine, cell("label"), bus if bus is not None and 0 <= bus <= 65534 else None
