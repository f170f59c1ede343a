"""A layout over time: what each slot sold, at which price and number, from when to when."""

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from match_layouts import START, change, hour, laid, layout, slot

from recon.match.timeline import SlotState, slot_states
from recon.model.layout import Change, Layout


def told(machine: Layout) -> list[tuple[str, float, float | None, bool, int | None, str | None, str | None]]:
    """(label, hours after START from, to, in use, bus, product, price) of every state."""

    def hours(state: SlotState) -> tuple[float, float | None]:
        ends = None if state.end is None else (state.end - START).total_seconds() / 3600
        return (state.start - START).total_seconds() / 3600, ends

    return [
        (
            state.label,
            *hours(state),
            state.in_use,
            state.bus,
            state.product,
            None if state.price is None else str(state.price),
        )
        for state in slot_states(machine)
    ]


def test_a_slot_without_changes_stands_from_the_layouts_beginning() -> None:
    assert told(layout(slot("110", 272), slot("112"))) == [
        ("110", 0, None, True, 272, "gum", "1.75"), ("112", 0, None, True, None, "gum", "1.75"),
    ]  # fmt: skip


def test_a_change_changes_what_it_names() -> None:
    machine = layout(
        slot("110", 272),
        changes=[change(24, "110", product="mint"), change(48, "110", price="2.00", bus=273)],
    )
    assert told(machine) == [
        ("110", 0, 24, True, 272, "gum", "1.75"), ("110", 24, 48, True, 272, "mint", "1.75"),
        ("110", 48, None, True, 273, "mint", "2.00"),
    ]  # fmt: skip


def test_a_slot_retires_and_returns() -> None:
    machine = layout(
        slot("110", 272),
        changes=[
            change(1, "110", retire=True),
            change(2, "110", price="2.00"),
            change(3, "110", product="mint"),
        ],
    )
    assert told(machine) == [
        ("110", 0, 1, True, 272, "gum", "1.75"), ("110", 1, 2, False, 272, "gum", "1.75"),
        ("110", 2, 3, False, 272, "gum", "2.00"), ("110", 3, None, True, 272, "mint", "2.00"),
    ]  # fmt: skip


def test_a_slot_without_a_product_is_out_of_use_until_it_gets_one() -> None:
    machine = layout(slot("110", 272, product=None), changes=[change(5, "110", product="gum")])
    assert told(machine) == [
        ("110", 0, 5, False, 272, None, "1.75"),
        ("110", 5, None, True, 272, "gum", "1.75"),
    ]


def test_the_last_change_of_a_moment_wins_and_leaves_no_empty_state() -> None:
    machine = layout(
        slot("110", 272), changes=[change(1, "110", price="2.00"), change(1, "110", price="2.25")]
    )
    assert told(machine) == [
        ("110", 0, 1, True, 272, "gum", "1.75"),
        ("110", 1, None, True, 272, "gum", "2.25"),
    ]
    at_once = layout(slot("110", 272), changes=[change(0, "110", price="2.00")])
    assert told(at_once) == [("110", 0, None, True, 272, "gum", "2.00")]


def test_changes_to_other_labels_and_from_before_are_passed_over() -> None:
    machine = layout(
        slot("110", 272), changes=[change(1, "999", price="9.00"), change(-1, "110", price="9.00")]
    )
    assert told(machine) == [("110", 0, None, True, 272, "gum", "1.75")]


def test_a_par_that_followed_the_capacity_follows_it_on() -> None:
    machine = layout(
        slot("1", capacity=10),
        slot("2", capacity=10, par=8),
        changes=[change(1, "1", capacity=12), change(1, "2", capacity=12)],
    )
    assert [(state.label, state.capacity, state.par) for state in slot_states(machine)] == [
        ("1", 10, 10), ("1", 12, 12), ("2", 10, 8), ("2", 12, 8),
    ]  # fmt: skip


def test_a_number_from_the_rule_and_one_written_beside_it() -> None:
    machine = layout(slot("110"), slot("112", 999), numbering="hex-label")
    assert [state.bus for state in slot_states(machine)] == [272, 999]


def test_the_place_of_what_set_a_state() -> None:
    machine = layout(
        slot("110"), slot("112"), changes=[change(2, "112", price="3.00"), change(1, "112", price="2.00")]
    )
    assert [state.path for state in slot_states(machine)] == [
        ("slot", 0),
        ("slot", 1),
        ("change", 1),
        ("change", 0),
    ]


CHANGES = st.builds(
    lambda after, label, keys: change(after, label, **keys),
    st.integers(0, 8), st.sampled_from(["1", "2", "3"]),
    st.sampled_from([{"product": "mint"}, {"price": "2.00"}, {"retire": True}, {"bus": 7}, {"capacity": 9}]),
)  # fmt: skip


@given(
    st.lists(CHANGES, max_size=8, unique_by=lambda one: (one.start, one.label)),
    st.randoms(use_true_random=False),
)
def test_the_order_of_changes_in_the_file_does_not_matter(changes: list[Change], random: object) -> None:
    slots = [slot("1", 1), slot("2", 2), slot("3", 3, product=None)]
    shuffled = list(changes)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert told(layout(*slots, changes=changes)) == told(layout(*slots, changes=shuffled))


@given(st.lists(CHANGES, max_size=8))
def test_the_states_of_a_slot_join_without_gap_or_overlap(changes: list[Change]) -> None:
    """Checked state by state against reading all changes up to a moment, one by one."""
    machine = layout(slot("1", 1), slot("2", 2), slot("3", 3, product=None), changes=changes)
    for label in ("1", "2", "3"):
        states = [state for state in slot_states(machine) if state.label == label]
        assert states[0].start == START
        assert states[-1].end is None
        assert all(one.end == two.start and one.start < two.start for one, two in pairwise(states))
        for state in states:
            product, price, in_use = (None if label == "3" else "gum"), Decimal("1.75"), label != "3"
            for one in sorted(changes, key=lambda one: one.start):
                if one.label == label and one.start <= state.start:
                    product, price = one.product or product, price if one.price is None else one.price
                    in_use = not one.retire and (in_use or one.product is not None)
            assert (state.product, state.price, state.in_use) == (product, price, in_use)


def test_states_as_frames() -> None:
    machines = laid(
        layout(slot("A", 5), slot("B", 6), machine="m-2"),
        layout(
            slot("1", 1, card_price="1.85", capacity=10),
            changes=[change(1, "1", price="2.00")],
            machine="m-1",
            timezone="Asia/Tokyo",
        ),
    )
    assert machines.slots.rows() == [(0, "m-1", "1"), (1, "m-2", "A"), (2, "m-2", "B")]
    assert machines.zones == {"m-1": "Asia/Tokyo", "m-2": "UTC"}
    assert machines.digits == {"m-1": 2, "m-2": 2}
    shown = machines.states.select(
        "state", "slot", "starts", "ends", "bus", "price", "card_price", "capacity"
    ).rows()
    assert shown == [
        (0, 0, hour(-9), hour(-8), 1, 175, 185, 10), (1, 0, hour(-8), None, 1, 200, 185, 10),
        (2, 1, hour(0), None, 5, 175, None, None), (3, 2, hour(0), None, 6, 175, None, None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("currency", "price", "minor"), [("JPY", 150, 150), ("KWD", "0.500", 500), ("CAD", "1.75", 175)]
)
def test_prices_are_in_the_minor_units_of_the_machines_currency(
    currency: str, price: object, minor: int
) -> None:
    assert laid(layout(slot("1", 1, price=price), currency=currency)).states["price"].to_list() == [minor]
