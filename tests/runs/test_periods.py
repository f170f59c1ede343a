"""What is shown: windows that close after --since and by --until, and the findings that touch that time
(invented data)."""

import json
from datetime import UTC, datetime

import pytest
from builders import RouteBuilder, slot
from typer.testing import CliRunner

from recon.cli.main import app
from recon.model.errors import ReconError

SUNDAYS = ("09-06", "09-13", "09-20", "09-27")


@pytest.fixture
def month(route: RouteBuilder) -> RouteBuilder:
    """Four visits, each with one unit and one dollar short; a card vend in each week; all of it at local
    noon."""
    route.settings(
        timezone="America/Halifax", tolerance={"cash": "0"}, cards={"percent": "0", "monthly": "0"}
    ).machine("m-1", slot("A1"))
    route.counts(*(f"{day} 12:00, A1, {20 - 3 * at}" for at, day in enumerate(SUNDAYS)))
    route.cash(*(f"{day} 12:00, 1.00, 0.00" for day in SUNDAYS))
    for at, day in enumerate(("07", "14", "21"), start=1):
        route.vends(f"09-{day} 12:00, A1, card, 2.00", f"09-{day} 13:00, A1, cash, 2.00")
        route.payouts(
            f"2026-09-{int(day) + 6}, 2026-09-{day}, 2026-09-{int(day) + 6}, 2.00, 0.00, 2.00, P-{at}"
        )
    return route


def day(number: int, hour: int = 0) -> datetime:
    return datetime(2026, 9, number, hour, tzinfo=UTC)


def closing(route: RouteBuilder, **span: datetime) -> tuple[list[int], list[int], list[str | None], set[int]]:
    """Days on which the stock and cash windows shown close, the payouts shown, the days of the shorts
    found."""
    results = route.run(**span).results
    shorts = {
        found.closed_at.day for found in results.findings if found.kind == "stock-short" and found.closed_at
    }
    return (
        [one.closed_at.day for one in results.stock],
        [one.closed_at.day for one in results.cash],
        [one.reference for one in results.payouts],
        shorts,
    )


def test_all_is_shown_unless_a_span_is_given(month: RouteBuilder) -> None:
    assert closing(month) == ([13, 20, 27], [13, 20, 27], ["P-1", "P-2", "P-3"], {13, 20, 27})


def test_since_leaves_out_what_closed_by_then_and_until_what_closes_later(month: RouteBuilder) -> None:
    """12:00 in Halifax is 15:00 UTC: a window that closes at `since` is not shown, one that closes at `until`
    is."""
    assert closing(month, since=day(13, 15)) == ([20, 27], [20, 27], ["P-2", "P-3"], {20, 27})
    assert closing(month, since=day(13, 14))[0] == [13, 20, 27]
    assert closing(month, until=day(20, 15))[0] == [13, 20]
    assert closing(month, until=day(20, 14))[0] == [13]
    assert closing(month, since=day(13, 15), until=day(20, 15)) == ([20], [20], ["P-2"], {20})


def test_a_span_changes_no_figure_and_no_id(month: RouteBuilder) -> None:
    every, part = month.run().results, month.run(since=day(13, 15), until=day(20, 15)).results
    assert part.stock == every.stock[1:2]
    assert part.cash == every.cash[1:2]
    assert {found.id for found in part.findings} < {found.id for found in every.findings}
    assert {found.id: found for found in part.findings}.items() <= {
        found.id: found for found in every.findings
    }.items()  # type: ignore[comparison-overlap]


def test_a_summary_is_of_the_time_shown(month: RouteBuilder) -> None:
    machine = month.run(since=day(13, 15), until=day(20, 15)).results.machines[0]
    assert (machine.vends, machine.sales, machine.shrink_units) == (2, 4, -1)


@pytest.mark.parametrize(
    ("words", "days"),
    [
        (["--since", "2026-09-14"], [20, 27]),
        (["--since", "2026-09-13"], [13, 20, 27]),
        # A day stands for all of it at the far end.
        (["--until", "2026-09-20"], [13, 20]),
        (["--until", "2026-09-20T11:59"], [13]),
        (["--since", "2026-09-13T12:00", "--until", "2026-09-20T12:00"], [20]),
    ],
)
def test_days_and_local_times_of_the_command_are_the_routes(
    month: RouteBuilder, words: list[str], days: list[int]
) -> None:
    done = CliRunner().invoke(
        app,
        ["run", str(month.root), "--dry-run", "--format", "json", "--quiet", *words],
        env={"SOURCE_DATE_EPOCH": "1790700000"},
    )
    results = json.loads(done.stdout)
    assert [int(window["closed_at"][8:10]) for window in results["stock"]] == days
    if "--until" in words and "T" not in words[-1]:
        assert results["until"] == "2026-09-21T00:00:00-03:00"


def test_a_moment_without_a_zone_is_refused(month: RouteBuilder) -> None:
    with pytest.raises(ReconError, match="time zone"):
        month.run(since=datetime(2026, 9, 13))
