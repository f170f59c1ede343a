"""Payouts of one day that no reference tells apart (invented data)."""

from decimal import Decimal

from builders import RouteBuilder, of_kind, slot

ROWS = ("09-30,2026-09-01,2026-09-07,,,10.00,", "09-30,2026-09-01,2026-09-07,,,20.00,")


def card_route(route: RouteBuilder) -> RouteBuilder:
    route.settings(cards={"percent": "0", "monthly": "0"}).machine("m-1", slot("A1", price="100.00"))
    return route.vends("09-03 12:00, A1, card, 100.00")


def test_two_payouts_about_the_same_days_are_two_findings(route: RouteBuilder) -> None:
    card_route(route).payouts(*ROWS)
    found = of_kind(route.run(), "payout-short")
    assert [each.amount for each in found] == [Decimal("-90.00"), Decimal("-80.00")]
    assert len({each.id for each in found}) == 2


def test_their_ids_stay_when_the_rows_change_places(route: RouteBuilder) -> None:
    card_route(route).payouts(*ROWS)
    before = {each.amount: each.id for each in of_kind(route.run(), "payout-short")}
    (route.root / "inbox" / "payouts.csv").unlink()
    route.payouts(*reversed(ROWS))
    assert {each.amount: each.id for each in of_kind(route.run(), "payout-short")} == before


def test_rows_that_are_equal_throughout_stop_nothing(route: RouteBuilder) -> None:
    card_route(route).payouts(ROWS[0], ROWS[0], "09-30,,,,,5.00,", "09-30,,,,,5.00,", "09-30,,,,,6.00,")
    run = route.run()
    assert len(of_kind(run, "payout-short")) == 2
    undated = of_kind(run, "payout-undated")
    assert [each.amount for each in undated] == [6, 5, 5]
    assert len({each.id for each in run.results.findings}) == len(run.results.findings)
