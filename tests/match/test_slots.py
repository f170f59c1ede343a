"""Each vend, count and load to the slot that held its number or label at that moment."""

import pytest
from match_layouts import change, counts, hour, laid, layout, slot, vends

from recon.match.slots import match_vends, place
from recon.match.states import Layouts
from recon.model.frames import MATCHED

MOVING = layout(
    slot("110", 272), slot("112", 274), slot("A4", product=None),
    changes=[change(10, "110", bus=300), change(10, "112", bus=272), change(20, "112", retire=True),
    change(30, "112", product="mint")],
)  # fmt: skip
"""272 is slot 110's until hour 10, then slot 112's until it retires at hour 20; from hour 30 it is back."""


@pytest.fixture
def moving() -> Layouts:
    return laid(MOVING)


def found(
    rows: list[tuple[float, int | None, str | None]], laid_out: Layouts, machine: str = "m-1"
) -> list[str | None]:
    """The label of the slot that each row is matched to, in the order of the rows."""
    matched = match_vends(
        vends(*((hour(after), bus, label) for after, bus, label in rows), machine=machine), laid_out
    )
    labels = dict(laid_out.slots.select("slot", "label").iter_rows())
    return [labels.get(number) for number in matched.sort("row")["slot"].to_list()]


def test_a_number_is_the_slots_that_has_it_at_that_moment(moving: Layouts) -> None:
    rows = [
        (0, 272, None),
        (9.99, 272, None),
        (10, 272, None),
        (19.99, 272, None),
        (20, 272, None),
        (29.99, 272, None),
        (30, 272, None),
    ]
    assert found(rows, moving) == ["110", "110", "112", "112", None, None, "112"]


def test_before_the_layout_no_slot_has_a_number(moving: Layouts) -> None:
    assert found([(-0.01, 272, None), (0, 272, None)], moving) == [None, "110"]


def test_a_label_stands_in_where_there_is_no_number(moving: Layouts) -> None:
    assert found([(5, None, "112"), (5, None, "A4"), (25, None, "112"), (5, None, "999"),
    (5, None, None)], moving) == [
        "112", None, None, None, None,
    ]  # fmt: skip


def test_a_label_stands_in_where_no_slot_has_the_number_else_the_number_counts(moving: Layouts) -> None:
    assert found([(5, 999, "112"), (5, 272, "112")], moving) == ["112", "110"]


def test_a_machine_without_a_layout_matches_nothing(moving: Layouts) -> None:
    assert found([(5, 272, "110")], moving, machine="elsewhere") == [None]


def test_machines_do_not_share_numbers() -> None:
    laid_out = laid(layout(slot("X", 272), machine="a"), layout(slot("Y", 272), machine="b"))
    assert found([(5, 272, None)], laid_out, machine="a") == ["X"]
    assert found([(5, 272, None)], laid_out, machine="b") == ["Y"]


def test_the_state_is_the_one_of_that_moment(moving: Layouts) -> None:
    matched = match_vends(vends((hour(15), 272, None), (hour(35), 272, None)), moving)
    states = dict(moving.states.select("state", "product").iter_rows())
    assert [states[state] for state in matched["state"].to_list()] == ["gum", "mint"]


def test_no_vend_is_lost_and_the_frame_is_whole(moving: Layouts) -> None:
    rows = [
        (hour(after), bus, label)
        for after in (-1, 5, 15, 25)
        for bus in (272, 999, None)
        for label in ("110", None)
    ]
    matched = match_vends(vends(*rows), moving)
    assert matched.columns == MATCHED.names
    assert sorted(matched["row"].to_list()) == list(range(2, 2 + len(rows)))
    assert match_vends(vends(), moving).height == 0
    assert match_vends(vends(*rows), laid()).null_count()["slot"].item() == len(rows)


def test_counts_are_placed_by_label_in_use_or_not_else_by_number(moving: Layouts) -> None:
    rows = [(hour(25), None, "112"), (hour(5), None, "A4"), (hour(5), 272, None), (hour(15), 272, None),
    (hour(15), 272, "A4"),
            (hour(25), 272, None), (hour(5), None, "999"), (hour(-5), None, "110")]  # fmt: skip
    placed = place(counts(*rows), moving)
    labels = dict(moving.slots.select("slot", "label").iter_rows())
    assert placed["row"].to_list() == list(range(2, 2 + len(rows)))
    assert [labels.get(number) for number in placed["slot"].to_list()] == [
        "112",
        "A4",
        "110",
        "112",
        "A4",
        None,
        None,
        "110",
    ]


def test_counts_of_a_machine_without_a_layout_have_no_slot(moving: Layouts) -> None:
    placed = place(counts((hour(5), 272, None), (hour(5), None, "110"), machine="elsewhere"), moving)
    assert placed["slot"].to_list() == [None, None]
