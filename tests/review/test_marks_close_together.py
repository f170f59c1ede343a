"""Counts and collections closer together than boundary_minutes: a vend may belong to the other side of each of them
(invented data)."""

from builders import RouteBuilder

from recon.ledger.trace_lines import Terms
from recon.ledger.trace_money import cash_figures
from recon.ledger.trace_slots import slot_figures

AT = ("09-01 09:00", "09-08 09:00", "09-08 09:04", "09-08 09:08", "09-15 09:00")
VENDS = ("09-08 08:59, A1, cash, 1.00", "09-08 09:01, A1, cash, 2.00", "09-08 09:12, A1, cash, 4.00")
"""Windows a to d, of which b and c last four minutes. The first vend is in a and within ten minutes of the counts that
open b, c and d; the second in b, near its own and those that open c and d, and before it b's; the third in d, near the
counts that close b and c. Of the first count it is twelve minutes away."""


def close_together(route: RouteBuilder) -> RouteBuilder:
    return route.vends(*VENDS).counts(*(f"{at}, A1, 9" for at in AT)).cash(*(f"{at}, 0" for at in AT))


def test_each_window_within_reach_may_have_the_vend(route: RouteBuilder) -> None:
    windows = close_together(route).run().results.stock
    told = [(one.vended, one.variance, one.variance_low, one.variance_high) for one in windows]
    assert told == [(1, 1, 0, 2), (1, 1, 0, 3), (0, 0, 0, 3), (1, 1, 0, 3)]


def test_so_may_each_collection(route: RouteBuilder) -> None:
    windows = close_together(route).run().results.cash
    assert [(int(one.expected or 0), int(one.expected_low or 0), int(one.expected_high or 0)) for one in windows] == [
        (1, 0, 3), (2, 0, 7), (0, 0, 7), (4, 0, 7),
    ]  # fmt: skip


def test_a_trace_lays_out_what_its_range_is_made_of(route: RouteBuilder) -> None:
    run = close_together(route).run()
    done, terms = run.reconciliation, Terms.of(run.reconciliation.settings)
    stock, cash = slot_figures(done, terms, done.frames["slots"]), cash_figures(done, terms, ["m-1"])
    for figures, money in ((stock, False), (cash, True)):
        closed = figures.heads.filter(kind="closed")
        for window, high in closed.select("window", "expected_high" if money else "variance_high").rows():
            lines = figures.lines.filter(figures.lines["window"] == window)
            head = closed.filter(closed["window"] == window).row(0, named=True)
            outside = lines.filter((lines["what"] == "vend") & ~lines["in_figure"])
            change = int(outside["change"].sum())
            assert high == (head["expected"] + change if money else head["variance"] - change)
            assert outside["why"].str.contains("may belong here").all()
    whys = stock.lines.filter(~stock.lines["in_figure"])["why"].to_list()
    assert "9 min before the opening count: may belong here" in whys
    assert "8 min after the closing count: may belong here" in whys
