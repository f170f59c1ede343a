"""The one as-of join against another engine's: duckdb's ASOF join on random layouts and vends."""

import random
from collections.abc import Iterator
from pathlib import Path

import duckdb
import polars as pl
import polars.selectors as cs
import pytest
from match_layouts import change, hour, laid, layout, slot, vends
from polars.testing import assert_frame_equal

import recon
from recon.match.asof import in_force, next_after, reached
from recon.match.slots import match_vends
from recon.match.states import Layouts
from recon.model.frames import Frame

BUSES = [1, 2, 3, 272, 65534, None]
PACKAGE = Path(recon.__file__).parent


def test_only_one_module_makes_as_of_joins() -> None:
    """Polars answers a grouped as-of join wrongly, without an error, where a side is not sorted, and a search
    in a sorted column as well: so all go through one place.
    """
    callers = [
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if any(word in path.read_text("utf-8") for word in ("join_asof", "search_sorted"))
    ]
    assert callers == ["match/asof.py"]


def random_layouts(draw: random.Random) -> Layouts:
    """Up to three machines of up to four slots, whose numbers, products and use change at whole hours."""
    machines = []
    for machine in range(draw.randrange(1, 4)):
        labels = [str(label) for label in range(1, draw.randrange(2, 6))]
        slots = [
            slot(label, draw.choice(BUSES), product=draw.choice(["gum", "mint", None])) for label in labels
        ]
        changes = []
        for _ in range(draw.randrange(0, 8)):
            named = [
                {"bus": draw.choice(BUSES[:5])}, {"retire": True}, {"product": "chips"}, {"price": "2.00"},
            ]  # fmt: skip
            changes.append(change(draw.randrange(0, 10), draw.choice(labels), **draw.choice(named)))
        machines.append(layout(*slots, changes=changes, machine=f"m-{machine}"))
    return laid(*machines)


def random_vends(draw: random.Random) -> Frame:
    """Vends at whole and half hours, so that many fall on a change, some before any layout, some at a
    machine without one.
    """
    rows = [
        (
            hour(draw.randrange(-4, 24) / 2),
            draw.choice(BUSES),
            draw.choice([None, "1", "2", "9"]),
            f"m-{draw.randrange(5)}",
        )
        for _ in range(draw.randrange(0, 40))
    ]
    frame = pl.concat(
        [vends((at, bus, label), machine=machine) for at, bus, label, machine in rows] or [vends()]
    )
    return frame.with_columns(pl.int_range(2, 2 + pl.len(), dtype=pl.Int64).alias("row"))


@pytest.fixture(scope="module")
def engine() -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect() as connection:
        connection.execute(
            "CREATE TABLE vends (row BIGINT, machine VARCHAR, time BIGINT, bus INTEGER, label VARCHAR)"
        )
        connection.execute(
            "CREATE TABLE states (slot INTEGER, state INTEGER, machine VARCHAR, label VARCHAR, bus INTEGER,"
            " starts BIGINT, ends BIGINT)"
        )
        yield connection


def fill(engine: duckdb.DuckDBPyConnection, table: str, frame: Frame) -> None:
    """Put the frame into the table, its times as microseconds since 1970."""
    rows = frame.with_columns(cs.temporal().dt.timestamp("us")).rows()
    engine.execute(f"DELETE FROM {table}")
    if rows:
        engine.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * frame.width)})", rows)


def by_duckdb(
    engine: duckdb.DuckDBPyConnection, rows: Frame, laid_out: Layouts
) -> list[tuple[int, int | None, int | None]]:
    """(row, slot, state) by number, else by label, as duckdb's ASOF join says.

    Which of two equal starts it takes is not promised: of these only the last state is given to it.
    """
    fill(engine, "vends", rows.select("row", "machine", "time", "bus", "label"))
    in_use = laid_out.states.filter("in_use")
    fill(engine, "states", in_use.select("slot", "state", "machine", "label", "bus", "starts", "ends"))
    found: dict[int, tuple[int, int]] = {}
    for name in ("bus", "label"):
        answer = engine.execute(f"""
            WITH single AS (
                SELECT * FROM states WHERE {name} IS NOT NULL
                QUALIFY state = max(state) OVER (PARTITION BY machine, {name}, starts)
            )
            SELECT v.row, s.slot, s.state FROM vends v ASOF JOIN single s
            ON v.machine = s.machine AND v.{name} = s.{name} AND v.time >= s.starts
            WHERE s.ends IS NULL OR s.ends > v.time
        """).fetchall()
        for row, slot_number, state in answer:
            found.setdefault(row, (slot_number, state))
    return [(row, *found.get(row, (None, None))) for row in sorted(rows["row"].to_list())]


@pytest.mark.parametrize("seed", range(60))
def test_vends_match_as_duckdb_joins_them(seed: int, engine: duckdb.DuckDBPyConnection) -> None:
    draw = random.Random(seed)
    laid_out, rows = random_layouts(draw), random_vends(draw)
    shuffled = rows.sample(fraction=1, shuffle=True, seed=seed)
    matched = match_vends(shuffled, laid_out)
    assert matched.height == rows.height
    assert matched.sort("row").select("row", "slot", "state").rows() == by_duckdb(engine, rows, laid_out)


@pytest.mark.parametrize("seed", range(60))
def test_a_table_of_numbers_gives_what_the_as_of_search_gives(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where every number belongs to one state alone, and where some do."""
    draw = random.Random(seed)
    laid_out, rows = random_layouts(draw), random_vends(draw)
    if seed % 2:
        rows = rows.filter(pl.col("time") >= hour(8))
    fast = match_vends(rows, laid_out)
    monkeypatch.setattr("recon.match.slots._MOST_CELLS", -1)
    assert_frame_equal(match_vends(rows, laid_out), fast)


def test_the_oracle_is_asked_about_what_matters() -> None:
    """The random cases above hold ties, ended states, vends before the first state, and matches by label."""
    seen = {"tie": 0, "ended": 0, "before": 0, "label": 0, "none": 0}
    for seed in range(60):
        draw = random.Random(seed)
        laid_out, rows = random_layouts(draw), random_vends(draw)
        in_use = laid_out.states.filter(pl.col("in_use") & pl.col("bus").is_not_null())
        seen["tie"] += in_use.select(pl.struct("machine", "bus", "starts").is_duplicated().any()).item()
        pairs = rows.join(in_use, on=["machine", "bus"])
        seen["ended"] += pairs.filter(pl.col("ends") <= pl.col("time")).height > 0
        seen["before"] += pairs.filter(pl.col("starts") > pl.col("time")).height > 0
        matched = match_vends(rows, laid_out)
        known = matched.filter(pl.col("slot").is_not_null())
        seen["label"] += known.filter(pl.col("bus").is_null()).height > 0
        seen["none"] += known.height < matched.height
    assert min(seen.values()) >= 10, seen


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("forward", [False, True], ids=["in_force", "next_after"])
@pytest.mark.parametrize("fits", [True, False], ids=["one integer", "by rank"])
def test_the_join_itself_against_a_search_through_everything(
    seed: int, forward: bool, fits: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where key and moment do not fit into one integer."""
    if not fits:
        monkeypatch.setattr("recon.match.asof._LARGEST", 0)
    draw = random.Random(seed)
    left = pl.DataFrame(
        [(at, draw.randrange(3), draw.randrange(12)) for at in range(draw.randrange(0, 20))],
        schema={"id": pl.Int64, "key": pl.Int32, "at": pl.Int64}, orient="row",
    )  # fmt: skip
    history = pl.DataFrame(
        [(draw.randrange(3), draw.randrange(12), at) for at in range(draw.randrange(0, 15))],
        schema={"key": pl.Int32, "since": pl.Int64, "tie": pl.Int64}, orient="row",
    ).sample(fraction=1, shuffle=True, seed=seed)  # fmt: skip
    join = next_after if forward else in_force
    joined = join(left, history, key="key", at="at", since="since", tie="tie")
    expected = {}
    for number, key, at in left.rows():
        if forward:
            fits = [(-since, -tie) for held, since, tie in history.rows() if held == key and since >= at]
        else:
            fits = [(since, tie) for held, since, tie in history.rows() if held == key and since <= at]
        expected[number] = abs(max(fits)[1]) if fits else None
    assert joined.select("id", "tie").rows() == list(expected.items())


def test_keys_and_moments_at_the_ends_of_64_bits() -> None:
    ends = [-(2**63), -1, 0, 2**63 - 1]
    history = pl.DataFrame({"key": [-1, 0, 2**31 - 1], "since": [ends[0], ends[2], ends[3]], "tie": [0, 1, 2]})
    rows = [(key, at) for key in (-1, 0, 2**31 - 1, 7) for at in ends]
    left = pl.DataFrame(rows, schema={"key": pl.Int64, "at": pl.Int64}, orient="row")
    found = in_force(left, history, key="key", at="at", since="since", tie="tie")["tie"].to_list()
    assert found == [0, 0, 0, 0, None, None, 1, 1, None, None, None, 2, None, None, None, None]


def test_an_empty_moment_was_never_in_force() -> None:
    history = pl.DataFrame({"key": [1, 1], "since": [0, 5], "tie": [0, 1]})
    left = pl.DataFrame({"key": [1, 1, 1], "at": [None, 6, -1]}, schema={"key": pl.Int64, "at": pl.Int64})
    for join, expected in ((in_force, [None, 1, None]), (next_after, [None, None, 0])):
        assert join(left, history, key="key", at="at", since="since", tie="tie")["tie"].to_list() == expected


def test_a_history_out_of_order_is_refused() -> None:
    history = pl.DataFrame({"key": [1, 0], "since": [0, 5]})
    with pytest.raises(ValueError, match="not sorted"):
        reached(pl.DataFrame({"key": [1], "at": [3]}), history, key="key", at="at", since="since")
