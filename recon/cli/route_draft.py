"""What a drafted route folder holds."""

import json
from pathlib import Path

from recon.model.currencies import EXPONENTS
from recon.model.errors import ReconError
from recon.model.zones import known_zone, zone_names
from recon.route.nearest import nearest

_FOLDERS = ("layouts", "sources", "inbox")

_SETTINGS = """\
# Settings of the route. Every key but the first three has the default that is shown.
name = {name}
currency = "{currency}"  # ISO 4217; sets how many decimal digits an amount has
timezone = "{timezone}"  # IANA name; a layout may name its own

[tolerance]
units = 0  # a slot within +/- units agrees
cash = "{cash}"  # a collection within +/- this agrees
boundary_minutes = 10  # a vend this near a count may belong on either side of it

[cards]  # what taking cards costs: put in your own terms
percent = "5.95"  # of each card vend
per_vend = "{zero}"
monthly = "{monthly}"  # per machine
reader_cost = "{reader}"  # per machine, once

[stock]
count_when = "before-load"  # or "after-load": whether a count stands before or after that visit's loads
test_vends = "returned"  # or "consumed": whether test vends are put back or gone
"""

_LAYOUT = """\
# AN INVENTED EXAMPLE: no such machine exists. Copy this file once for each of your machines, put in what the
# machine's front and its own price list show, and delete the example and its products.
machine = "example-1"  # letters, digits, point, dash, underline: your own short name for it
site = "Invented lobby, ground floor"
numbering = "same"  # how the machine's bus numbers follow from its labels; delete it and write `bus` instead
effective = 2026-01-05T08:00:00  # local time from which the slots below hold

[[slot]]
label = "110"  # as printed at the slot
tray = "1"
product = "example-oat-bar"
price = "{price}"
capacity = 10

[[slot]]
label = "111"
tray = "1"
product = "example-water"
price = "{price}"
capacity = 8
par = 6  # what you fill it up to, where that is less than fits

# A change is dated and names only what changes:
# [[change]]
# from = 2026-03-02T09:30:00
# label = "110"
# product = "another-product"
"""

_PRODUCTS = """\
id,name,unit_cost,case_size,category
example-oat-bar,Oat bar (invented example),{cost},24,snack
example-water,Water (invented example),{cost},24,drink
"""

_README = """\
A route folder for recon
========================

route.toml     settings: name, currency, time zone, tolerances, what cards cost
layouts/       one file for each machine: what is in which slot, its price, its number on the payment bus
               layouts/example-1.toml is invented: replace it by your own machines
products.csv   what you sell and what it costs you; the two example lines are invented
sources/       one description for each kind of export you get: which of its columns means what
               (an export that uses recon's own column names needs none)
inbox/         sales logs, count sheets, load slips, cash sheets and payout statements, as they arrive;
               recon reads them and never changes them

recon itself makes two more folders, ledger/ and reports/. Do not edit them by hand.

1. Describe one machine in layouts/, then: recon check
2. Put its sales log and two count sheets into inbox/, then: recon run

Open and count a machine only in the way its maker calls safe, keep hands away from anything that turns, and
never tip or shake it. Vary the days and ways on which you carry cash, and do not count it where people watch.
A figure that is short says how much is missing, not why and never who: look at the counts, the loads and the
numbers of the slots first.
"""


def write_route(folder: Path, name: str | None, currency: str, timezone: str) -> list[Path]:
    """Write a route folder that `recon check` passes, and return its files.

    name: None for the folder's own. Raises ReconError where the name, currency or time zone cannot be used,
    or where anything that would be written exists already; then nothing is written.
    """
    name = folder.resolve().name if name is None else name.strip()
    _usable(name, currency, timezone)
    files = {folder / file: text for file, text in _texts(name, currency, timezone).items()}
    existing = [path for path in files if path.exists() or path.is_symlink()]
    existing += [path for part in _FOLDERS if (path := folder / part).exists() and not path.is_dir()]
    if folder.exists() and not folder.is_dir():
        existing.append(folder)
    if existing:
        names = ", ".join(path.as_posix() for path in existing)
        raise ReconError(f"{names}: there already. Nothing was written: name another folder.")
    try:
        for part in _FOLDERS:
            (folder / part).mkdir(parents=True, exist_ok=True)
        for path, text in files.items():
            with path.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
    except OSError as error:
        raise ReconError(
            f"{error.filename} was not written ({error.strerror}). Name another folder."
        ) from error
    return list(files)


def _usable(name: str, currency: str, timezone: str) -> None:
    if not name or not name.isprintable():
        raise ReconError(f"--name {json.dumps(name)}: expected printable characters, such as Bayside route")
    if currency not in EXPONENTS:
        near = nearest(currency, sorted(EXPONENTS)) or "CAD"
        raise ReconError(f"--currency {currency} is not in the list of ISO 4217; did you mean {near}?")
    if not known_zone(timezone):
        near = nearest(timezone, zone_names()) or "America/Halifax"
        raise ReconError(f"--timezone {timezone} is not in the IANA list; did you mean {near}?")


def _texts(name: str, currency: str, timezone: str) -> dict[str, str]:
    """File to text. Amounts are invented, in a size that fits the currency's digits."""
    digits = EXPONENTS[currency]
    usual = digits == 2
    settings = _SETTINGS.format(
        name=json.dumps(name, ensure_ascii=False),
        currency=currency,
        timezone=timezone,
        cash="1.00" if usual else "100" if digits == 0 else "0.500",
        zero="0.00" if usual else "0",
        monthly="7.95" if usual else "0",
        reader="299.00" if usual else "0",
    )
    price, cost = ("1.50", "0.625") if usual else ("150", "62.5") if digits == 0 else ("0.500", "0.2125")
    return {
        "README.txt": _README,
        "route.toml": settings,
        "products.csv": _PRODUCTS.format(cost=cost),
        "layouts/example-1.toml": _LAYOUT.format(price=price),
    }
