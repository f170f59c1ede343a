"""Findings about vends: each kind fires, its near miss does not, with units, money and the rows behind it
(invented data)."""

from decimal import Decimal

from builders import RouteBuilder, change, kinds, of_kind, only, places, slot

BY_NUMBER = "time,bus,tender,price,outcome,reference,quantity"


def test_a_number_that_no_slot_had_at_that_time(route: RouteBuilder) -> None:
    """5 was nobody's; 4 was A1's until the third; 3 is A1's from then on; a failed vend takes no unit."""
    route.machine("m-1", slot("A1", bus=4), changes=[change("2026-09-03T00:00:00", "A1", bus=3)])
    route.vends(
        "09-02 12:00, 4, cash, 2.00",
        "09-02 12:00, 5, cash, 2.00, vended, , 2",
        "09-02 13:00, 5, card, 2.00, failed",
        "09-02 23:59, 3, cash, 2.00",
        "09-03 00:00, 3, cash, 2.00",
        "09-03 00:00, 4, cash, 2.00",
        columns=BY_NUMBER,
    )
    found = {
        each.bus: (each.severity, each.machine, each.label, each.units, places(each))
        for each in of_kind(route.run(), "unmapped-number")
    }
    assert found == {
        5: ("error", "m-1", None, -2, {("vends.csv", 3), ("vends.csv", 4)}),
        3: ("error", "m-1", None, -1, {("vends.csv", 5)}),
        4: ("error", "m-1", None, -1, {("vends.csv", 7)}),
    }


def test_a_label_that_no_slot_in_use_has(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1"), changes=[change("2026-09-03T00:00:00", "A1", retire=True)])
    route.vends("09-02 12:00, A1, cash, 2.00", "09-03 00:00, A1, cash, 2.00", "09-02 12:00, A2, cash, 2.00")
    found = {each.label: (each.bus, each.units, places(each)) for each in of_kind(route.run(), "unmapped-number")}
    assert found == {"A1": (None, -1, {("vends.csv", 3)}), "A2": (None, -1, {("vends.csv", 4)})}


def test_vends_without_any_number(route: RouteBuilder) -> None:
    """FFFFh and the empty cell name no item; 65534 is a number like any other (MDB/ICP marks undefined by
    FFFFh)."""
    route.machine("m-1", slot("A1", bus=65534))
    cells = ("65535", "", "0xFFFF", "65534")
    route.vends(*(f"09-02 12:0{at}, {cell}, cash, 2.00" for at, cell in enumerate(cells)), columns=BY_NUMBER)
    run = route.run()
    found = only(of_kind(run, "undefined-number", "unmapped-number"))
    assert (found.kind, found.severity, found.machine, found.units) == (
        "undefined-number",
        "warning",
        "m-1",
        -3,
    )
    assert places(found) == {("vends.csv", line) for line in (2, 3, 4)}
    assert run.results.machines[0].sales == 8


def weeks(route: RouteBuilder, label: str, *sold: int) -> None:
    """Counted and filled every week, with these vends in each, spread over its days."""
    for week, count in enumerate(sold):
        first, gone = 1 + 7 * week, sold[week - 1] if week else 0
        route.counts(f"08-{first:02d} 09:00, {label}, {30 - gone}, {gone}")
        route.vends(*(f"08-{first + at % 7:02d} {10 + at // 7}:00, {label}, card, 2.00" for at in range(count)))
    route.counts(f"08-{1 + 7 * len(sold):02d} 09:00, {label}, {30 - sold[-1]}")


def test_a_stocked_slot_that_ought_to_have_sold(route: RouteBuilder) -> None:
    """After n vends in E days, none in a further T has the chance (E / (E + T)) ** n. Here E is 21 and T a
    little above 6, for so long A3 shows that the machine's log goes on: below 1 in 1,000 for A1's 30 vends,
    far above it for A2's 6. The formula is the one that recon.balance.silence states."""
    assert (21 / 27) ** 30 < 0.001 < (21 / 28) ** 6
    route.machine("m-1", slot("A1"), slot("A2"), slot("A3"))
    weeks(route, "A1", 10, 10, 10, 0)
    weeks(route, "A2", 2, 2, 2, 0)
    weeks(route, "A3", 10, 10, 10, 7)
    found = only(of_kind(route.run(), "silent-slot"))
    assert (found.machine, found.label, found.units, found.severity) == ("m-1", "A1", 30, "warning")
    assert found.opened_at is not None
    assert found.opened_at.isoformat() == "2026-08-22T09:00:00+00:00"
    # Sheet rows: A1's five come first, so its opening count of the fourth week is on line 5.
    assert places(found) == {("counts.csv", 5)}


def test_an_empty_slot_or_an_idle_machine_is_not_silent(route: RouteBuilder) -> None:
    """A1 sells out in the second week; in the third nothing of the machine is in the log."""
    route.machine("m-1", slot("A1"), slot("A2"))
    route.counts(
        "08-01 09:00, A1, 30",
        "08-08 09:00, A1, 10",
        "08-15 09:00, A1, 0",
        "08-22 09:00, A1, 0",
        "08-29 09:00, A1, 0",
    )
    route.vends("08-02 12:00, A1, card, 2.00, vended, , 20", "08-09 12:00, A1, card, 2.00, vended, , 10")
    weeks(route, "A2", 20, 20, 0, 20)
    assert [each.label for each in of_kind(route.run(), "silent-slot")] == []


def test_prices_that_were_filled(route: RouteBuilder) -> None:
    """From the layout for A1, from the neighbours for A2; each tender by itself; nothing where the log has
    the price."""
    route.machine("m-1", slot("A1", card_price="2.10"), slot("A2", price=None), slot("A3"))
    route.vends(
        "09-02 12:00, A1, cash",
        "09-02 12:01, A1, card",
        "09-02 12:02, A1, cash",
        "09-02 12:03, A3, cash, 2.00",
        "09-02 12:04, A3, free",
    )
    route.vends("09-02 12:00, A2, cash, 1.50", "09-02 12:01, A2, cash", "09-02 12:02, A2, cash, 1.50", name="more.csv")
    found = [
        (each.severity, each.label, places(each)) for each in of_kind(route.run(), "missing-price", "unpriced-vend")
    ]
    assert sorted(found, key=lambda each: str(sorted(each[2]))) == [
        ("note", "A2", {("more.csv", 3)}),
        ("note", "A1", {("vends.csv", 2), ("vends.csv", 4)}),
        ("note", "A1", {("vends.csv", 3)}),
    ]


def test_prices_that_nothing_settles(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", price=None, bus=1), slot("A2", price="3.00", bus=2))
    route.vends(
        "09-02 12:00, 1, cash, 1.50",
        "09-02 12:01, 1, cash",
        "09-02 12:02, 1, cash, 1.75",
        "09-02 12:03, 9, cash",
        "09-02 12:04, 1, cash, , failed",
        columns=BY_NUMBER,
    )
    found = {(each.severity, each.label, each.bus): places(each) for each in of_kind(route.run(), "unpriced-vend")}
    assert found == {("warning", "A1", None): {("vends.csv", 3)}, ("warning", None, 9): {("vends.csv", 5)}}


def test_prices_other_than_the_layouts(route: RouteBuilder) -> None:
    """Each tender against its own price, each vend as often as its quantity."""
    route.machine("m-1", slot("A1", card_price="2.10"))
    route.vends(
        "09-02 12:00, A1, cash, 2.10, vended, , 2",
        "09-02 12:01, A1, cash, 2.00",
        "09-02 12:02, A1, card, 2.10",
        "09-02 12:03, A1, card, 2.00",
        "09-02 12:04, A1, card, 2.00",
        "09-02 12:05, A1, free, 0.00",
        "09-02 12:06, A1, cash, 9.00, cancelled",
    )
    found = {each.amount: (each.severity, each.label, places(each)) for each in of_kind(route.run(), "price-differs")}
    assert found == {
        Decimal("0.20"): ("warning", "A1", {("vends.csv", 2)}),
        Decimal("-0.20"): ("warning", "A1", {("vends.csv", 5), ("vends.csv", 6)}),
    }


def test_the_layouts_price_of_that_time_is_what_is_compared(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1"), changes=[change("2026-09-02T12:30:00", "A1", price="2.50")])
    route.vends("09-02 12:00, A1, cash, 2.00", "09-02 13:00, A1, cash, 2.50")
    assert "price-differs" not in kinds(route.run())


def test_a_machine_without_a_layout(route: RouteBuilder) -> None:
    """Rows of every kind that name it are one finding; a payout for all machines names none."""
    route.vends("09-02 12:00, A1, cash, 2.00", machine="m-2").counts("09-01 09:00, A1, 9", machine="m-2").cash(
        "09-01 09:00, 0, 0", machine="m-2"
    )
    route.payouts("2026-09-30, 2026-09-01, 2026-09-07, 0.00, 0.00, 0.00")
    run = route.run()
    found = only(run.results.findings)
    assert (found.kind, found.severity, found.machine, found.evidence_count) == (
        "unknown-machine",
        "error",
        "m-2",
        3,
    )
    assert places(found) == {("vends.csv", 2), ("counts.csv", 2), ("cash.csv", 2)}
    # Its vends are kept and counted.
    assert {machine.machine: machine.sales for machine in run.results.machines} == {"m-1": 0, "m-2": 2}
