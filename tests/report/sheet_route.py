"""A small route for the tests of count sheets, with names that a hostile or clumsy hand could have given."""

from datetime import UTC, datetime
from pathlib import Path

from builders import RouteBuilder, change, slot

NOW = datetime(2026, 9, 28, 16, 0, tzinfo=UTC)
"""13:00 in Halifax, 22:00 in Tehran."""

SCRIPT = "<script>alert(1)</script>"
FORMULA = '=cmd()|" /C calc"!A0'
TURNED = "left\u202egnp.exe\u202c \u05d0\u05d1\u05d2 right"
LONG = "Very long name " * 33 + "end!!"
assert len(LONG) == 500


def two_machines(root: Path) -> RouteBuilder:
    """quay-2 in Halifax with trays top and low; desk-9 in Tehran, in yen. Slot 7 is out of use, 11 retired in June."""
    route = RouteBuilder(root).settings(currency="CAD", timezone="America/Halifax")
    route.machine(
        "quay-2",
        slot("12", tray="top", product="oat-bar", par=8),
        slot("2", tray="top", product="mint"),
        slot("110", tray="low", product="tea"),
        slot("7", tray="low", product=None, price=None),
        slot("11", tray="low", product="tea"),
        changes=[
            change("2026-06-01T08:00:00", "11", retire=True),
            change("2026-09-30T09:30:00", "2", product="tea"),
            change("2026-09-30T09:30:00", "7", product="oat-bar", price="2.00"),
        ],
        site="Ferry quay, gate 2",
    )
    route.machine("desk-9", slot("A10"), slot("A2"), timezone="Asia/Tehran", currency="JPY")
    return route.file(
        "products.csv", 'id,name,unit_cost\noat-bar,"Oat bar, dark",0.5\nmint,Mint drops,0.4\ntea,Iced tea,0.6\n'
    )


def hostile(root: Path) -> RouteBuilder:
    """One machine whose products, site, tray and a label are hostile texts."""
    route = RouteBuilder(root).settings(timezone="America/Halifax")
    route.machine(
        "m-1",
        slot("1", tray=SCRIPT, product="script"),
        slot("2", tray=SCRIPT, product="formula"),
        slot("3", tray="=2+5", product="turned"),
        slot("4", tray="=2+5", product="long"),
        slot("=cmd()", tray="=2+5", product="unnamed"),
        site=f"{SCRIPT} {TURNED}",
    )
    cells = [("script", SCRIPT), ("formula", FORMULA), ("turned", TURNED), ("long", LONG)]
    rows = "".join('{},"{}",0.5\n'.format(key, name.replace('"', '""')) for key, name in cells)
    return route.file("products.csv", f"id,name,unit_cost\n{rows}")
