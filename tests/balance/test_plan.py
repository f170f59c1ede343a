"""The load list: what is in each slot, what to bring, what runs out, what goes stale, which slots to change."""

from datetime import UTC, datetime, timedelta
from math import ceil
from pathlib import Path
from typing import Any

import pytest
from builders import RouteBuilder, change, slot
from scipy import stats

from recon.balance.plan import Plan, Wishes, plan

NOW = datetime(2026, 9, 22, 9, tzinfo=UTC)


def left(units: int, mean: float) -> float:
    return float(sum((units - asked) * stats.poisson.pmf(asked, mean) for asked in range(units)))


def planned(route: RouteBuilder, now: datetime = NOW, **wishes: Any) -> Plan:
    return plan(route.run(now=now).reconciliation, Wishes(**wishes))


def row(made: Plan, label: str = "A1") -> dict[str, Any]:
    return next(each for each in made.slots.iter_rows(named=True) if each["label"] == label)


@pytest.fixture
def steady(tmp_path: Path) -> RouteBuilder:
    """One slot that sells a unit a day (84 in 84 days), counted each week on Tuesday at nine, filled to 20."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1", capacity=24, par=20))
    first = datetime(2026, 6, 30, 9, tzinfo=UTC)
    for week in range(13):
        day = first + timedelta(days=7 * week)
        route.counts(f"{day:%m-%d %H:%M}, A1, {20 if week == 0 else 13}, {0 if week == 0 else 7}")
    days = [first + timedelta(days=day, hours=1) for day in range(84)]
    # The last vend stands at the last count: the log reaches that far.
    days[-1] = first + timedelta(days=84) - timedelta(minutes=1)
    return route.vends(*(f"{day:%m-%d %H:%M}, A1, cash, 2.00" for day in days))


def test_what_to_bring_is_par_less_what_is_expected_to_be_there(steady: RouteBuilder) -> None:
    found = row(planned(steady))
    assert found["rate"] * 24 == pytest.approx(1.0, rel=1e-3)
    mean = found["rate"] * 24 * 7
    assert (found["units"], found["level"], found["aim"], found["capped"]) == (20, 20, None, False)
    assert found["units_then"] == pytest.approx(left(20, mean))
    assert found["carry"] == ceil(20 - left(20, mean))
    assert found["empty_chance"] == pytest.approx(1 - stats.poisson.cdf(19, mean))
    assert found["short_chance"] == pytest.approx(1 - stats.poisson.cdf(20, mean))
    assert found["lasts_days"] == pytest.approx(20, rel=1e-3)


def test_the_next_visit_is_the_last_one_and_the_median_gap(steady: RouteBuilder) -> None:
    (visit,) = planned(steady).visits.iter_rows(named=True)
    assert (visit["last_visit"], visit["gap_days"], visit["gap_basis"], visit["gaps"]) == (NOW, 7.0, "machine", 12)
    assert (visit["next_visit"], visit["until"]) == (NOW + timedelta(days=7), NOW + timedelta(days=14))


def test_a_load_is_a_visit_and_an_overdue_visit_is_due_now(steady: RouteBuilder) -> None:
    """Loads on Fridays between counts on Tuesdays: gaps of 3 and 4 days, a median of 3.5, rounded up."""
    first = datetime(2026, 7, 3, 12, tzinfo=UTC)
    steady.loads(*(f"{first + timedelta(days=7 * week):%m-%d %H:%M}, A1, 0, 0" for week in range(12)))
    (visit,) = planned(steady, now=NOW + timedelta(days=30)).visits.iter_rows(named=True)
    assert (visit["gap_days"], visit["next_visit"]) == (4.0, NOW + timedelta(days=30))
    assert visit["until"] == NOW + timedelta(days=34)


def test_days_asked_for_are_at_the_time_of_day_of_the_last_visit(steady: RouteBuilder) -> None:
    made = planned(steady, coming=datetime(2026, 9, 24), until=datetime(2026, 10, 9, 15, 30))
    (visit,) = made.visits.iter_rows(named=True)
    assert visit["next_visit"] == datetime(2026, 9, 24, 9, tzinfo=UTC)
    assert visit["until"] == datetime(2026, 10, 9, 15, 30, tzinfo=UTC)
    assert visit["gap_basis"] == "given"
    assert row(made)["mean"] == pytest.approx(row(made)["rate"] * (15 * 24 + 6.5))


@pytest.mark.parametrize("chance", [0.5, 0.9, 0.95, 0.99])
def test_to_last_is_the_quantile_of_what_is_asked_for(steady: RouteBuilder, chance: float) -> None:
    found = row(planned(steady, fill="demand", chance=chance))
    assert found["level"] == stats.poisson.ppf(chance, found["rate"] * 24 * 7)
    assert found["short_chance"] <= 1 - chance or found["units_then"] >= found["level"]
    assert (found["aim"], found["capped"]) == (chance, False)


def test_a_level_is_capped_by_what_fits(steady: RouteBuilder) -> None:
    found = row(planned(steady, fill="demand", until=datetime(2026, 11, 30)))
    assert (found["level"], found["capped"]) == (24, True)
    assert found["short_chance"] > 0.05
    assert found["short_at"] == pytest.approx(
        datetime(2026, 9, 29, 9, tzinfo=UTC) + timedelta(hours=24 / found["rate"]), abs=timedelta(seconds=1)
    )


def test_a_slot_that_holds_more_than_its_level_gets_nothing(steady: RouteBuilder) -> None:
    found = row(planned(steady, fill="demand", chance=0.2, coming=datetime(2026, 9, 22, 9, 1)))
    assert found["level"] < 19
    assert found["carry"] == 0
    # What it then holds is 19 whole units, whatever the level.
    assert found["short_chance"] == pytest.approx(1 - stats.poisson.cdf(19, found["mean"]))


def test_units_now_are_the_last_count_with_what_moved_since(steady: RouteBuilder) -> None:
    """20, less 2 sold, plus 3 loaded, less 1 removed; one vend 5 minutes before the count may belong behind it."""
    steady.vends("09-22 08:55, A1, cash, 2.00", "09-22 10:00, A1, cash, 2.00, vended, , 2", name="late.csv")
    steady.loads("09-22 11:00, A1, 3, 1")
    found = row(planned(steady, now=NOW + timedelta(days=1)))
    # The fixture's own last vend stands a minute before the count.
    assert (found["units"], found["units_low"], found["units_high"]) == (20, 18, 20)
    assert found["counted_at"] == NOW


def test_vends_of_unknown_numbers_are_pointed_out(steady: RouteBuilder) -> None:
    steady.vends("09-22 10:00, X9, cash, 2.00, vended, , 4", name="strays.csv")
    found = row(planned(steady, now=NOW + timedelta(days=1)))
    assert found["unmapped"] == 4


def test_a_slot_never_counted_has_no_figure_to_bring(steady: RouteBuilder) -> None:
    steady.machine("m-2", slot("B1"))
    made = planned(steady)
    found = row(made, "B1")
    assert (found["units"], found["carry"], found["level"], found["units_then"]) == (None, None, 50, None)
    assert made.visits.filter(made.visits["machine"] == "m-2").select("uncounted", "carry", "gap_basis").row(0) == (
        1,
        0,
        "route",
    )


def test_the_van_carries_whole_cases_of_all_machines(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).file("products.csv", "id,name,case_size\ngum,Gum,24\ntea,Tea,\nnuts,Nuts,5\n")
    route.machine("m-1", slot("A1"), slot("A2", product="tea"), slot("A3", product="nuts"))
    route.machine("m-2", slot("A1"))
    for machine in ("m-1", "m-2"):
        route.counts("09-22 09:00, A1, 40", machine=machine)
    route.counts("09-22 09:00, A2, 43", "09-22 09:00, A3, 50", machine="m-1")
    made = planned(route, coming=datetime(2026, 9, 22, 9), until=datetime(2026, 9, 29))
    assert made.van.rows() == [("gum", "Gum", 2, 20, 24, 1, 4), ("tea", "Tea", 1, 7, None, None, None)]
    assert made.van["units"].sum() == made.slots["carry"].sum() == made.visits["carry"].sum()


def test_only_the_machines_asked_for(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).machine("m-2", slot("A1"))
    for machine in ("m-1", "m-2"):
        route.counts("09-22 09:00, A1, 40", machine=machine)
    made = plan(route.run(now=NOW).reconciliation, machines=["m-2"])
    assert made.slots["machine"].to_list() == made.visits["machine"].to_list() == ["m-2"]
    assert made.van["units"].to_list() == [10]


def test_another_product_by_then_is_a_swap(steady: RouteBuilder) -> None:
    text = (steady.root / "layouts/m-1.toml").read_text()
    steady.file("layouts/m-1.toml", f'{text}\n[[change]]\nfrom = 2026-09-29T08:00:00\nlabel = "A1"\nproduct = "tea"\n')
    found = row(planned(steady))
    assert (found["product"], found["swap"], found["units"], found["carry"]) == ("tea", True, 0, 20)
    # Nobody has sold tea yet, nor this machine anything since it holds it.
    assert (found["empty_chance"], found["basis"], found["rate"]) == (None, "none", None)


def test_stale_by_a_shelf_life(steady: RouteBuilder) -> None:
    """20 units at one a day, good for 12 days: those that 12 days leave."""
    steady.file("products.csv", "id,shelf_days\ngum,12\n")
    found = row(planned(steady))
    assert found["stale_units"] == pytest.approx(left(20, found["rate"] * 24 * 12))
    assert (found["shelf_days"], found["outlasts"]) == (12, False)


@pytest.mark.parametrize(("days", "long"), [(19.0, True), (21.0, False)])
def test_without_a_shelf_life_only_long_lasting_stock_is_told(steady: RouteBuilder, days: float, long: bool) -> None:
    found = row(planned(steady, long_days=days))
    assert (found["outlasts"], found["stale_units"]) == (long, None)


def test_worth_is_the_critical_ratio_over_the_shelf_life(steady: RouteBuilder) -> None:
    """Price 2.00, cost 1.50: Cu / (Cu + Co) = .50 / 2.00 = .25; good for 3 days of the 7 between visits."""
    steady.file("products.csv", "id,unit_cost,shelf_days\ngum,1.50,3\n")
    found = row(planned(steady, fill="worth"))
    assert found["aim"] == 0.25
    assert found["level"] == stats.poisson.ppf(0.25, found["rate"] * 24 * 3)
    steady.file("products.csv", "id,unit_cost\ngum,1.50\n")
    assert row(planned(steady, fill="worth"))["aim"] == 0.95


def slots_of(tmp_path: Path, weekly: dict[str, int], emptied: tuple[str, ...] = ()) -> RouteBuilder:
    """Five weeks of slots filled to 10 each Tuesday that sell so many a week; some sell out on Wednesday."""
    route = RouteBuilder(tmp_path).machine(
        "m-1", *(slot(label, product=label.rstrip("0123456789"), capacity=10) for label in weekly)
    )
    for week in range(6):
        day = datetime(2026, 8, 18, 9, tzinfo=UTC) + timedelta(days=7 * week)
        for label, units in weekly.items():
            seen, put = (10, 0) if week == 0 else (10 - units, units)
            route.counts(f"{day:%m-%d %H:%M}, {label}, {seen}, {put}")
            if units and week < 5:
                hours = 24 if label in emptied else 100
                route.vends(f"{day + timedelta(hours=hours):%m-%d %H:%M}, {label}, cash, 2.00, vended, , {units}")
    return route.vends("08-18 09:00, Z9, cash, 2.00", "09-22 09:00, Z9, cash, 2.00")


def test_a_slot_emptied_though_full_is_to_be_widened(tmp_path: Path) -> None:
    made = planned(slots_of(tmp_path, {"gum1": 10, "tea1": 5}, emptied=("gum1",)))
    found = row(made, "gum1")
    assert (found["advice"], found["windows"], found["full"], found["emptied"]) == ("widen", 5, 5, 5)
    # 10 units in each day that it was not empty: the empty hours do not slow it.
    assert found["rate"] * 24 == pytest.approx(10, rel=0.01)
    assert row(made, "tea1")["advice"] == "keep"
    strict = planned(slots_of(tmp_path / "b", {"gum1": 10, "tea1": 5}, emptied=("gum1",)), least_windows=6)
    assert row(strict, "gum1")["advice"] == "keep"


def test_a_slow_slot_is_moved_where_its_product_sells_and_dropped_where_not(tmp_path: Path) -> None:
    made = planned(slots_of(tmp_path, {"gum1": 0, "gum2": 6, "tea1": 0, "nuts1": 3}))
    advice = {label: (row(made, label)["advice"], row(made, label)["sells_at"]) for label in ("gum1", "tea1", "nuts1")}
    assert advice == {"gum1": ("move", "m-1/gum2"), "tea1": ("drop", None), "nuts1": ("keep", None)}
    assert row(planned(slots_of(tmp_path / "b", {"nuts1": 3}), slow=4.0), "nuts1")["advice"] == "drop"
    assert row(made, "tea1")["outlasts"], "what sells nothing outlasts any time"


def test_a_route_without_machines_has_an_empty_plan(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).file("inbox/vends.csv", "machine,time,label,tender\nm-9,2026-09-01 10:00,A1,cash\n")
    made = planned(route)
    assert (made.slots.height, made.visits.height, made.van.height) == (0, 0, 0)


def test_slots_that_hold_less_than_nothing_by_the_book_are_filled_from_nothing(steady: RouteBuilder) -> None:
    steady.vends("09-22 10:00, A1, cash, 2.00, vended, , 25", name="more.csv")
    found = row(planned(steady, now=NOW + timedelta(hours=2), coming=datetime(2026, 9, 22, 10)))
    assert (found["units"], found["units_then"], found["carry"], found["empty_chance"]) == (-5, 0.0, 20, 1.0)


def test_a_change_of_the_layout_before_the_visit_counts(steady: RouteBuilder) -> None:
    steady.machine(
        "m-1", slot("A1", capacity=24, par=20), changes=[change("2026-09-25T00:00:00", "A1", par=10)]
    )
    assert row(planned(steady))["level"] == 10
