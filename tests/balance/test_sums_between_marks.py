"""Sums between marks by searching the marks among the vends, held against a search of each vend among the marks, which
is the plain way: `into_windows`, `reaching` and `summed`.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal
from stage_frames import VEND_FILE, at, frame, one_machine, priced

from recon.balance.cash import cash_vends, collection_ends, loose_cash
from recon.balance.local_times import local_days
from recon.balance.payouts import card_days
from recon.balance.stock import stock_windows
from recon.balance.summary import totals
from recon.balance.windows import doubtful, into_windows, number_marks, places_in, reaching, summed, sums_in
from recon.match import sequence
from recon.match.sequence import cumulative, in_sequence
from recon.model import frames
from recon.model.frames import TIME

NEAR = timedelta(minutes=3)
MINUTES = st.integers(0, 20)


@pytest.fixture(params=[2**63 - 1, 0], ids=["one integer", "places of moments"], autouse=True)
def _largest(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test twice: also where key and moment do not fit into one integer."""
    monkeypatch.setattr(sequence, "_LARGEST", request.param)


def moments(minutes: list[int]) -> pl.Series:
    return pl.Series([at(minute) for minute in minutes], dtype=TIME)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    events=st.lists(st.tuples(st.integers(0, 3), MINUTES, st.integers(1, 4)), max_size=25),
    marked=st.sets(st.tuples(st.integers(0, 4), MINUTES), max_size=12),
)
def test_sums_are_those_of_the_plain_way(
    events: list[tuple[int, int, int]], marked: set[tuple[int, int]]
) -> None:
    """Keys without a mark, marks of keys without an event, several marks within the boundary minutes, events at the
    very moment of a mark."""
    rows = pl.DataFrame(events, schema={"key": pl.Int32, "minute": pl.Int64, "units": pl.Int64}, orient="row")
    rows = rows.with_columns(moments(rows["minute"].to_list()).alias("time"))
    marks = pl.DataFrame(sorted(marked), schema={"key": pl.Int32, "minute": pl.Int64}, orient="row")
    marks = number_marks(marks.with_columns(moments(marks["minute"].to_list()).alias("time")), "key")

    own = in_sequence(rows["key"], rows["time"], 5)
    ordered = rows if own.order is None else rows[own.order]
    sums = cumulative(ordered.select("units"))
    places = places_in(own, marks, "key", NEAR)
    found = pl.DataFrame(
        {
            "mark": marks["mark"],
            "inside": sums_in(sums, places)["units"],
            "doubt": doubtful(sums, places)["units"],
            "late": sums_in(sums, places, "late_begin", "begin")["units"],
            "early": sums_in(sums, places, "end", "early_end")["units"],
        }
    )

    plain = into_windows(rows, marks, "key", NEAR)
    near = pl.when(pl.col("near_open") | pl.col("near_close")).then("units").otherwise(0)
    late, early = reaching(plain, marks, "key", NEAR)
    expected = marks.select("mark", "next_time")
    for sums_of in (
        summed(plain, pl.col("window"), inside=pl.col("units"), doubt=near),
        summed(late, pl.col("reached"), late=pl.col("units")),
        summed(early, pl.col("reached"), early=pl.col("units")),
    ):
        expected = expected.join(sums_of, on="mark", how="left", maintain_order="left")
    # No mark closes the last window of a key: nothing can come to it from behind.
    open_ = pl.col("next_time").is_null()
    expected = expected.with_columns(pl.when(open_).then(0).otherwise("early").alias("early"))
    assert_frame_equal(found, expected.drop("next_time").fill_null(0))


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    counts=st.sets(st.tuples(MINUTES, st.integers(0, 2)), max_size=8),
    vends=st.lists(st.tuples(MINUTES, st.integers(0, 2), st.integers(0, 3), st.booleans()), max_size=15),
    asked=st.sets(st.integers(0, 7)),
)
def test_moves_of_windows_are_the_vends_within_them(
    counts: set[tuple[int, int]], vends: list[tuple[int, int, int, bool]], asked: set[int]
) -> None:
    slot = {"slot": pl.Int32()}
    common = {"file": 1, "machine": "m-1", "zone": "UTC", "loaded": 0, "removed": 0, "counted": 5}
    sheets = frame(
        frames.COUNTS,
        [common | {"row": row, "time": at(minute), "slot": own} for row, (minute, own) in enumerate(sorted(counts), 2)],
        **slot,
    )
    sold = priced(
        {"minute": minute, "slot": own, "units": units, "outcome": "refunded" if refunded else "vended"}
        for minute, own, units, refunded in vends
    ).sort("machine", "time", "file", "row")
    stock = stock_windows(sheets, frame(frames.LOADS, [], **slot), sold, one_machine(3), near=NEAR, count_first=True)
    windows = [mark for mark in sorted(asked) if mark < stock.spans.height]
    found = stock.moves_of(pl.Series(windows, dtype=pl.Int64))

    plain = into_windows(sold.filter(pl.col("units") > 0), stock.spans, "slot", NEAR)
    doubt = pl.col("near_open") | pl.col("near_close") | (pl.col("outcome") == "refunded")
    expected = plain.filter(pl.col("window").is_in(windows)).select(
        "slot", "window", "time", "file", "row", (-pl.col("units")).alias("change"), pl.lit(2).alias("rank"),
        doubt.alias("undecided"),
    )  # fmt: skip
    assert_frame_equal(found.sort("file", "row"), expected.sort("file", "row"))
    before = sold.filter(pl.col("units") > 0).join(
        stock.spans.group_by("slot").agg(pl.col("time").min().alias("first")), on="slot", how="left"
    )
    before = before.filter(pl.col("first").is_null() | (pl.col("time") < pl.col("first")))
    assert sorted(stock.early["row"].to_list()) == sorted(before["row"].to_list())


MACHINES = ("m-1", "m-2", "m-3", "m-4")
"""m-4 has no layout."""
PAID = st.lists(
    st.tuples(MINUTES, st.sampled_from(MACHINES), st.sampled_from(["cash", "card", "prepaid", "free"]), st.booleans(),
    st.integers(1, 3)), max_size=20,
)  # fmt: skip


def paid_vends(vends: list[tuple[int, str, str, bool, int]]) -> pl.DataFrame:
    return priced(
        {
            "minute": minute * 60, "machine": machine, "tender": tender, "quantity": quantity, "paid": 100 + minute,
            "outcome": "vended" if kept else "refunded", "stayed_paid": kept and tender != "free", "unit_cost": minute,
        }
        for minute, machine, tender, kept, quantity in vends
    ).sort("machine", "time", "file", "row")  # fmt: skip


@settings(max_examples=80, deadline=None, derandomize=True)
@given(vends=PAID, boxes=st.lists(st.tuples(MINUTES, st.sampled_from(MACHINES)), max_size=6))
def test_loose_cash_is_what_no_two_collections_enclose(
    vends: list[tuple[int, str, str, bool, int]], boxes: list[tuple[int, str]]
) -> None:
    rows = paid_vends(vends)
    common = {"file": 3, "zone": "UTC", "collected": 0}
    listed = [
        common | {"row": row, "time": at(minute * 60), "machine": name} for row, (minute, name) in enumerate(boxes)
    ]
    cash = frame(frames.CASH, listed)
    found = loose_cash(cash, cash_vends(cash, rows, one_machine(machines=MACHINES[:3])))
    ends = rows.join(collection_ends(cash), on="machine", how="left", maintain_order="left")
    outside = pl.col("first").is_null() | (pl.col("time") < pl.col("first")) | (pl.col("time") >= pl.col("last"))
    expected = ends.filter((pl.col("tender") == "cash") & pl.col("stayed_paid") & outside)
    assert_frame_equal(found, expected.select(found.columns))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(vends=PAID)
def test_totals_are_those_of_grouping_by_name(vends: list[tuple[int, str, str, bool, int]]) -> None:
    rows = paid_vends(vends)
    found = totals(rows)
    for machine, own in rows.group_by("machine"):
        sums = found.row(by_predicate=pl.col("machine") == machine[0], named=True)
        kept = own.filter("stayed_paid")
        money = kept.select("tender", (pl.col("paid_low") * pl.col("quantity")).alias("money"))
        assert sums["sales"] == money["money"].sum()
        for tender in ("cash", "card"):
            assert sums[f"{tender}_sales"] == money.filter(pl.col("tender") == tender)["money"].sum()
        assert sums["card_vends"] == kept.filter(pl.col("tender") == "card")["quantity"].sum()
        assert sums["cost_parts"] == (own["units"] * own["unit_cost"]).sum()
        assert (sums["first"], sums["last"]) == (own["time"].min(), own["time"].max())
        assert sums["vends"] == own.height
    assert found["machine"].to_list() == sorted({vend[1] for vend in vends})


ZONES = {
    "America/St_Johns": datetime(2010, 11, 7, 2, 31, tzinfo=UTC),
    "America/Havana": datetime(2025, 11, 2, 5, tzinfo=UTC),
    "Africa/Cairo": datetime(2025, 10, 30, 21, tzinfo=UTC),
    "America/Asuncion": datetime(2024, 3, 24, 3, tzinfo=UTC),
    "Asia/Beirut": datetime(2025, 3, 29, 22, tzinfo=UTC),
    "Australia/Lord_Howe": datetime(2025, 4, 5, 15, tzinfo=UTC),
    "Asia/Kathmandu": datetime(1985, 12, 31, 18, 30, tzinfo=UTC),
    "Pacific/Apia": datetime(2011, 12, 30, 10, tzinfo=UTC),
    "UTC": datetime(1970, 1, 1, tzinfo=UTC),
}
"""Zones, and a moment at which their clocks change: at midnight, a minute past it, by half an hour, by a whole day."""


@pytest.mark.parametrize("zone", ZONES)
def test_local_days_are_those_of_the_zone(zone: str) -> None:
    turn = ZONES[zone]
    around = [
        turn + timedelta(minutes=minute, microseconds=micro) for minute in range(-3000, 3000) for micro in (-1, 0)
    ]
    days = local_days(pl.Series(around, dtype=TIME), zone).to_list()
    assert days == [moment.astimezone(ZoneInfo(zone)).date() for moment in around]
    assert local_days(pl.Series(around[:1], dtype=TIME), zone).to_list() == days[:1]
    assert local_days(pl.Series([], dtype=TIME), zone).len() == 0


@pytest.mark.parametrize("zone", ZONES)
def test_card_days_are_those_of_grouping_vend_by_vend(zone: str) -> None:
    """Also where clocks set back across midnight part a day in two, and before 1970."""
    minutes = (ZONES[zone] - at(0)) // timedelta(minutes=1)
    rows = priced(
        {
            "minute": minutes + step * 7, "machine": machine, "tender": "card", "paid": 100 + step,
            "quantity": 1 + step % 2,
        }
        for machine in MACHINES
        for step in range(-400, 400)
    )  # fmt: skip
    own = rows.select(
        "machine", pl.col("time").dt.convert_time_zone(zone).dt.date().alias("day"), "quantity", "time",
        money=pl.col("paid_low") * pl.col("quantity"),
    )  # fmt: skip
    expected = own.group_by("machine", "day").agg(
        vends=pl.col("quantity").sum(), low=pl.col("money").sum(), first_time=pl.col("time").min(),
        last_time=pl.col("time").max(),
    ).sort("machine", "day")  # fmt: skip
    days = expected["day"]
    payout = {"file": 9, "row": 2, "paid_on": days.max(), "from": days.min(), "to": days.max(), "net": 0}
    rows = rows.sort("machine", "time", "file", "row")
    assert rows["file"].unique().to_list() == [VEND_FILE]
    found = card_days(frame(frames.PAYOUTS, [payout]), rows, one_machine(machines=MACHINES), zone=zone, currency="CAD")
    covered = found.covered.sort("machine", "day").select(expected.columns)
    assert_frame_equal(covered, expected)
