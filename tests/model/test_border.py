"""The guard at the stage borders: a frame that does not keep its spec is a fault of recon's own, and stops
it.
"""

from collections.abc import Callable
from datetime import UTC, datetime

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.model import border
from recon.model.border import guard, judge, keeps
from recon.model.errors import FrameError
from recon.model.frames import ALL, BY_KIND, COUNTS, TIME, FrameSpec
from recon.model.words import FILE_KINDS

ROW = {
    "file": 0, "row": 2, "machine": "m-1", "zone": "America/Halifax", "time": datetime(2026, 9, 1,
    tzinfo=UTC),
    "label": "110", "bus": None, "counted": 4, "loaded": 0, "removed": 0, "counter": None, "note": None,
}  # fmt: skip


def counts(*changes: dict[str, object]) -> pl.DataFrame:
    """A frame of counts: one row for each of `changes` to the good row."""
    return pl.DataFrame(
        [ROW | {"row": 2 + at} | change for at, change in enumerate(changes)], schema=COUNTS.schema
    )


@pytest.fixture(autouse=True, params=["", "full"], ids=["polars", "pandera"])
def which_borders(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test here twice: with the quick look alone where it is content, and with pandera always."""
    monkeypatch.setenv("RECON_BORDERS", request.param)


def test_a_good_frame_comes_back_sorted() -> None:
    frame = counts({"row": 9}, {"row": 3}, {"file": 1, "row": 2}, {"row": 5})
    assert guard(frame, COUNTS).select("file", "row").rows() == [(0, 3), (0, 5), (0, 9), (1, 2)]


@pytest.mark.parametrize("spec", ALL, ids=lambda spec: spec.name)
def test_an_empty_frame_of_every_spec_passes(spec: FrameSpec) -> None:
    found = guard(spec.empty(), spec)
    assert (found.columns, found.height) == (spec.names, 0)


@pytest.mark.parametrize(
    ("damage", "named"),
    [
        (lambda frame: frame.with_columns(pl.col("counted").cast(pl.Int32)), "counted"),
        (lambda frame: frame.with_columns(pl.col("counted").cast(pl.Float64)), "counted"),
        (lambda frame: frame.with_columns(pl.col("time").dt.replace_time_zone(None)), "time"),
        (lambda frame: frame.with_columns(pl.col("time").dt.cast_time_unit("ms")), "time"),
        (lambda frame: frame.drop("note"), "note"),
        (lambda frame: frame.with_columns(pl.lit(1).alias("more")), "more"),
        (lambda frame: frame.select(*COUNTS.names[1:], COUNTS.names[0]), "row"),
        (lambda frame: frame.with_columns(pl.lit(None, pl.Int64).alias("loaded")), "loaded"),
        (lambda frame: frame.with_columns(pl.lit(None, TIME).alias("time")), "time"),
    ],
    ids=["narrower", "float", "naive", "milliseconds", "missing", "extra", "order", "null", "null time"],
)
def test_a_frame_that_does_not_keep_its_spec_is_refused(
    damage: Callable[[pl.DataFrame], pl.DataFrame], named: str
) -> None:
    with pytest.raises(FrameError, match="counts") as error:
        guard(damage(counts({}, {})), COUNTS)
    assert named in str(error.value)


def test_an_empty_cell_is_refused_only_where_the_spec_says_so() -> None:
    assert guard(counts({"counted": None, "label": None}), COUNTS).height == 1
    with pytest.raises(FrameError):
        guard(counts({}, {"machine": None}), COUNTS)


def test_a_key_that_repeats_is_refused() -> None:
    with pytest.raises(FrameError, match="file, row"):
        guard(counts({"row": 4}, {"row": 5}, {"row": 4}), COUNTS)


def test_a_key_that_is_not_the_order_is_guarded_too() -> None:
    """`states` is sorted by slot and start, yet it is `state` that must not repeat."""
    states = next(spec for spec in ALL if spec.name == "states")
    row = {
        "state": 0, "slot": 0, "machine": "m-1", "label": "1", "starts": datetime(2026, 9, 1, tzinfo=UTC),
        "in_use": True, "tray": "1", "pitch": 1,
    }  # fmt: skip
    later = row | {"starts": datetime(2026, 9, 2, tzinfo=UTC)}
    with pytest.raises(FrameError, match="state"):
        guard(pl.DataFrame([row, later], schema=states.schema), states)
    assert guard(pl.DataFrame([row, later | {"state": 1}], schema=states.schema), states).height == 2


def test_pandera_is_only_given_eager_frames(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a lazy frame pandera looks at the schema alone and lets bad values pass."""
    given_frames: list[object] = []

    class Spy:
        def validate(self, frame: object, *, lazy: bool) -> None:
            given_frames.append(frame)

    monkeypatch.setattr(border, "_schema", lambda name: Spy())
    monkeypatch.setenv("RECON_BORDERS", "full")
    guard(counts({}), COUNTS)
    assert [type(frame) for frame in given_frames] == [pl.DataFrame]


DAMAGE = st.lists(
    st.tuples(
        st.sampled_from(COUNTS.names),
        st.sampled_from(["null", "some null", "cast", "drop", "rename", "none"]),
    ),
    max_size=3,
)


@given(DAMAGE)
def test_the_quick_look_and_pandera_come_to_the_same_verdict(damage: list[tuple[str, str]]) -> None:
    frame = counts({}, {"label": None}, {"counted": None})
    for name, how in damage:
        if name not in frame.columns:
            continue
        column = pl.col(name)
        if how == "null":
            frame = frame.with_columns(pl.lit(None, frame.schema[name]).alias(name))
        elif how == "some null":
            frame = frame.with_columns(pl.when(pl.int_range(pl.len()) > 0).then(column).alias(name))
        elif how == "cast":
            frame = frame.with_columns(pl.Series(name, [1, 2, 3], dtype=pl.Int16))
        elif how == "drop":
            frame = frame.drop(name)
        elif how == "rename":
            frame = frame.rename({name: f"{name}_"})
    try:
        judge(frame, COUNTS)
    except FrameError:
        good = False
    else:
        good = True
    assert keeps(frame, COUNTS) is good


def test_the_specs_are_told_apart_by_name() -> None:
    names = [spec.name for spec in ALL]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("spec", ALL, ids=lambda spec: spec.name)
def test_a_spec_names_its_own_columns_once(spec: FrameSpec) -> None:
    assert len(set(spec.names)) == len(spec.names)
    assert set(spec.sorted_by) <= set(spec.names)
    assert set(spec.unique or ()) <= set(spec.names)
    assert all(column.meaning for column in spec.columns)


def test_every_kind_of_file_has_a_frame() -> None:
    assert tuple(BY_KIND) == FILE_KINDS
    assert all(spec in ALL for spec in BY_KIND.values())
