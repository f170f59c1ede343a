"""Evidence and words of cash: every row of both sheets, the label of a vend without a slot, one figure where there is
one (invented data)."""

from builders import RouteBuilder, of_kind, only, places, slot

OPENING = ("09-01 09:00, 5.00, 20.00", "09-01 09:00, 4.00")
CLOSING = ("09-08 09:00, 10.00, 20.00", "09-08 09:00, 11.00", "09-08 09:00, 12.00")


def test_a_short_box_names_every_row_of_both_collections(route: RouteBuilder) -> None:
    """The sheet that the later one put right is not among them: none of its money counts."""
    route.vends("09-03 12:00, A1, cash, 50.00").cash(*OPENING).cash(*CLOSING, name="cash-2.csv")
    route.cash("09-08 09:00, 33.50, 20.00", name="cash-1.csv")
    found = only(of_kind(route.run(), "cash-short"))
    assert places(found) == {("cash.csv", 2), ("cash.csv", 3), ("cash-2.csv", 2), ("cash-2.csv", 3), ("cash-2.csv", 4)}
    assert [proof.row for proof in found.evidence] == [2, 3, 2, 3, 4]


def test_so_does_a_box_that_is_over_and_one_that_hangs_on_a_boundary_vend(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 2.00").cash(*OPENING, *CLOSING)
    lines = {("cash.csv", row) for row in range(2, 7)}
    assert places(only(of_kind(route.run(), "cash-over"))) == lines
    route.vends("09-08 09:05, A1, cash, 31.00")
    assert places(only(of_kind(route.run(), "boundary-vends"))) == lines


def test_so_do_collections_of_a_machine_that_logs_no_cash(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, card, 2.00").cash(*OPENING, *CLOSING, "09-15 09:00, 3.00", "09-15 09:00, 1.00")
    found = only(of_kind(route.run(), "cash-not-logged"))
    assert [proof.row for proof in found.evidence] == list(range(2, 9))
    assert found.evidence_count == 7


def test_a_vend_of_an_unknown_label_without_a_price_is_named_by_it(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", price="2.00"), slot("A2", price="3.00"))
    route.vends("09-03 12:00, ZZ, cash", "09-03 13:00, ZY, cash", "09-03 14:00, ZY, cash")
    label_z, label_y = sorted(of_kind(route.run(), "unpriced-vend"), key=lambda found: found.message, reverse=True)
    assert (label_z.label, label_y.label) == ("ZZ", "ZY")
    assert "m-1 label ZZ: 1 vend by cash" in label_z.message
    assert "between 2.00 and 3.00 in all" in label_z.message
    assert places(label_y) == {("vends.csv", 3), ("vends.csv", 4)}


def test_a_vend_that_names_nothing_is_said_to_be_without_a_number(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, , cash")
    assert "m-1 without a number: 1 vend by cash" in only(of_kind(route.run(), "unpriced-vend")).message


def test_a_range_of_one_figure_is_said_as_that_figure(route: RouteBuilder) -> None:
    """All that the machine sells costs 2.00."""
    route.vends("09-03 12:00, ZZ, cash", columns="time,label,tender")
    found = only(of_kind(route.run(), "unpriced-vend"))
    assert "2.00 in all" in found.message
    assert "between" not in found.message
