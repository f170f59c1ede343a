"""A route whose every name does its worst: tags, formulas, marks that turn text round, 500 characters."""

from pathlib import Path

from builders import RouteBuilder, slot

SCRIPT = "<script>alert(1)</script>"
TURNED = "safe\u202etxt.exe\u202c \u05d0\u05d1\u05d2"
FORMULA = "=cmd|'/C calc'!A1"
LONG = "Unbreakable" * 45 + "Long"
QUOTES = "\"><img src=x onerror=alert(1)>'`{{7*7}}</style>"
ENTITY = "&lt;b&gt; &amp; &#60;"


def hostile_route(root: Path, *, machines: int = 1) -> RouteBuilder:
    """Short, over, unmapped, rejected and unknown, all under hostile names. machines: how many of them with layouts."""
    route = RouteBuilder(root).settings(timezone="America/Halifax")
    route.file(
        "products.csv",
        "id,name,unit_cost\n"
        + "".join(
            f'p{at},"{name.replace(chr(34), chr(34) * 2)}",0.50\n'
            for at, name in enumerate((SCRIPT, TURNED, FORMULA, LONG, QUOTES, ENTITY))
        ),
    )
    labels = ("A1", "<b>2", 'A"3', "=4", "\u202eA5", "\u05d06")
    for number in range(machines):
        slots = [
            slot(label, product=f"p{at}", tray=SCRIPT if at < 3 else LONG[:64], bus=at + 1)
            for at, label in enumerate(labels)
        ]
        route.machine(f"m-{number + 1}", *slots, site=f"{SCRIPT} {TURNED} {LONG}")
    for machine in route.machines:
        rows = [f"09-0{day} 09:00, {_cell(label)}, {count}" for day, count in ((1, 10), (8, 7)) for label in labels]
        route.counts(*rows, name=f"counts {machine} {FORMULA.replace('/', '')}.csv", machine=machine)
        route.vends(
            f"09-03 12:00, {_cell(labels[1])}, cash, 2.00, vended, {_cell(SCRIPT)}",
            f"09-03 13:00, {_cell(QUOTES)}, card, 2.00",
            "09-03 14:00, A1, cash, two",
            name="vends <b>&amp;.csv",
            machine=machine,
        )
        route.cash("09-01 09:00, 0, 0", "09-08 09:00, 1.00, 0", machine=machine)
    route.vends("09-03 12:00, A1, cash, 2.00", name="strangers.csv", machine=_cell(f"{SCRIPT}{TURNED}"))
    route.vends("09-03 12:00, A1, cash, 2.00", name="strangers.csv", machine=_cell(LONG))
    route.vends("09-03 12:00, A1, cash, 2.00", name="strangers.csv", machine=_cell(FORMULA))
    return route.payouts(f"2026-09-09, 2026-09-01, 2026-09-03, 1.00, 0.06, 0.94, {_cell(SCRIPT)}")


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'
