"""Numbers that no slot had: which they are, and which slot is the likeliest, for which reason."""

import polars as pl
import pytest
from match_layouts import change, hour, laid, layout, route, slot, vends

from recon.match.explained import WHY, likeliest
from recon.match.slots import match_vends
from recon.match.unmapped import stray_vends, unmapped_numbers
from recon.model.frames import STOCK_WINDOWS, Frame
from recon.model.layout import Layout

NO_WINDOWS = STOCK_WINDOWS.empty()


def window(
    label: str, variance: int, *, opened: float = 0, closed: float = 100, vended: int = 0
) -> dict[str, object]:
    return {
        "slot": 0, "machine": "m-1", "label": label, "opened_at": hour(opened), "closed_at": hour(closed),
        "opening": 10, "loaded": 0, "removed": 0, "vended": vended, "expected": 10 - vended,
        "counted": 10 - vended + variance, "variance": variance, "variance_low": variance,
        "variance_high": variance, "open_file": 0, "open_row": 2, "close_file": 0, "close_row": 3,
    }  # fmt: skip


def windows(*rows: dict[str, object]) -> Frame:
    return pl.DataFrame(list(rows), schema=STOCK_WINDOWS.schema)


def strays(machine: Layout, *rows: tuple[float, int | None, str | None], outcome: str = "vended") -> Frame:
    logged = vends(*((hour(after), bus, label) for after, bus, label in rows))
    logged = logged.with_columns(pl.lit(outcome).cast(logged.schema["outcome"]).alias("outcome"))
    return unmapped_numbers(stray_vends(match_vends(logged, laid(machine))))


def guesses(machine: Layout, found: Frame, counted: Frame = NO_WINDOWS) -> list[tuple[int, str, str]]:
    """(bus, likeliest label, why)."""
    told = likeliest(found, counted, laid(machine), route(machine))
    return told.select("bus", "guess", "why").rows()


def test_each_number_once_with_its_vends_units_and_times() -> None:
    found = strays(
        layout(slot("110", 272)),
        (3, 999, None),
        (1, 999, None),
        (2, 272, None),
        (4, None, "X"),
        (5, None, None),
    )
    assert found.select("bus", "label", "vends", "units", "opened_at", "closed_at").rows() == [
        (None, "X", 1, 1, hour(4), hour(4)), (999, None, 2, 2, hour(1), hour(3)),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("outcome", "units"), [("vended", 2), ("refunded", 2), ("failed", 0), ("cancelled", 0)]
)
def test_only_units_that_dropped_are_counted(outcome: str, units: int) -> None:
    found = strays(layout(slot("110", 272)), (1, 999, None), (2, 999, None), outcome=outcome)
    assert found.select("vends", "units").rows() == [(2, units)]


def test_machines_without_a_layout_are_passed_over_by_the_guesses() -> None:
    logged = match_vends(vends((hour(1), 5, None), machine="elsewhere"), laid(layout(slot("1", 5))))
    found = unmapped_numbers(stray_vends(logged))
    assert found.height == 1
    assert guesses(layout(slot("1", 5)), found) == []


PLAIN = layout(slot("110", 272), slot("112", 274))


def test_a_silent_slot_that_is_short_by_as_many() -> None:
    found = strays(PLAIN, (1, 999, None), (2, 999, None))
    assert guesses(PLAIN, found, windows(window("110", -2), window("112", -1))) == [
        (999, "110", "short-by-as-many")
    ]


@pytest.mark.parametrize(
    "counted",
    [
        windows(window("110", -3)),
        windows(window("110", 2)),
        windows(window("110", -2, vended=1)),
        windows(window("110", -2, opened=1.5)),
        windows(window("110", -2, closed=2)),
        windows(window("110", -2), window("112", -2)),
    ],
    ids=[
        "short by more",
        "over",
        "not silent",
        "opens after one of them",
        "closes with one of them",
        "two alike",
    ],
)
def test_what_speaks_for_no_slot(counted: Frame) -> None:
    found = strays(PLAIN, (1, 999, None), (2, 999, None))
    assert guesses(PLAIN, found, counted) == []


def test_a_slot_that_had_the_number_before() -> None:
    machine = layout(slot("110", 272), changes=[change(10, "110", bus=300)])
    assert guesses(machine, strays(machine, (12, 272, None))) == [(272, "110", "had-it-before")]
    told = likeliest(strays(machine, (12, 272, None)), NO_WINDOWS, laid(machine), route(machine))
    assert told["since"].to_list() == [hour(10)]


def test_a_slot_that_gets_the_number_later() -> None:
    machine = layout(slot("110", 272), changes=[change(10, "110", bus=300)])
    assert guesses(machine, strays(machine, (5, 300, None))) == [(300, "110", "gets-it-later")]


def test_a_slot_that_has_the_number_and_is_out_of_use() -> None:
    machine = layout(slot("110", 272, product=None), slot("112", 274))
    assert guesses(machine, strays(machine, (5, 272, None))) == [(272, "110", "out-of-use")]


def test_a_slot_whose_number_by_the_rule_it_is() -> None:
    """110 read as hexadecimal is 272 (common practice, no source); the layout says 999 for it."""
    machine = layout(slot("110", 999), slot("112"), numbering="hex-label")
    assert guesses(machine, strays(machine, (5, 272, None))) == [(272, "110", "by-the-rule")]


def test_the_strongest_reason_wins() -> None:
    machine = layout(
        slot("110", 999),
        slot("112", 272),
        slot("114"),
        numbering="hex-label",
        changes=[change(10, "112", bus=300)],
    )
    found = strays(machine, (12, 272, None))
    assert guesses(machine, found) == [(272, "112", "had-it-before")]
    assert guesses(machine, found, windows(window("114", -1))) == [(272, "114", "short-by-as-many")]
    assert WHY.categories.to_list()[0] == "short-by-as-many"


def test_each_number_has_one_guess_at_most() -> None:
    machine = layout(
        slot("110", 1), slot("112", 2), changes=[change(5, "110", bus=3), change(6, "112", bus=4)]
    )
    found = strays(machine, (10, 1, None), (10, 2, None), (1, 3, None), (1, 4, None), (1, 9, None))
    assert guesses(machine, found) == [
        (1, "110", "had-it-before"), (2, "112", "had-it-before"), (3, "110", "gets-it-later"),
        (4, "112", "gets-it-later"),
    ]  # fmt: skip
