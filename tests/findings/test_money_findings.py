"""Findings about money: each kind fires, its near miss does not, with amounts and the rows behind it
(invented data)."""

from decimal import Decimal

import pytest
from builders import RouteBuilder, kinds, of_kind, only, places, slot

OPENED = "2026-09-01T09:00:00+00:00"
CLOSED = "2026-09-08T09:00:00+00:00"
CASH_KINDS = ("cash-short", "cash-over", "boundary-vends", "cash-not-logged", "no-collection")
PAYOUT_KINDS = ("payout-short", "payout-over", "unpaid-vends", "fee-differs", "payout-undated")


def boxes(route: RouteBuilder, *collected: str) -> RouteBuilder:
    """A machine for each amount, with 20.00 of cash vends logged between two collections."""
    for at, amount in enumerate(collected, start=1):
        name = f"m-{at}"
        route.machine(name, slot("A1")).vends("09-03 12:00, A1, cash, 2.00, vended, , 10", machine=name)
        route.cash("09-01 09:00, 0.00, 5.00", f"09-08 09:00, {amount}, 5.00", machine=name)
    return route


def test_cash_short_and_over_beyond_the_tolerance(route: RouteBuilder) -> None:
    """1.00 either way agrees by default; a cent more does not."""
    run = boxes(route, "19.00", "18.99", "21.00", "21.01").run()
    short, over = of_kind(run, *CASH_KINDS)
    assert [(each.kind, each.severity, each.machine, each.amount) for each in (short, over)] == [
        ("cash-short", "error", "m-2", Decimal("-1.01")),
        ("cash-over", "warning", "m-4", Decimal("1.01")),
    ]
    assert (places(short), places(over)) == (
        {("cash.csv", 4), ("cash.csv", 5)},
        {("cash.csv", 8), ("cash.csv", 9)},
    )
    for found in (short, over):
        assert found.opened_at is not None
        assert found.closed_at is not None
        assert (found.opened_at.isoformat(), found.closed_at.isoformat()) == (OPENED, CLOSED)
        assert (found.label, found.units) == (None, None)


def test_the_cash_tolerance_is_a_setting(route: RouteBuilder) -> None:
    assert "cash-short" in kinds(boxes(route.settings(tolerance={"cash": "0.00"}), "19.99").run())
    assert "cash-short" not in kinds(route.settings(tolerance={"cash": "0.01"}).run())


def test_cash_that_a_vend_near_the_collection_explains(route: RouteBuilder) -> None:
    """m-1 lacks 3.00 and has a vend of 2.00 ten minutes before the collection; m-2 lacks 3.01."""
    boxes(route, "19.00", "18.99")
    for name in ("m-1", "m-2"):
        route.vends("09-08 08:50, A1, cash, 2.00", machine=name)
    undecided, short = sorted(of_kind(route.run(), *CASH_KINDS), key=lambda found: str(found.machine))
    assert (undecided.kind, undecided.machine, undecided.amount, undecided.label) == (
        "boundary-vends",
        "m-1",
        -3,
        None,
    )
    assert (short.kind, short.machine, short.amount) == ("cash-short", "m-2", Decimal("-3.01"))
    assert places(undecided) == {("cash.csv", 2), ("cash.csv", 3)}


def test_cash_that_only_unpriced_vends_could_explain_is_no_finding_of_its_own(route: RouteBuilder) -> None:
    """The vend without a price costs 1.00 to 9.00: 5.00 more in the box than the least is within the
    range."""
    route.machine("m-1", slot("A1", price=None), slot("A2", price="1.00"), slot("A3", price="9.00"))
    route.vends("09-03 12:00, A1, cash").cash("09-01 09:00, 0, 0", "09-08 09:00, 6.00, 0")
    run = route.run()
    assert kinds(run) == {"unpriced-vend", "no-opening-count"}
    assert only(run.results.cash).over_short == 5


def test_cash_of_a_machine_that_logs_none(route: RouteBuilder) -> None:
    """m-1 gave cash and logs card vends alone; m-2 gave none; m-3 logs one cash vend."""
    for at, (tender, took) in enumerate([("card", "30.00"), ("card", "0.00"), ("cash", "2.00")], start=1):
        name = f"m-{at}"
        route.machine(name, slot("A1")).vends(f"09-03 12:00, A1, {tender}, 2.00", machine=name)
        route.cash("09-01 09:00, 0.00, 5.00", f"09-08 09:00, {took}, 7.50", machine=name)
    run = route.run()
    found = only(of_kind(run, "cash-not-logged"))
    assert (found.machine, found.amount, found.severity, places(found)) == (
        "m-1",
        Decimal("32.50"),
        "warning",
        {("cash.csv", 2), ("cash.csv", 3)},
    )
    assert [(box.expected, box.over_short) for box in run.results.cash] == [
        (None, None),
        (None, None),
        (2, Decimal("2.50")),
    ]


def test_cash_vends_that_no_two_collections_enclose(route: RouteBuilder) -> None:
    """m-1 has none at all, m-2 a vend before the first, m-3 one behind the last and a visit since; m-4 is in
    order."""
    for at, times in enumerate([("09-03",), ("08-31", "09-03"), ("09-03", "09-10"), ("09-03",)], start=1):
        name = f"m-{at}"
        route.machine(name, slot("A1")).vends(*(f"{day} 12:00, A1, cash, 2.00" for day in times), machine=name)
        if name != "m-1":
            route.cash("09-01 09:00, 0, 0", "09-08 09:00, 2.00, 0", machine=name)
    route.counts("09-15 09:00, A1, 9", machine="m-3").counts("09-08 09:05, A1, 9", machine="m-4")
    found = {each.machine: (each.kind, each.amount, places(each)) for each in of_kind(route.run(), *CASH_KINDS)}
    assert found == {
        "m-1": ("no-collection", 2, {("vends.csv", 2)}),
        "m-2": ("no-collection", 2, {("vends.csv", 3)}),
        "m-3": ("no-collection", 2, {("vends.csv", 6)}),
    }


def test_cash_since_the_last_collection_is_still_in_the_machine(route: RouteBuilder) -> None:
    """Without a visit since, nothing is missing; a card vend needs no collection."""
    boxes(route, "20.00").vends("09-10 12:00, A1, cash, 2.00").counts("09-08 09:05, A1, 9").vends(
        "08-30 12:00, A1, card, 2.00"
    )
    assert kinds(route.run()) & set(CASH_KINDS) == set()


TERMS = {"percent": "10", "per_vend": "0.00", "monthly": "5.00"}


def paid(route: RouteBuilder, *statements: str) -> RouteBuilder:
    """A card vend of 100.00 on the first day of each statement: one statement for each week of September."""
    route.settings(cards=TERMS).machine("m-1", slot("A1", price="100.00"))
    for at, figures in enumerate(statements):
        first, last = 1 + 7 * at, 7 + 7 * at
        route.vends(f"09-{first:02d} 12:00, A1, card, 100.00")
        if figures:
            route.payouts(f"2026-09-30, 2026-09-{first:02d}, 2026-09-{last:02d}, {figures}, P-{at + 1}")
    return route


def test_payouts_short_and_over_beyond_the_tolerance(route: RouteBuilder) -> None:
    run = paid(
        route, "100.00, 10.00, 89.00", "100.00, 10.00, 88.99", "101.00, 10.10, 90.90", "101.01, 10.10, 90.91"
    ).run()
    found = {each.kind: (each.severity, each.amount, places(each)) for each in of_kind(run, *PAYOUT_KINDS)}
    assert found == {
        "payout-short": ("error", Decimal("-1.01"), {("payouts.csv", 3)}),
        "payout-over": ("warning", Decimal("1.01"), {("payouts.csv", 5)}),
    }


def test_a_statement_without_fees_is_held_against_the_terms(route: RouteBuilder) -> None:
    """90.00 is 100.00 less ten percent; 85.00 may be less the monthly fee too; 83.99 is neither."""
    run = paid(route, "100.00, , 90.00", "100.00, , 85.00", "100.00, , 83.99").run()
    found = only(of_kind(run, *PAYOUT_KINDS))
    assert (found.kind, found.amount, places(found)) == (
        "payout-short",
        Decimal("-6.01"),
        {("payouts.csv", 4)},
    )


def test_fees_other_than_agreed(route: RouteBuilder) -> None:
    """10.00 is agreed; 15.00 with the monthly fee; a tolerance of 1.00 stands for rounding; 11.01 and 8.99
    are neither."""
    run = paid(
        route, "100.00, 15.00, 85.00", "100.00, 11.00, 89.00", "100.00, 11.01, 88.99", "100.00, 8.99, 91.01"
    ).run()
    found = sorted((each.kind, each.severity, each.amount, places(each).pop()) for each in of_kind(run, *PAYOUT_KINDS))
    assert found == [
        ("fee-differs", "warning", Decimal("-1.01"), ("payouts.csv", 4)),
        ("fee-differs", "warning", Decimal("1.01"), ("payouts.csv", 5)),
    ]


def test_days_that_no_payout_covers(route: RouteBuilder) -> None:
    """The second week has no statement though the third has; the fourth is still to be paid."""
    run = paid(route, "100.00, 10.00, 90.00", "", "100.00, 10.00, 90.00", "").run()
    found = only(of_kind(run, *PAYOUT_KINDS))
    assert (found.kind, found.severity, found.machine, found.amount) == ("unpaid-vends", "error", "m-1", -100)
    assert places(found) == {("vends.csv", 3)}


def test_a_card_vend_that_was_refunded_or_failed_asks_for_no_payout(route: RouteBuilder) -> None:
    paid(route, "100.00, 10.00, 90.00", "", "100.00, 10.00, 90.00")
    text = (route.root / "inbox/vends.csv").read_text().splitlines()
    text[2] = text[2].replace("100.00,,,", "100.00,refunded,,")
    assert text[2].count("refunded") == 1
    route.file("inbox/vends.csv", "\n".join(text) + "\n")
    assert of_kind(route.run(), *PAYOUT_KINDS) == []


def test_a_payout_without_its_days_cannot_be_checked(route: RouteBuilder) -> None:
    route.payouts("2026-09-30, , , , , 90.00, P-1", "2026-09-30, 2026-09-01, 2026-09-07, , , 0.00, P-2")
    run = route.run()
    found = only(of_kind(run, *PAYOUT_KINDS))
    assert (found.kind, found.severity, found.amount, places(found)) == (
        "payout-undated",
        "note",
        90,
        {("payouts.csv", 2)},
    )
    undated = next(one for one in run.results.payouts if one.reference == "P-1")
    assert (undated.net_expected, undated.over_short, undated.vends) == (None, None, None)


@pytest.mark.parametrize("tender", ["prepaid", "token", "free", "test"])
def test_other_tenders_are_neither_in_the_box_nor_in_a_payout(route: RouteBuilder, tender: str) -> None:
    route.vends(f"09-03 12:00, A1, {tender}, 2.00").cash("09-01 09:00, 0, 0", "09-08 09:00, 0, 0")
    route.payouts("2026-09-30, 2026-09-01, 2026-09-07, 0.00, 0.00, 0.00, P-1")
    assert kinds(route.run()) <= {"no-opening-count"}
