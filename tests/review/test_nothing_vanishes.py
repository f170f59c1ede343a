"""Sheets whose rows no figure holds are told of (invented data)."""

from decimal import Decimal

from builders import RouteBuilder, change, kinds, of_kind, only, places, slot


def test_counts_and_loads_by_a_number_of_no_slot(route: RouteBuilder) -> None:
    """Number 5 was A1's until the 10th; 7 was nobody's."""
    route.machine("m-1", slot("A1", bus=5), changes=[change("2026-09-10T00:00:00", "A1", bus=6)])
    route.counts("09-01 09:00, 5, 9", "09-12 09:00, 5, 8", "09-12 09:00, 6, 9", columns="time,bus,counted")
    route.loads("09-08 09:00, 7, 3", columns="time,bus,loaded")
    run = route.run()
    five, seven = sorted(of_kind(run, "number-without-slot"), key=lambda found: found.bus or 0)
    assert (five.machine, five.bus, five.severity, places(five)) == ("m-1", 5, "error", {("counts.csv", 3)})
    assert (seven.bus, places(seven)) == (7, {("loads.csv", 2)})
    assert only(run.results.stock).variance == 0


def test_counts_of_a_machine_without_a_layout_are_told_as_that(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, 5, 9", columns="time,bus,counted", machine="m-9")
    assert kinds(route.run()) == {"unknown-machine"}


def test_a_collection_that_a_later_sheet_gives_otherwise(route: RouteBuilder) -> None:
    """The rows of a sheet add up (two bags), and the whole sheet replaces the earlier one."""
    route.cash("09-01 09:00, 0.00, 5.00", "09-08 09:00, 20.00, 5.00", name="cash-1.csv")
    route.cash("09-08 09:00, 20.00, 5.00", "09-08 09:00, 1.50, 5.00", name="cash-2.csv")
    route.vends("09-03 12:00, A1, cash, 2.00, vended, , 10")
    run = route.run()
    found = only(of_kind(run, "collection-restated"))
    assert (found.machine, found.amount, found.severity) == ("m-1", Decimal("1.50"), "warning")
    assert only(run.results.cash).collected == Decimal("21.50")


def test_a_collection_told_again_alike_counts_once(route: RouteBuilder) -> None:
    """Two bags on a sheet, and the same sheet typed again in another order."""
    bags = ["09-08 09:00, 20.00, 5.00", "09-08 09:00, 1.50, 5.00"]
    route.cash("09-01 09:00, 0.00, 5.00", *bags, name="cash-1.csv").cash(bags[1], bags[0], name="cash-2.csv")
    route.vends("09-03 12:00, A1, cash, 2.00")
    run = route.run()
    assert only(run.results.cash).collected == Decimal("21.50")
    assert [file.duplicate for file in run.results.inputs] == [0, 2, 0]


def test_a_collection_told_twice_alike_is_no_finding(route: RouteBuilder) -> None:
    for name in ("cash-1.csv", "cash-2.csv"):
        route.cash("09-01 09:00, 0.00, 5.00", "09-08 09:00, 20.00, 5.00", name=name)
    assert "collection-restated" not in kinds(route.run())


def test_a_balance_below_zero_says_since_when_and_how_far(route: RouteBuilder) -> None:
    """One too many by the 3rd, three by the 5th."""
    route.counts("09-01 09:00, A1, 9").vends(
        "09-03 12:00, A1, cash, 2.00, vended, , 10", "09-05 12:00, A1, cash, 2.00, vended, , 2"
    )
    found = only(of_kind(route.run(), "below-zero"))
    assert found.units == -3
    assert "below nothing from 2026-09-03 12:00 on, down to -3 units" in found.message
