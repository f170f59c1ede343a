"""The routes that the tests of the HTML report draw, each reconciled once."""

from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from builders import RouteBuilder, slot
from hostile_names import hostile_route

import recon
from recon.report.html import report_pages

TOP = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 9, 29, 13, 40, tzinfo=UTC)


@cache
def reconciled(name: str) -> recon.Run:
    """bayside, clean: the samples. hostile: one machine and strangers; hostile-many: fourteen. bare: a layout alone
    and one log. foreign: machines in three currencies and zones. crowd: trays of twenty-four slots, short and over, and
    a label of 64 letters. agreeing: a machine where everything agrees, among others that lack one thing each for that;
    agreeing-many: the same beside eleven more where everything agrees."""
    if name in ("bayside", "clean"):
        return recon.run(TOP / "samples" / name, now=NOW)
    with TemporaryDirectory() as folder:
        root = Path(folder)
        if name.startswith("hostile"):
            return hostile_route(root, machines=14 if name == "hostile-many" else 1).run()
        if name == "bare":
            return RouteBuilder(root).machine("m-1", slot("A1")).vends("09-03 12:00, A1, cash, 2.00").run()
        if name.startswith("agreeing"):
            return _agreeing(root, more=11 if name == "agreeing-many" else 0).run()
        return (_crowd(root) if name == "crowd" else _foreign(root)).run()


def _agreeing(root: Path, more: int) -> RouteBuilder:
    """a-agrees: two windows, sold and counted alike; a-short: one unit fewer. a-cash: the box holds less than was sold.
    a-alone: never counted. a-unmapped: sold once from a number that no slot has."""
    route = RouteBuilder(root)
    others = ("a-short", "a-cash", "a-alone", "a-unmapped")
    for machine in ("a-agrees", *others, *(f"b-{number:02}" for number in range(more))):
        route.machine(machine, slot("A1"), slot("A2"))
        route.vends("09-03 12:00, A1, cash, 2.00", "09-04 12:00, A1, card, 2.00", machine=machine)
        if machine == "a-alone":
            continue
        left = 7 if machine == "a-short" else 8
        route.counts("09-01 09:00, A1, 10", f"09-08 09:00, A1, {left}", machine=machine)
        route.counts("09-01 09:00, A2, 10", "09-08 09:00, A2, 10", machine=machine)
        route.cash("09-01 09:00, 0, 0", f"09-08 09:00, {'1.00' if machine == 'a-cash' else '2.00'}, 0", machine=machine)
        if machine == "a-unmapped":
            route.vends("09-05 12:00, Z9, cash, 2.00", machine=machine)
    return route


def _foreign(root: Path) -> RouteBuilder:
    route = RouteBuilder(root).settings(currency="CAD", timezone="America/Halifax")
    route.machine("m-yen", slot("A1", price="200"), currency="JPY", timezone="Asia/Tokyo")
    route.machine("m-kuwait", slot("A1", price="1.500"), currency="KWD", timezone="Asia/Kuwait")
    route.machine("m-home", slot("A1"))
    for machine, price in (("m-yen", "200"), ("m-kuwait", "1.500"), ("m-home", "2.00")):
        route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7", machine=machine)
        route.vends(f"09-06 23:30, A1, cash, {price}", f"09-07 00:30, A1, card, {price}", machine=machine)
        route.cash("09-01 09:00, 0, 0", "09-08 09:00, 0, 0", machine=machine)
    return route


def _crowd(root: Path) -> RouteBuilder:
    labels = [f"{tray}{place:02}" for tray in (1, 2) for place in range(24)]
    route = RouteBuilder(root).machine("m-1", *(slot(label, tray=label[0]) for label in labels), slot("L" * 64))
    visits = (("09-01", 20), ("09-08", 9), ("09-15", 31))
    return route.counts(*(f"{day} 09:00, {label}, {units}" for day, units in visits for label in labels[:30]))


ROUTES = ("bayside", "clean", "hostile", "hostile-many", "bare", "foreign", "crowd", "agreeing", "agreeing-many")


@cache
def pages(name: str) -> dict[str, str]:
    """The pages of that route's report, path to HTML."""
    made = list(report_pages(reconciled(name).reconciliation))
    assert len({path for path, _ in made}) == len(made)
    return dict(made)
