"""What is said of a payout that names no days (invented data)."""

from builders import RouteBuilder, kinds, of_kind, only


def test_the_fees_of_a_payout_without_days_are_told_in_a_whole_sentence(route: RouteBuilder) -> None:
    route.settings(cards={"percent": "0", "monthly": "0"}).payouts("09-30,,,100.00,40.00,60.00,P-1")
    run = route.run()
    assert "payout-undated" in kinds(run)
    message = only(of_kind(run, "fee-differs")).message
    assert message.startswith("payout P-1 for days that it does not name: fees 40.00, where 0.00 are agreed")
