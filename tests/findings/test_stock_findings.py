"""Findings about stock: each kind fires, its near miss does not, with units, money and the rows behind it
(invented data)."""

from decimal import Decimal

import pytest
from builders import RouteBuilder, change, kinds, of_kind, only, places, slot

from recon.model.results import Finding

OPENED = "2026-09-01T09:00:00+00:00"
CLOSED = "2026-09-08T09:00:00+00:00"


def place(finding: Finding) -> tuple[str | None, str | None, str | None, str | None]:
    spans = (
        finding.opened_at and finding.opened_at.isoformat(),
        finding.closed_at and finding.closed_at.isoformat(),
    )
    return finding.machine, finding.label, *spans


@pytest.fixture
def three(route: RouteBuilder) -> RouteBuilder:
    """Three slots counted at 9 in the morning of the first of September."""
    labels = ("A1", "A2", "A3")
    route.machine("m-1", *(slot(label) for label in labels))
    return route.counts(*(f"09-01 09:00, {label}, 10" for label in labels))


@pytest.mark.parametrize(("kind", "sign", "severity"), [("stock-short", -1, "error"), ("stock-over", 1, "warning")])
def test_a_variance_outside_the_tolerance(three: RouteBuilder, kind: str, sign: int, severity: str) -> None:
    three.settings(tolerance={"units": 2}).vends("09-03 12:00, A1, cash, 2.00").loads("09-04 12:00, A1, 1")
    three.counts(f"09-08 09:00, A1, {10 + 3 * sign}", f"09-08 09:00, A2, {10 + 2 * sign}", "09-08 09:00, A3, 10")
    found = only(of_kind(three.run(), "stock-short", "stock-over", "boundary-vends"))
    assert (found.kind, found.severity, *place(found)) == (kind, severity, "m-1", "A1", OPENED, CLOSED)
    assert (found.units, found.amount, found.product) == (3 * sign, 6 * sign, "gum")
    assert places(found) == {("counts.csv", 2), ("counts.csv", 5), ("vends.csv", 2), ("loads.csv", 2)}
    assert found.evidence_count == 4
    assert [proof.row for proof in found.evidence[:2]] == [2, 5]


def test_boundary_vends_alone_explain_a_variance_or_not(three: RouteBuilder) -> None:
    """A1 is short one and has one vend on the far side of the count; A2 is short two and has one; A3 is over
    and has one on the near side."""
    three.vends("09-08 09:10, A1, cash, 2.00", "09-08 09:10, A2, cash, 2.00", "09-08 08:50, A3, cash, 2.00")
    three.counts("09-08 09:00, A1, 9", "09-08 09:00, A2, 8", "09-08 09:00, A3, 10")
    run = three.run()
    first, other = of_kind(run, "boundary-vends")
    assert {(found.label, found.units, found.amount) for found in (first, other)} == {
        ("A1", -1, -2),
        ("A3", 1, 2),
    }
    assert {found.severity for found in (first, other)} == {"note"}
    assert only(of_kind(run, "stock-short")).label == "A2"
    over = next(found for found in (first, other) if found.label == "A3")
    assert places(over) == {("counts.csv", 4), ("counts.csv", 7), ("vends.csv", 4)}


def test_the_boundary_minutes_are_a_setting(three: RouteBuilder) -> None:
    three.settings(tolerance={"boundary_minutes": 9})
    three.vends("09-08 09:10, A1, cash, 2.00", "09-08 09:09, A2, cash, 2.00").counts(
        "09-08 09:00, A1, 9", "09-08 09:00, A2, 9"
    )
    run = three.run()
    assert (only(of_kind(run, "stock-short")).label, only(of_kind(run, "boundary-vends")).label) == (
        "A1",
        "A2",
    )


def test_a_balance_below_zero(three: RouteBuilder) -> None:
    """A1 sells twelve of ten; A2 sells all ten; A3 sells eleven, but one of them so near the count that it
    proves nothing."""
    three.vends("09-03 12:00, A1, cash, 2.00, vended, , 9", "09-04 12:00, A1, cash, 2.00, vended, , 3")
    three.vends(
        "09-03 12:00, A2, cash, 2.00, vended, , 10",
        "09-03 12:00, A3, cash, 2.00, vended, , 10",
        "09-01 09:05, A3, cash, 2.00",
    )
    three.counts(*(f"09-08 09:00, {label}, 0" for label in ("A1", "A2", "A3")))
    found = only(of_kind(three.run(), "below-zero"))
    assert (*place(found), found.units, found.severity) == ("m-1", "A1", OPENED, CLOSED, -2, "warning")
    assert places(found) == {("vends.csv", 3), ("counts.csv", 2)}


def test_a_balance_below_zero_in_a_window_that_no_count_closes(three: RouteBuilder) -> None:
    three.vends("09-03 12:00, A1, cash, 2.00, vended, , 11")
    run = three.run()
    found = only(of_kind(run, "below-zero"))
    assert (*place(found), run.results.stock) == ("m-1", "A1", OPENED, None, [])


def test_above_capacity(route: RouteBuilder) -> None:
    """A1 is filled to one more than fits, A2 to the brim; A3 fits its load because its capacity was raised
    the day before."""
    route.machine(
        "m-1",
        *(slot(label, capacity=12) for label in ("A1", "A2", "A3")),
        changes=[change("2026-09-03T00:00:00", "A3", capacity=20)],
    )
    route.counts(*(f"09-01 09:00, {label}, 10" for label in ("A1", "A2", "A3")))
    route.loads("09-04 12:00, A1, 3", "09-04 12:00, A2, 2", "09-04 12:00, A3, 10")
    found = only(of_kind(route.run(), "above-capacity"))
    assert (found.machine, found.label, found.units, found.severity) == ("m-1", "A1", 13, "warning")
    assert places(found) == {("counts.csv", 2), ("loads.csv", 2)}


def test_a_sheet_that_fills_in_more_than_fits(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", capacity=12), slot("A2", capacity=12)).counts(
        "09-01 09:00, A1, 10, 3", "09-01 09:00, A2, 10, 2"
    )
    assert [(found.label, found.units) for found in of_kind(route.run(), "above-capacity")] == [("A1", 13)]


def test_no_opening_count(three: RouteBuilder) -> None:
    """Vends and loads before the first count, or of a slot never counted; not those at the very moment of
    it."""
    three.machine("m-1", slot("A1"), slot("A2"), slot("A3"), slot("A4"))
    three.vends(
        "08-31 12:00, A1, cash, 2.00",
        "08-31 13:00, A1, cash, 2.00",
        "09-01 09:00, A2, cash, 2.00",
        "09-03 12:00, A4, cash, 2.00",
    )
    three.loads("08-30 12:00, A1, 5")
    first, never = of_kind(three.run(), "no-opening-count")
    assert (first.label, first.units, places(first)) == (
        "A1",
        -2,
        {("vends.csv", 2), ("vends.csv", 3), ("loads.csv", 2)},
    )
    assert (never.label, never.units, places(never), never.closed_at) == ("A4", -1, {("vends.csv", 5)}, None)


def test_not_counted(three: RouteBuilder) -> None:
    three.counts("09-08 09:00, A1, ", "09-08 09:00, A2, 0")
    found = only(of_kind(three.run(), "not-counted"))
    assert (found.label, found.severity, places(found)) == ("A1", "note", {("counts.csv", 5)})


def test_count_restated(three: RouteBuilder) -> None:
    three.counts("09-01 09:00, A1, 8", "09-01 09:00, A2, 10", "09-01 09:01, A3, 8", name="later.csv")
    found = only(of_kind(three.run(), "count-restated"))
    assert (found.label, found.units, found.severity, places(found)) == (
        "A1",
        -2,
        "note",
        {("counts.csv", 2), ("later.csv", 2)},
    )


def test_product_changed_without_count(route: RouteBuilder) -> None:
    """A1 changes in the middle of the week; A2 ten minutes before the count, which is that visit; A3 changes
    its price alone."""
    changes = [
        change("2026-09-04T12:00:00", "A1", product="nuts"),
        change("2026-09-08T08:50:00", "A2", product="nuts"),
        change("2026-09-04T12:00:00", "A3", price="3.00"),
    ]
    route.machine("m-1", slot("A1"), slot("A2"), slot("A3"), changes=changes)
    route.counts(*(f"09-{day} 09:00, {label}, 10" for day in ("01", "08") for label in ("A1", "A2", "A3")))
    found = only(of_kind(route.run(), "product-changed-without-count"))
    assert (*place(found), found.severity) == ("m-1", "A1", OPENED, CLOSED, "warning")
    assert places(found) == {("counts.csv", 2), ("counts.csv", 5)}


def test_a_miscount_shows_as_two_windows_that_are_off_by_as_many(route: RouteBuilder) -> None:
    """A count of 8 where there were 10 makes one window short and the next over; nothing nets them."""
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8", "09-15 09:00, A1, 10")
    run = route.run()
    assert [(found.kind, found.units, found.amount) for found in of_kind(run, "stock-short", "stock-over")] == [
        ("stock-short", -2, Decimal(-4)),
        ("stock-over", 2, Decimal(4)),
    ]
    assert only(run.results.machines).shrink_units == -2


def test_a_variance_without_a_price_has_no_amount(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", price=None)).counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8")
    found = only(of_kind(route.run(), "stock-short"))
    assert (found.units, found.amount) == (-2, None)


def test_more_than_twenty_rows_of_evidence_are_counted_and_the_first_kept(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 40", "09-08 09:00, A1, 10").vends(
        *(f"09-03 12:{at:02d}, A1, cash, 2.00" for at in range(25))
    )
    found = only(of_kind(route.run(), "stock-short"))
    assert (len(found.evidence), found.evidence_count) == (20, 27)


def test_a_route_in_order_has_nothing_to_say_of_its_stock(three: RouteBuilder) -> None:
    three.counts(*(f"09-08 09:00, {label}, 10" for label in ("A1", "A2", "A3")))
    assert kinds(three.run()) == set()
