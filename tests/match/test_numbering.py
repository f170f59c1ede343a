"""Numbering rules: bus numbers from labels. Which rule a machine follows is common practice, no source."""

import struct
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from match_layouts import layout, slot

from recon.match.numbering import number_of, numbers, row_and_column, rule_words
from recon.model.layout import ColumnGrid, Grid, Numbering, Offset, Sequence


def of(rule: Numbering, *labels: str, pitch: int = 1) -> list[int | None]:
    slots = [slot(label, pitch=pitch) for label in labels]
    return [number_of(rule, label, at, slots) for at, label in enumerate(labels)]


@pytest.mark.parametrize(
    ("label", "number"),
    [("110", 272), ("111", 273), ("118", 280), ("134", 308), ("A1", 161), ("B4", 180), ("a1", 161), ("0", 0)],
)
def test_labels_read_as_hexadecimal(label: str, number: int) -> None:
    """Common practice, no source; the figures are arithmetic."""
    assert of("hex-label", label) == [number]
    assert number == int(label, 16)


@pytest.mark.parametrize("label", ["G1", "A-1", "0x110", "1 0", "é1", "１１０"])
def test_labels_that_are_no_hexadecimal_number_have_none(label: str) -> None:
    assert of("hex-label", label) == [None]


@given(st.text("0123456789abcdefABCDEF", min_size=1, max_size=4))
def test_the_hexadecimal_rule_is_that_of_int(label: str) -> None:
    """Check: int of the standard library."""
    assert of("hex-label", label) == [int(label, 16)]


@pytest.mark.parametrize(
    ("label", "number"), [("110", 110), ("007", 7), ("A1", None), ("-1", None), ("²", None), ("１１", None)]
)
def test_the_same_number_as_the_label(label: str, number: int | None) -> None:
    assert of("same", label) == [number]


@pytest.mark.parametrize(
    ("offset", "label", "number"), [(-1, "110", 109), (100, "7", 107), (-20, "10", -10), (5, "A1", None)]
)
def test_a_constant_beside_the_label(offset: int, label: str, number: int | None) -> None:
    """A zero-based controller is offset -1 (common practice, no source). What lies outside 0 to 65534 is for
    the checks.
    """
    assert of(Offset(offset=offset), label) == [number]


@pytest.mark.parametrize(
    ("label", "place"),
    [("A1", (1, 1)), ("B12", (2, 12)), ("Z9", (26, 9)), ("AA1", (27, 1)), ("a1", (1, 1)), ("110", (11, 0)),
     ("23", (2, 3)),
     ("7", None), ("A", None), ("1A", None), ("", None)],
)  # fmt: skip
def test_where_a_label_stands(label: str, place: tuple[int, int] | None) -> None:
    assert row_and_column(label) == place


def test_a_grid_counts_from_the_first_slot_of_the_file() -> None:
    assert of(Grid(grid=10, first=40), "A1", "A2", "B1", "C5") == [40, 41, 50, 64]
    assert of(Grid(grid=8, first=0), "110", "111", "120", "131") == [0, 1, 8, 17]
    assert of(Grid(grid=8, first=0), "B1", "A1", "A0") == [0, -8, -9]
    assert of(Grid(grid=8, first=0), "7", "A1") == [None, None]


def test_a_sequence_gives_each_slot_as_many_numbers_as_its_pitch() -> None:
    assert of(Sequence(sequence=1), "A1", "A2", "B1") == [1, 2, 3]
    slots = [slot("A1", pitch=2), slot("A3", pitch=1), slot("B1", pitch=2), slot("B3")]
    assert [number_of(Sequence(sequence=10), one.label, at, slots) for at, one in enumerate(slots)] == [
        10,
        12,
        13,
        15,
    ]


def test_a_double_width_tray_has_every_other_number() -> None:
    """Common practice, no source: labels 110, 112, 114 of coupled motors are 272, 274, 276 on the bus."""
    wide = [slot(label, pitch=2) for label in ("110", "112", "114")]
    assert numbers(layout(*wide, numbering="hex-label")) == [272, 274, 276]
    assert numbers(layout(*wide, numbering={"sequence": 272})) == [272, 274, 276]


def test_without_a_rule_no_slot_has_a_number_from_it() -> None:
    assert numbers(layout(slot("110", 272), slot("112"))) == [None, None]


@given(
    st.integers(1, 30),
    st.integers(0, 1000),
    st.lists(st.tuples(st.integers(1, 26), st.integers(0, 9)), min_size=1, max_size=8),
)
def test_a_grid_by_letters_and_the_same_grid_by_digits_agree(
    width: int, first: int, places: list[tuple[int, int]]
) -> None:
    letters = [f"{chr(ord('A') + row - 1)}{column}" for row, column in places]
    digits = [f"{row}{column}" for row, column in places]
    assert of(Grid(grid=width, first=first), *letters) == of(Grid(grid=width, first=first), *digits)


@given(st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=2, max_size=2))
def test_a_pair_of_ascii_bytes_is_that_of_struct(label: str) -> None:
    """A1 is 4131h = 16689 (common practice, no source). Check: struct of the standard library, big-endian."""
    assert of("ascii-pair", label) == list(struct.unpack(">H", label.encode("ascii")))
    assert of("ascii-pair", "A1") == [0x4131] == [16689]


@pytest.mark.parametrize("label", ["A", "110", "é1", "A ", "\n1"])
def test_labels_that_are_no_two_characters_have_no_pair(label: str) -> None:
    assert of("ascii-pair", label) == [None]


@given(st.integers(0, 999))
def test_zero_based_is_one_less_than_the_label(label: int) -> None:
    """110 is 109 (common practice, no source)."""
    assert of("zero-based", str(label)) == of(Offset(offset=-1), str(label)) == [label - 1]
    assert of("zero-based", "A1") == [None]


def test_a_grid_by_columns_is_the_grid_turned() -> None:
    """Column-first counting is common practice, no source."""
    rule = ColumnGrid.model_validate({"column-grid": 6, "first": 1})
    assert of(rule, "A1", "B1", "A2", "C5") == [1, 2, 7, 27]
    assert of(rule, "110", "111", "120") == [1, 7, 2]
    assert of(rule, "A1", "7") == [1, None]


def test_every_rule_is_written_as_it_is_read() -> None:
    rules = ["same", "zero-based", "hex-label", "ascii-pair", "{ offset = -3 }", "{ grid = 8, first = 1 }",
             "{ column-grid = 6, first = 1 }", "{ sequence = 0 }"]  # fmt: skip
    for words in rules:
        text = words if words.startswith("{") else f'"{words}"'
        written = layout(slot("A1", 1), **tomllib.loads(f"numbering = {text}"))
        assert written.numbering is not None
        assert rule_words(written.numbering) == words
