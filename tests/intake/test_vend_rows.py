"""Vends in narrow columns: handed out as they came, for any machines, with the repeats that a look at all gives."""

from datetime import UTC, datetime, timedelta
from unittest.mock import patch

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from recon.intake import duplicates
from recon.intake.duplicates import part_duplicates
from recon.intake.vend_rows import VendRows, by_number, narrow, widened
from recon.model.frames import VENDS, Frame

START = datetime(2026, 9, 1, tzinfo=UTC)
LARGE = 2**40


@st.composite
def vends(draw: st.DrawFn) -> Frame:
    """Rows of three files and machines in which references, moments and contents recur."""
    rows = []
    for row in range(draw(st.integers(0, 25))):
        rows.append(
            {
                "file": draw(st.integers(0, 2)), "row": row + draw(st.sampled_from([2, 2, LARGE])),
                "machine": draw(st.sampled_from(["m-1", "m-2", "é"])), "zone": "UTC",
                "time": START + timedelta(minutes=draw(st.integers(0, 3))),
                "bus": draw(st.sampled_from([1, 2, None])), "label": draw(st.sampled_from([None, None, "A1"])),
                "price": draw(st.sampled_from([100, None, LARGE])), "tender": draw(st.sampled_from(["cash", "card"])),
                "outcome": draw(st.sampled_from(["vended", "refunded", "failed"])),
                "reference": draw(st.sampled_from([None, "R1", "R2", "R3", ""])), "quantity": 1,
            }
        )  # fmt: skip
    return pl.DataFrame(rows, schema=VENDS.schema).unique(["file", "row"], keep="first", maintain_order=True)


def _sorted(frame: Frame) -> Frame:
    return frame.sort(pl.all(), nulls_last=True)


@settings(max_examples=300)
@given(vends(), st.integers(1, 5))
def test_repeats_are_those_of_a_look_at_all_rows(every: Frame, parts: int) -> None:
    """The careful way compares all rows; the rows are given in parts, as files come."""
    kept, remarks = part_duplicates(every, "vends")
    held = VendRows()
    for at in range(parts):
        held.add(narrow(every.gather_every(parts, at)))
    found = held.part_repeats()
    assert_frame_equal(_sorted(held.all()), _sorted(kept))
    assert_frame_equal(_sorted(found), _sorted(remarks))
    for first, last in (("m-1", "m-1"), ("m-2", "é"), ("", "\U0010ffff"), ("x", "y")):
        own = kept.filter(pl.col("machine").is_between(pl.lit(first), pl.lit(last)))
        assert_frame_equal(_sorted(held.of(first, last)), _sorted(own))
    assert held.machines == dict(every["machine"].value_counts().sort("machine").iter_rows())


@given(vends())
def test_narrow_rows_are_the_same_rows(every: Frame) -> None:
    small = narrow(every)
    assert_frame_equal(widened(small), every)
    assert small.schema["quantity"] == pl.Int32
    fits = every["price"].max() is None or every["price"].max() < LARGE
    assert small.schema["price"] == (pl.Int32 if fits else pl.Int64)


def test_rows_of_other_files_are_left_out() -> None:
    rows = pl.DataFrame({"file": [3, 7, 3, 9, 0], "row": [1, 2, 3, 4, 5]}, schema_overrides={"file": pl.Int32})
    assert by_number(rows, {3: 0, 9: 5}).rows() == [(0, 1), (0, 3), (5, 4)]
    assert by_number(rows, {}).height == 0
    assert by_number(rows.clear(), {3: 1}).schema == rows.schema


@given(vends(), st.booleans())
def test_rows_alike_are_those_of_comparing_each_pair(every: Frame, last: bool) -> None:
    content = [name for name in VENDS.names if name not in ("file", "row")]
    rows = every.select(content).rows()
    order = range(len(rows) - 1, -1, -1) if last else range(len(rows))
    slow = [next(at for at in order if rows[at] == row) for row in rows]
    assert duplicates._standing_rows(every, content, last=last).to_list() == slow
    with patch.object(pl.DataFrame, "hash_rows", lambda frame, **more: pl.repeat(7, frame.height, eager=True)):
        assert duplicates._standing_rows(every, content, last=last).to_list() == slow, "where all hashes are the same"
