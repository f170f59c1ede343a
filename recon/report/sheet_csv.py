"""A count sheet as CSV in our own field names: filled in with a spreadsheet, it goes into the inbox as it is.

The columns tray, product and par are for the person; intake passes them over. Every cell of time and counter is to be
filled in for the rows that were counted: copied down, they are the same for a machine.
"""

import csv
import io

from recon.report.pages import spelled
from recon.report.sheet import CountSheet
from recon.report.tamed import tamed

CASH_COLUMNS = ("machine", "time", "notes", "coins", "total", "tubes", "note")
BOM = "\ufeff"
"""Put before the text of a file: without it some spreadsheet programs take UTF-8 for the code page of the country."""


def count_columns(sheet: CountSheet) -> tuple[str, ...]:
    """The header of the counts, in the order of a person's hand."""
    par = ("par",) if sheet.show_par else ()
    return ("machine", "tray", "label", "product", *par, "counted", "loaded", "removed", "time", "counter", "note")


def count_rows(sheet: CountSheet) -> list[dict[str, str | int | None]]:
    """One row a slot, with what is known of it; a column that is not named is blank."""
    return [
        {"machine": machine.machine, "tray": spelled(tray.name), "label": slot.label, "product": spelled(slot.product),
         "par": slot.par}
        for machine in sheet.machines for tray in machine.trays for slot in tray.slots
    ]  # fmt: skip


def counts_csv(sheet: CountSheet) -> str:
    """The blank counts of all machines."""
    columns = count_columns(sheet)
    return _csv(columns, [[row.get(name) for name in columns] for row in count_rows(sheet)])


def cash_csv(sheet: CountSheet) -> str:
    """One blank row a machine, for what was collected."""
    return _csv(CASH_COLUMNS, [[machine.machine] for machine in sheet.machines])


def _csv(columns: tuple[str, ...], rows: list[list[str | int | None]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        cells = ["" if cell is None else tamed(str(cell)) for cell in row]
        writer.writerow([*cells, *[""] * (len(columns) - len(cells))])
    return out.getvalue()
