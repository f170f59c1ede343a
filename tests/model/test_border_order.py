"""Frames sorted by one integer, against polars' own sort by several columns (invented data)."""

import random
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from recon.model import border
from recon.model.errors import FrameError
from recon.model.frames import TIME, Column, Frame, FrameSpec

NAMES = ["machine", "time", "file", "row"]


@pytest.fixture(autouse=True)
def _few_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(border, "_MANY", 0)


def rows(draw: random.Random, *, hollow: bool = False, tick: timedelta = timedelta(microseconds=1)) -> Frame:
    """Rows of a log in the order of its files; every machine and moment comes several times."""
    first = datetime(1999, 1, 1, tzinfo=UTC)
    machines = ["quay-2", "Quay-2", "überland", "", "a", *([None] if hollow else [])]
    told = [
        (draw.choice(machines), first + draw.randrange(4) * tick, file, row)
        for file in range(-1, 3)
        for row in range(draw.randrange(12))
    ]
    return pl.DataFrame(
        told, schema={"machine": pl.String, "time": TIME, "file": pl.Int32, "row": pl.Int64}, orient="row"
    )


def plainly(frame: Frame, names: list[str]) -> Frame:
    return frame.sort(names, nulls_last=False, maintain_order=True)


@pytest.mark.parametrize("hollow", [False, True], ids=["filled", "with empty cells"])
@pytest.mark.parametrize("shuffled", [False, True], ids=["in the order of files", "shuffled"])
@pytest.mark.parametrize("seed", range(20))
def test_a_frame_is_sorted_as_polars_sorts_it(seed: int, shuffled: bool, hollow: bool) -> None:
    draw = random.Random(seed)
    frame = rows(draw, hollow=hollow)
    if shuffled:
        frame = frame.sample(fraction=1, shuffle=True, seed=seed)
    for names in (NAMES, NAMES[:2], NAMES[1:], ["row", "machine"], ["machine"]):
        assert_frame_equal(border.ordered(frame, names), plainly(frame, names))


@pytest.mark.parametrize("apart", [0, 1, 1000], ids=["first column alone", "some", "all"])
@pytest.mark.parametrize("seed", range(20))
def test_rows_alike_in_the_key_are_sorted_by_the_rest(
    seed: int, apart: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The key holds only some of the columns, and times of whole seconds take fewer numbers."""
    monkeypatch.setattr(border, "_APART", apart)
    draw = random.Random(seed)
    frame = rows(draw, tick=timedelta(seconds=1)).sample(fraction=1, shuffle=True, seed=seed)
    for names in (NAMES, NAMES[:2], NAMES[1:], ["machine", "row"]):
        assert_frame_equal(border.ordered(frame, names), plainly(frame, names))


@pytest.mark.parametrize("most", [5, 2**62], ids=["with their places", "places alone"])
def test_the_order_of_numbers(most: int) -> None:
    values = pl.Series([3, 0, most, 1, 0, 2], dtype=pl.Int64)
    order, ordered = border.order_of(values)
    assert ordered.to_list() == sorted(values.to_list()) == values.gather(order).to_list()
    assert sorted(order.to_list()) == list(range(6))


def test_a_frame_said_to_be_sorted_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    frame = pl.DataFrame({"machine": ["b", "a"]})
    monkeypatch.setenv("RECON_BORDERS", "full")
    spec = FrameSpec("machines", "one machine", (Column("machine", pl.String, "id"),), sorted_by=("machine",))
    with pytest.raises(FrameError, match="not sorted"):
        border.guard(frame, spec, is_sorted=True)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_said_to_be_in_order_is(seed: int) -> None:
    draw = random.Random(seed)
    frame = rows(draw)
    for names in (NAMES, NAMES[:2], NAMES[2:]):
        by_polars = plainly(frame, names)
        assert border.in_order(by_polars, names)
        assert border.in_order(frame, names) == frame.select(names).equals(by_polars.select(names))


def test_integers_too_large_for_one_are_sorted_too() -> None:
    ends = [2**63 - 1, 0, -(2**63), 5]
    frame = pl.DataFrame({"a": [one for one in ends for _ in ends], "b": [*ends] * 4})
    assert_frame_equal(border.ordered(frame, ["a", "b"]), plainly(frame, ["a", "b"]))


def test_empty_cells_and_other_types_are_never_called_sorted() -> None:
    assert not border.in_order(pl.DataFrame({"a": [None, 1]}), ["a"])
    assert not border.in_order(pl.DataFrame({"a": [0.0, 1.0]}), ["a"])
