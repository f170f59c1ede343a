"""Fees written with a minus, and counts that a third sheet puts back to what the first said."""

from builders import RouteBuilder, of_kind


def test_fees_written_with_a_minus_are_fees(route: RouteBuilder) -> None:
    route.vends("09-02 10:00, A1, card, 2.00", "09-02 11:00, A1, card, 2.00")
    run = route.payouts("2026-09-07, 2026-09-01, 2026-09-06, 4.00, -0.24, 3.76, P-1").run()
    assert of_kind(run, "payout-short", "payout-over", "fee-differs") == []
    payout = run.results.payouts[0]
    assert (str(payout.fees), str(payout.over_short)) == ("0.24", "0.00")


def test_fees_given_back_stay_negative(route: RouteBuilder) -> None:
    route.vends("09-02 10:00, A1, card, 2.00")
    run = route.payouts("2026-09-07, 2026-09-01, 2026-09-06, 2.00, -0.50, 2.50, P-1").run()
    assert str(run.results.payouts[0].fees) == "-0.50"


def test_a_count_put_back_by_a_third_sheet_counts(route: RouteBuilder) -> None:
    route.counts("09-01 10:00, A1, 10")
    for name, units in (("a.csv", 9), ("b.csv", 8), ("c.csv", 9)):
        route.counts(f"09-08 10:00, A1, {units}", name=name)
    run = route.run()
    assert [window.counted for window in run.results.stock] == [9]
    assert len(of_kind(run, "count-restated")) == 1
    for entry in run.results.inputs:
        assert entry.rows == entry.accepted + entry.duplicate + entry.rejected
