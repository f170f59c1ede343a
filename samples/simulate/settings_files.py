"""The files that a person keeps by hand: route.toml, layouts, products.csv and the source descriptions."""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import datetime

from simulate.route import FEE_PERCENT, LAYOUT_FROM, ZONE, Change, Machine, Product, Route, Slot

ROUTE_TOML = f"""\
# An invented route. Every key but name, currency and timezone could be left out.
name = "Bayside route"
currency = "CAD"
timezone = "America/Halifax"

[tolerance]
units = 0
cash = "1.00"
boundary_minutes = 10

[cards]
percent = "{FEE_PERCENT}"
per_vend = "0.00"
monthly = "7.95"
reader_cost = "299.00"

[stock]
count_when = "before-load"
test_vends = "returned"
"""

READER_EXPORT_TOML = """\
# The card reader's web export. Its times are UTC. Each week's export begins a day early, so exports overlap.
kind = "vends"
files = ["sales-*.csv"]
timezone = "UTC"

[columns]
machine = "Terminal"
time = "Date/Time"
bus = "Item No"
price = "Price"
tender = "Paid by"
outcome = "Status"
reference = "Txn"

[machines]
"0423" = "quay-2"
"0457" = "quay-5"
{more}
[words.tender]
cash = ["Cash", "Coin", "Bill"]
card = ["Chip", "Contactless"]
free = ["Free vend"]
test = ["Service key"]

[words.outcome]
vended = ["OK"]
failed = ["Vend failed"]
cancelled = ["Cancelled"]
refunded = ["Refunded"]

[time]
format = "%m/%d/%Y %I:%M:%S %p"
"""

PAY_POINT_TOML = """\
# The library's pay point: date and clock in two columns, local time, and the machine only in the file's name.
kind = "vends"
files = ["borne-*.csv"]
machine_from_name = "borne-(.+)-\\\\d{4}-\\\\d{2}"

[columns]
date = "Date"
clock = "Heure"
bus = "Choix"
price = "Prix"
tender = "Paiement"
outcome = "Résultat"
reference = "Reçu"

[words.tender]
cash = ["Comptant"]
card = ["Carte"]
prepaid = ["Carte de lecteur"]
test = ["Essai"]

[words.outcome]
vended = ["Servi"]
failed = ["Non servi"]
cancelled = ["Annulé"]
refunded = ["Remboursé"]
"""

PAYOUTS_TOML = """\
# What the card processor pays out, a week at a time. Periods are whole days of the route.
kind = "payouts"
files = ["payouts-*.csv"]

[columns]
paid_on = "Deposited"
from = "Period start"
to = "Period end"
gross = "Card sales"
fees = "Processing fees"
net = "Deposit"
reference = "Statement"
"""


def money(cents: int) -> str:
    """Cents as text in dollars: -175 is "-1.75"."""
    return f"{'-' if cents < 0 else ''}{abs(cents) // 100}.{abs(cents) % 100:02d}"


def clock(moment: datetime) -> str:
    """The local time as people and layouts write it, without an offset: 2026-09-14T07:30:00."""
    return moment.astimezone(ZONE).replace(tzinfo=None).isoformat()


def table(header: Sequence[str], rows: Iterable[Sequence[object]], delimiter: str = ",") -> str:
    """A delimited file with LF line ends; None is an empty cell."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


def _slot_toml(slot: Slot, *, bus: bool) -> str:
    lines = ["[[slot]]", f'label = "{slot.label}"', f'tray = "{slot.tray}"']
    if bus:
        lines.insert(2, f"bus = {slot.bus}")
    if slot.pitch != 1:
        lines.append(f"pitch = {slot.pitch}")
    if slot.product is not None:
        lines.append(f'product = "{slot.product}"')
    if slot.price is not None:
        lines.append(f'price = "{money(slot.price)}"')
    if slot.card_price is not None:
        lines.append(f'card_price = "{money(slot.card_price)}"')
    lines.append(f"capacity = {slot.capacity}")
    if slot.par != slot.capacity:
        lines.append(f"par = {slot.par}")
    return "\n".join(lines) + "\n"


def _change_toml(change: Change) -> str:
    lines = ["[[change]]", f"from = {clock(change.at)}", f'label = "{change.label}"']
    if change.product is not None:
        lines.append(f'product = "{change.product}"')
    if change.price is not None:
        lines.append(f'price = "{money(change.price)}"')
    if change.card_price is not None:
        lines.append(f'card_price = "{money(change.card_price)}"')
    if change.retire:
        lines.append("retire = true")
    return "\n".join(lines) + "\n"


def layout_toml(machine: Machine) -> str:
    """layouts/NAME.toml. The rule gives the numbers; only the first slot states its own, to be checked."""
    head = (
        f'machine = "{machine.name}"\nsite = "{machine.site}"\nnumbering = {machine.numbering}\n'
        f'price_step = "{machine.step}"\neffective = {clock(LAYOUT_FROM)}\n'
    )
    slots = [_slot_toml(slot, bus=slot is machine.slots[0]) for slot in machine.slots]
    return "\n".join([head, *slots, *map(_change_toml, machine.changes)])


def layout_csv(machine: Machine) -> str:
    """layouts/NAME.csv: one row for each slot and each change."""

    def cents(amount: int | None) -> str | None:
        return None if amount is None else money(amount)

    def row(at: datetime, label: str, *rest: object) -> list[object]:
        return [machine.name, clock(at), label, *rest]

    slots = [
        row(LAYOUT_FROM, slot.label, slot.bus, slot.tray, slot.pitch, slot.product, cents(slot.price),
            cents(slot.card_price), slot.capacity, slot.par, None)
        for slot in machine.slots
    ]  # fmt: skip
    changes = [
        row(change.at, change.label, None, None, None, change.product, cents(change.price),
            cents(change.card_price), None, None, "true" if change.retire else None)
        for change in machine.changes
    ]  # fmt: skip
    columns = "machine,from,label,bus,tray,pitch,product,price,card_price,capacity,par,retire"
    return table(columns.split(","), [*slots, *changes])


def _products(products: Iterable[Product]) -> str:
    rows = [[line.id, line.name, line.unit_cost, line.case_size, line.category] for line in products]
    return table(["id", "name", "unit_cost", "case_size", "category"], rows)


def settings_files(route: Route) -> dict[str, str]:
    """Every settings file of the route, by its path in the route folder."""
    depot = any(machine.name == "depot-1" for machine in route.machines)
    files = {
        "route.toml": ROUTE_TOML,
        "products.csv": _products(route.products),
        "sources/reader-export.toml": READER_EXPORT_TOML.format(more='"0555" = "depot-1"\n' if depot else ""),
        "sources/library-pay-point.toml": PAY_POINT_TOML,
        "sources/card-payouts.toml": PAYOUTS_TOML,
    }
    for machine in route.machines:
        if machine.numbering is None:
            files[f"layouts/{machine.name}.csv"] = layout_csv(machine)
        else:
            files[f"layouts/{machine.name}.toml"] = layout_toml(machine)
    return files
