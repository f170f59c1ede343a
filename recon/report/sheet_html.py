"""A count sheet as one HTML file: to print, and to fill in on a phone without a network.

It fetches nothing and sends nothing. Its script keeps what is typed in the browser and saves files in our own field
names, of kind counts and of kind cash, with times by the clock of each machine's zone. With script switched off it is
a sheet to print.
"""

from markupsafe import Markup

from recon.report.pages import asset, content_security, page
from recon.report.sheet import CAUTIONS, CountSheet

LARGEST_UNITS = 100_000
"""The largest number of units that a field takes; intake holds it too (recon.intake.values)."""


_LONG = 22
"""Slots and trays that fit on one sheet of paper (A4 or letter) with their head and the cash. A machine with more of
them begins where there is room, and its head is repeated on every page; others are never split."""


def sheet_html(sheet: CountSheet) -> str:
    """The whole page."""
    style = asset("tokens.css") + asset("sheet.css")
    script = asset("sheet.js")
    return page(
        "sheet.html",
        sheet=sheet,
        machines=_many(len(sheet.machines), "machine"),
        slots=_many(sum(len(machine.slots) for machine in sheet.machines), "slot"),
        cautions=CAUTIONS,
        long=_LONG,
        facts=_facts(sheet),
        style=Markup(style),
        script=script,
        policy=content_security(scripts=[script], styles=[style]),
    )


def _many(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _facts(sheet: CountSheet) -> dict[str, object]:
    """What the script needs to know, exactly as the layout has it: labels are not spelled out here."""
    machines = [
        {"machine": machine.machine, "zone": machine.zone, "digits": machine.digits,
         "labels": [slot.label for slot in machine.slots]}
        for machine in sheet.machines
    ]  # fmt: skip
    return {"id": sheet.id, "zone": sheet.zone, "most": LARGEST_UNITS, "machines": machines}
