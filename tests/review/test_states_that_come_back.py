"""A vend whose state changed and then changed back is in the state that the newest export gives."""

from pathlib import Path

import pytest
from builders import RouteBuilder, of_kind, only, slot


@pytest.fixture
def route(tmp_path: Path) -> RouteBuilder:
    return RouteBuilder(tmp_path / "route").machine("m-1", slot("A1", bus=1))


def _exports(route: RouteBuilder, *outcomes: str) -> RouteBuilder:
    """One export a week, each with the vend R1 in its state then and a vend of its own week."""
    for week, outcome in enumerate(outcomes, start=1):
        route.vends(
            f"09-01 10:00, A1, cash, 2.00, {outcome}, R1",
            f"09-{week * 7:02} 10:00, A1, cash, 2.00, vended, W{week}",
            name=f"{'zyx'[week - 1]}.csv",
        )
    return route


def test_a_state_that_comes_back_is_the_newest(route: RouteBuilder) -> None:
    run = _exports(route, "vended", "refunded", "vended").run()
    vends = run.frames["vends"].filter(reference="R1")
    assert vends["outcome"].to_list() == ["vended"]
    changed = only(of_kind(run, "vend-changed"))
    assert 'was refunded and is vended' in changed.message
    assert "inbox/y.csv:2, then inbox/x.csv:2" in changed.message
    for entry in run.results.inputs:
        assert entry.rows == entry.accepted + entry.duplicate + entry.rejected


def test_a_refund_told_last_stays_one(route: RouteBuilder) -> None:
    run = _exports(route, "vended", "vended", "refunded").run()
    assert run.frames["vends"].filter(reference="R1")["outcome"].to_list() == ["refunded"]
    assert len(of_kind(run, "vend-changed")) == 1
