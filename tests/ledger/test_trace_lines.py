"""Why a line is in a figure or not: each reason by itself."""

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from builders import RouteBuilder, change, slot
from traced import Line, reconciled, traced, windows

from recon.ledger.trace import trace
from recon.ledger.trace_lines import must_agree
from recon.ledger.trace_slots import slot_figures
from recon.ledger.trace_target import target_of
from recon.model.errors import FrameError
from recon.model.frames import CORRECTIONS


def lines_of(root: Path, target: str = "m-1/A1", nth: int = 0) -> list[Line]:
    """The lines of one stock window of the slot."""
    return windows(traced(root, target).stock)[nth][1]


def two_counts(route: RouteBuilder) -> RouteBuilder:
    return route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8")


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("09-03 12:00, A1, card, 2.00, failed", "failed: nothing dropped, nothing was charged"),
        ("09-03 12:00, A1, card, 2.00, cancelled", "cancelled: nothing dropped"),
        ("09-03 12:00, A1, test, 2.00, vended", "test vend: the unit was put back"),
    ],
)
def test_a_vend_that_took_no_unit_says_why(route: RouteBuilder, row: str, why: str) -> None:
    two_counts(route).vends(row)
    (line,) = [line for line in lines_of(route.root) if line["what"] == "vend"]
    assert (line["in_figure"], line["change"], line["balance"], line["why"]) == (False, None, None, why)


def test_a_test_vend_that_was_consumed_is_in_the_figure(route: RouteBuilder) -> None:
    two_counts(route).settings(stock={"test_vends": "consumed"}).vends("09-03 12:00, A1, test, , vended")
    (line,) = [line for line in lines_of(route.root) if line["what"] == "vend"]
    assert (line["in_figure"], line["change"], line["balance"], line["why"]) == (True, -1, 9, None)


def test_a_refunded_vend_counts_and_is_in_doubt(route: RouteBuilder) -> None:
    two_counts(route).vends("09-03 12:00, A1, card, 2.00, refunded")
    (line,) = [line for line in lines_of(route.root) if line["what"] == "vend"]
    assert (line["in_figure"], line["why"]) == (True, "refunded: it may never have dropped")


def test_a_repeated_row_names_the_row_that_counts(route: RouteBuilder) -> None:
    vend = "09-03 12:00, A1, card, 2.00, vended, T-1"
    two_counts(route).vends(vend, name="a.csv").vends("09-02 12:00, A1, cash, 2.00", vend, name="b.csv")
    out = [line for line in lines_of(route.root) if not line["in_figure"] and line["what"] == "vend"]
    assert [(line["row"], line["why"]) for line in out] == [(3, "the same as inbox/a.csv:2: counts once")]


def test_an_older_state_of_a_vend_names_the_newer_one(route: RouteBuilder) -> None:
    two_counts(route).vends("09-03 12:00, A1, card, 2.00, vended, T-1", name="a.csv")
    route.vends("09-03 12:00, A1, card, 2.00, refunded, T-1", "09-04 12:00, A1, cash, 2.00", name="b.csv")
    out = [line for line in lines_of(route.root) if not line["in_figure"] and line["what"] == "vend"]
    assert [line["row"] for line in out] == [2]
    assert out[0]["why"].startswith("an older state of the vend of inbox/b.csv:2: ")


def test_a_count_that_a_later_sheet_gives_otherwise_is_left_out_with_its_loads(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 9, 5", name="a.csv")
    route.counts("09-01 09:00, A1, 11, 1", "09-08 09:00, A1, 7, 2", name="b.csv")
    first, second = windows(traced(route.root, "m-1/A1").stock)
    names = ("what", "figure", "in_figure", "balance")
    told = [[tuple(line[name] for name in names) for line in lines] for _, lines in (first, second)]
    assert told[0] == [
        ("count", 10, False, None), ("count", 11, True, 11), ("load", None, True, 12),
        ("count", 9, False, None), ("count", 7, True, 12),
    ]  # fmt: skip
    assert told[1] == [
        ("count", 9, False, None), ("count", 7, True, 7), ("load", None, False, None), ("load", None, True, 9),
    ]  # fmt: skip
    later = "a later sheet gives this visit otherwise: counted 7, inbox/b.csv:3"
    assert [line["why"] for line in second[1]] == [later, None, later, None]


def test_a_line_left_blank_keeps_the_window_open_and_its_load_counts(route: RouteBuilder) -> None:
    two_counts(route).counts("09-04 09:00, A1, , 3", name="blank.csv")
    out = lines_of(route.root)
    told = [(line["what"], line["in_figure"], line["change"], line["why"]) for line in out if line["file"] == 0]
    blank = "left blank: not counted, the window stays open"
    assert told == [("count", False, None, blank), ("load", True, 3, None)]


def vends_of(lines: list[Line]) -> list[tuple[object, ...]]:
    vends = [line for line in lines if line["what"] == "vend"]
    return [(line["time"].minute, line["in_figure"], line["side"], line["why"]) for line in vends]


def test_a_vend_near_a_count_is_marked_and_shown_on_its_other_side_too(route: RouteBuilder) -> None:
    two_counts(route).vends("09-08 08:54, A1, cash, 2.00", "09-08 09:10, A1, cash, 2.00", "09-08 09:11, A1, cash, 2.00")
    first, last = windows(traced(route.root, "m-1/A1").stock)
    assert vends_of(first[1]) == [
        (54, True, "after", None),
        (10, False, "before", "10 min after the closing count: may belong here"),
    ]
    assert vends_of(last[1]) == [
        (54, False, "after", "6 min before the opening count: may belong here"),
        (10, True, "before", None),
        (11, True, None, None),
    ]


def test_a_change_of_the_layout_stands_where_it_falls_and_says_where_it_is_written(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine(
        "m-1", slot("A1"), changes=[change("2026-09-03T12:00:00", "A1", price="2.50", product="mints")]
    )
    two_counts(route).vends("09-02 12:00, A1, cash", "09-04 12:00, A1, cash", "09-03 12:00, A1, cash")
    found = traced(route.root, "m-1/A1")
    (head, lines), _ = windows(found.stock)
    told = [(line["what"], line["least"], line["priced"]) for line in lines if line["what"] in ("layout", "vend")]
    assert told == [("vend", 200, "layout"), ("layout", None, None), ("vend", 250, "layout"), ("vend", 250, "layout")]
    states = {row["state"]: row for row in found.states.to_dicts()}
    written = (tmp_path / "layouts/m-1.toml").read_text().splitlines()
    at_opening = states[head["state"]]
    assert (at_opening["product"], at_opening["layout_file"]) == ("gum", "layouts/m-1.toml")
    assert written[at_opening["layout_line"] - 1] == "[[slot]]"
    (changed,) = [line for line in lines if line["what"] == "layout"]
    assert written[states[changed["state"]]["layout_line"] - 1] == "[[change]]"


def test_a_price_says_how_it_was_filled(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1", price=None), slot("A2", price="3.00"))
    two_counts(route).vends(
        "09-02 12:00, A1, cash, 2.00", "09-03 12:00, A1, cash", "09-04 12:00, A1, cash, 2.00",
        "09-05 12:00, A1, cash", "09-06 12:00, A1, cash, 2.50",
    )  # fmt: skip
    lines = [line for line in lines_of(route.root) if line["what"] == "vend"]
    assert [(line["priced"], line["least"], line["most"]) for line in lines] == [
        ("log", 200, 200), ("neighbours", 200, 200), ("log", 200, 200), ("range", 200, 250), ("log", 250, 250),
    ]  # fmt: skip


def test_before_the_first_count_there_is_no_balance(route: RouteBuilder) -> None:
    two_counts(route).vends("08-30 12:00, A1, cash, 2.00")
    head, lines = windows(traced(route.root, "m-1/A1").stock)[0]
    assert (head["kind"], head["expected"]) == ("early", None)
    assert [(line["what"], line["change"], line["balance"]) for line in lines] == [
        ("layout", None, None), ("vend", -1, None), ("count", None, None),
    ]  # fmt: skip


def test_a_slot_that_was_never_counted_or_used_has_an_empty_trace(route: RouteBuilder) -> None:
    two_counts(route).machine("m-1", slot("A1"), slot("A2"))
    found = traced(route.root, "m-1/A2")
    assert windows(found.stock) == []
    assert found.rows.height == 0


@pytest.mark.parametrize(("target", "shown"), [("m-1/A1", [2, 3, 4]), ("m-1/A2", []), ("m-1", [2, 3, 4, 5])])
def test_rejected_rows_are_told_by_what_their_cells_say(tmp_path: Path, target: str, shown: list[int]) -> None:
    route = two_counts(RouteBuilder(tmp_path).machine("m-1", slot("A1", bus=17), slot("A2", bus=18)))
    text = (
        "machine,time,label,bus,tender,price\n"
        "m-1,2026-09-03 12:00,A1,,cash,two\n"
        "m-1,2026-09-03 12:00,,17,cash,two\n"
        "m-1,2026-09-03 12:00,A1,,cash,2.00,9,9\n"
        "m-1,2026-09-03 12:00,,,cash,two\n"
        "m-2,2026-09-03 12:00,A1,,cash,two\n"
        ",2026-09-03 12:00,A1,,cash,two\n"
        "m-1,2026-09-03 12:00,A1,,cash,2.00\n"
    )
    route.file("inbox/vends.csv", text)
    found = traced(route.root, target)
    rows = found.rows.to_dicts()
    assert [line["row"] for line in rows] == shown
    assert all(line["why"].startswith("rejected: ") and not line["in_figure"] for line in rows)
    # Line 7 names no machine; of line 5 a slot cannot say whether it is its own.
    assert found.untold == (1 if target == "m-1" else 2)


def test_a_machine_shows_what_no_slot_had(tmp_path: Path) -> None:
    route = two_counts(RouteBuilder(tmp_path).machine("m-1", slot("A1", bus=17)))
    columns = "time,bus,label,tender,price"
    route.vends(
        "09-02 12:00, 99, , cash, 2.00", "09-03 12:00, , B7, cash, 2.00", "09-04 12:00, , , cash, 2.00", columns=columns
    )
    route.loads("09-05 12:00, 98, 4", columns="time,bus,loaded")
    found = traced(route.root, "m-1")
    assert [(line["what"], line["why"]) for line in found.rows.to_dicts()] == [
        ("vend", "no slot had number 99 at that time"),
        ("vend", "no slot in use had the label B7 at that time"),
        ("vend", "the log gives no number"),
        ("load", "no slot had number 98 at that time"),
    ]


def test_a_later_cash_sheet_takes_the_place_of_an_earlier_one(route: RouteBuilder) -> None:
    route.cash("09-01 09:00, 5.00", "09-08 09:00, 4.00", name="a.csv").cash("09-08 09:00, 6.00", name="b.csv")
    route.vends("09-03 12:00, A1, cash, 2.00", "09-04 12:00, A1, cash, 4.00, failed")
    found = traced(route.root, "m-1@2026-09-08")
    ((head, lines),) = windows(found.cash)
    assert (head["expected"], head["collected"], head["over_short"]) == (200, 600, 400)
    told = [(line["what"], line["in_figure"], line["balance"], line["why"]) for line in lines]
    assert told == [
        ("collection", True, 0, None),
        ("vend", True, 200, None),
        ("vend", False, None, "failed: nothing dropped, nothing was charged"),
        ("collection", False, None, "a later sheet gives this collection otherwise: inbox/b.csv:2"),
        ("collection", True, 200, None),
    ]


def test_a_payout_without_days_has_no_line_but_its_own(route: RouteBuilder) -> None:
    route.payouts("2026-09-29, , , , , 9.00, P-1").vends("09-03 12:00, A1, card, 2.00")
    ((_, lines),) = windows(traced(route.root, "P-1").payouts)
    assert [(line["what"], line["balance"], line["figure"]) for line in lines] == [("payout", None, 900)]
    assert lines[0]["why"] == "names no days: what it pays for cannot be told"


def test_a_corrected_figure_names_the_entry_and_what_the_file_says(route: RouteBuilder) -> None:
    """The frame as a correction leaves it; that a decision makes one is tested where decisions are."""
    done, inbox = reconciled(two_counts(route).root)
    count = done.frames["counts"].filter(pl.col("counted") == 8)
    place = (count["file"][0], count["row"][0])
    rows = [(*place, "counted", 3, 8, 41), (*place, "loaded", 1, 0, 42)]
    made = pl.DataFrame(rows, schema=CORRECTIONS.schema, orient="row")
    done = replace(done, frames={**done.frames, "corrections": made})
    found = trace(target_of("m-1/A1", done), done, inbox)
    told = [(line["entry"], line["why"]) for _, lines in windows(found.stock) for line in lines if line["figure"] == 8]
    assert told == [(41, "counted corrected to 8 by entry 41; the file says 3")] * 2


def test_a_trace_that_does_not_come_to_the_figure_is_never_shown(route: RouteBuilder) -> None:
    done, _ = reconciled(two_counts(route).root)
    wrong = done.frames["stock"].with_columns(pl.col("expected") + 1)
    falsified = replace(done, frames={**done.frames, "stock": wrong})
    from recon.ledger.trace_lines import Terms
    from recon.route.folder import read_route

    terms = Terms.of(read_route(route.root).settings)
    with pytest.raises(FrameError, match="the lines of a stock window come to 10 where the run says 11"):
        slot_figures(falsified, terms, falsified.frames["slots"])
    must_agree(pl.DataFrame({"a": [1, None], "b": [1, None]}), "a", "b", "sum")


def test_since_and_until_show_the_windows_that_the_run_shows(route: RouteBuilder) -> None:
    from datetime import UTC, datetime

    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8", "09-15 09:00, A1, 8", "09-22 09:00, A1, 7")
    route.vends("08-30 12:00, A1, cash, 2.00")
    found = traced(
        route.root, "m-1/A1", since=datetime(2026, 9, 8, 12, tzinfo=UTC), until=datetime(2026, 9, 16, tzinfo=UTC)
    )
    assert [(head["kind"], head["closed_at"].day) for head, _ in windows(found.stock)] == [("closed", 15)]
