"""Weekly runs: each gives what a run from nothing gives, whatever turns up late, is put right, or goes."""

import random
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from histories import put
from weeks import HEAD, LABELS, MACHINES, START, TROUBLES, Weekly, faults

import recon
from recon.ledger.verify import verify_ledger
from recon.recorded import run_and_record


@pytest.mark.parametrize("seed", range(1, 9))
def test_weeks_give_the_same(seed: int, tmp_path: Path) -> None:
    assert list(faults(seed, 6, tmp_path)) == []


@pytest.mark.parametrize("seed", [11, 12])
def test_weeks_in_parts_give_the_same(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECON_AT_ONCE", "30")
    assert list(faults(seed, 6, tmp_path)) == []


def day_of(route: Weekly) -> datetime:
    return (route.begins + timedelta(days=2)).replace(tzinfo=UTC)


def quiet_weeks(root: Path, settings: str = "") -> Weekly:
    """A route of three quiet weeks, each of them run, and a fourth in its inbox."""
    made = Weekly(root, random.Random(5), settings=settings)
    made.unpriced, made.plain = "", True
    for week in range(4):
        made.log()
        made.week += 1
        made.sheets(made.begins)
        made.payout()
        made.layouts()
        if week < 3:
            run_and_record(made.root, now=day_of(made), page=False)
    return made


@pytest.fixture
def route(tmp_path: Path) -> Weekly:
    return quiet_weeks(tmp_path / "route")


def test_a_log_that_comes_before_the_newest_counts(tmp_path: Path) -> None:
    """Counts of three weeks and the newer of two logs, then the older one: both vends stand in their windows."""
    root = tmp_path / "route"
    put(root / "route.toml", 'name = "R"\ncurrency = "CAD"\ntimezone = "UTC"\n')
    layout = 'machine = "m-1"\nnumbering = "same"\neffective = 2026-09-01T00:00:00\n'
    put(root / "layouts/m-1.toml", f'{layout}[[slot]]\nlabel = "1"\nproduct = "gum"\nprice = "1.00"\ncapacity = 20\n')
    counts = [f"m-1,2026-09-{day:02d} 08:00,1,{left}" for day, left in ((1, 10), (8, 9), (15, 8))]
    put(root / "inbox/counts.csv", "\n".join(["machine,time,label,counted", *counts, ""]))
    now = datetime(2026, 9, 20, tzinfo=UTC)
    for day in (10, 2):
        put(root / f"inbox/vends-{day:02d}.csv", f"{HEAD}2026-09-{day:02d}T10:00:00,m-1,1,1.00,card,vended,R{day},1\n")
        made = run_and_record(root, now=now, page=False)
    assert [(one.vended, one.variance) for one in made.run.results.stock] == [(1, 0), (1, 0)]
    assert [(one.vended, one.variance) for one in recon.run(root, now=now).results.stock] == [(1, 0), (1, 0)]
    assert verify_ledger(root).failure is None


def test_a_run_of_an_earlier_moment_knows_only_what_was_then(route: Weekly, tmp_path: Path) -> None:
    earlier = day_of(route) - timedelta(days=14)
    shutil.copytree(route.root, tmp_path / "fresh", ignore=shutil.ignore_patterns("ledger", "reports"))
    plain = recon.run(tmp_path / "fresh", now=earlier).json()
    assert run_and_record(route.root, now=earlier, page=False).run.json() == plain


def _late_log(route: Weekly) -> None:
    when = START + timedelta(days=5)
    put(route.root / "inbox/vends-late.csv", f"{HEAD}{when:%Y-%m-%dT%H:%M:%S},m-1,1,1.00,cash,vended,late,1\n" * 2)


def _late_count(route: Weekly) -> None:
    when = START + timedelta(days=4)
    put(route.root / "inbox/counts-late.csv", f"machine,time,label,counted\nm-2,{when:%Y-%m-%d %H:%M},A1,7\n")


def _late_box(route: Weekly) -> None:
    when = START + timedelta(days=4)
    put(route.root / "inbox/cash-late.csv", f"machine,time,total,tubes\nm-3,{when:%Y-%m-%d %H:%M},7.00,\n")


def _boxes_gone(route: Weekly) -> None:
    for path in sorted((route.root / "inbox").glob("cash-*.csv"))[1:]:
        path.unlink()
    route.ledger_knows = True


def _last_boxes_gone(route: Weekly) -> None:
    """What lies behind the last collection is enclosed by no two of them then."""
    for path in sorted((route.root / "inbox").glob("cash-*.csv"))[-3:]:
        path.unlink()
    route.ledger_knows = True


def _sheets_gone(route: Weekly) -> None:
    sorted((route.root / "inbox").glob("counts-*.csv"))[1].unlink()
    route.ledger_knows = True


def _log_gone(route: Weekly) -> None:
    sorted((route.root / "inbox").glob("vends-*.csv"))[0].unlink()
    route.ledger_knows = True


def _payouts_gone(route: Weekly) -> None:
    for path in (route.root / "inbox").glob("payouts-*.csv"):
        path.unlink()
    route.ledger_knows = True


def _last_payout_late(route: Weekly) -> None:
    """A payout for later days, with none for those before: they come to be unpaid."""
    last = (route.begins + timedelta(days=1)).date()
    text = f"paid_on,from,to,net,reference\n{last},{last - timedelta(days=1)},{last},3.00,PX{route.week}\n"
    put(route.root / f"inbox/payouts-x{route.week}.csv", text)


def _new_number(route: Weekly) -> None:
    when = route.begins - timedelta(hours=4)
    row = f"{when:%Y-%m-%dT%H:%M:%S},m-1,77,,cash,vended,odd{route.week},1\n"
    put(route.root / f"inbox/vends-odd{route.week}.csv", HEAD + row)


def _slots_moved(route: Weekly) -> None:
    """Another machine before all others, and slots in another order: every number of a slot changes."""
    first = (route.root / "layouts/m-1.toml").read_text().replace('"m-1"', '"a-0"')
    put(route.root / "layouts/a-0.toml", first)


def _priced_number(route: Weekly) -> None:
    """By card, so that its price is known."""
    for hours in (50, 30, 4):
        when = route.begins - timedelta(hours=hours)
        row = f"{when:%Y-%m-%dT%H:%M:%S},m-1,77,1.00,card,vended,card{route.week}-{hours},1\n"
        put(route.root / f"inbox/vends-card{route.week}-{hours}.csv", HEAD + row)


OWN: dict[str, Callable[[Weekly], None]] = {
    "a log comes late": _late_log, "a count comes late": _late_count, "a collection comes late": _late_box,
    "collections go": _boxes_gone,
    "the last collections go": _last_boxes_gone, "a sheet goes": _sheets_gone,
    "a log goes": _log_gone, "payouts go": _payouts_gone, "days stay unpaid": _last_payout_late,
    "a new number": _new_number, "a new number with a price": _priced_number, "slots have other numbers": _slots_moved,
}  # fmt: skip


@pytest.mark.parametrize("what", [*OWN, *TROUBLES])
def test_whatever_turns_up(what: str, route: Weekly, tmp_path: Path) -> None:
    """One trouble at a time in a route that was run for three weeks, and once more in the week after."""
    for week in range(2):
        (OWN.get(what) or TROUBLES[what])(route)
        assert list(route.differences(tmp_path / "fresh")) == [], week
        route.log()
        route.week += 1
        route.sheets(route.begins)
        route.layouts()


def test_a_count_just_behind_decides_about_vends_before_it(tmp_path: Path) -> None:
    """Vends within a day of a count may belong to either side of it, those of earlier runs as well."""
    route = quiet_weeks(tmp_path / "route", "[tolerance]\nboundary_minutes = 1440\n")
    when = f"{route.begins - timedelta(days=7) + timedelta(minutes=30):%Y-%m-%d %H:%M}"
    lines = [f"{machine},{when},{label},5" for machine in MACHINES for label in LABELS]
    boxes = [f"{machine},{when},3.00" for machine in MACHINES]
    for name, head, rows in (
        ("counts-near", "machine,time,label,counted", lines),
        ("cash-near", "machine,time,total", boxes),
    ):
        put(route.root / f"inbox/{name}.csv", "\n".join([head, *rows, ""]))
        assert list(route.differences(tmp_path / "fresh")) == [], name


def test_a_price_that_neighbours_tell_is_asked_again(tmp_path: Path) -> None:
    """Two vends before it agree on its price; the next for cash, a week later, does not, and makes it a range."""
    root = tmp_path / "route"
    put(root / "route.toml", 'name = "R"\ncurrency = "CAD"\ntimezone = "UTC"\n')
    layout = 'machine = "m-1"\neffective = 2026-01-01T00:00:00\n'
    put(root / "layouts/m-1.toml", layout + '[[slot]]\nlabel = "A1"\nbus = 1\nproduct = "gum"\ncapacity = 40\n')
    vends = [
        (1, "1.00,cash"), (2, "1.00,cash"), (3, ",cash"), (4, "1.20,card"), (10, "1.50,cash"), (17, "1.50,cash"),
    ]  # fmt: skip
    for day, paid in vends:
        put(root / f"inbox/vends-{day:02d}.csv", f"{HEAD}2026-03-{day:02d}T10:00:00,m-1,1,{paid},vended,R{day},1\n")
        now = datetime(2026, 3, day, 12, tzinfo=UTC)
        made = run_and_record(root, now=now, page=False).run.json()
        shutil.rmtree(tmp_path / "fresh", ignore_errors=True)
        shutil.copytree(root, tmp_path / "fresh", ignore=shutil.ignore_patterns("ledger", "reports"))
        assert made == recon.run(tmp_path / "fresh", now=now).json(), day


def _price(route: Weekly) -> None:
    route.prices["m-1", "A1"] += 10
    route.layouts()


def _cost(route: Weekly) -> None:
    path = route.root / "products.csv"
    path.write_text(path.read_text().replace("0.40", "0.41"))


def _fees(route: Weekly) -> None:
    route.settings = '[cards]\npercent = "7.00"\n'
    route.layouts()


@pytest.mark.parametrize("change", [_price, _cost, _fees])
def test_a_changed_setting_changes_past_figures_too(
    route: Weekly, tmp_path: Path, change: Callable[[Weekly], None]
) -> None:
    before = recon.run(route.root, now=day_of(route)).json()
    change(route)
    assert list(route.differences(tmp_path / "fresh")) == []
    assert recon.run(route.root, now=day_of(route)).json() != before


def test_mended_rows_that_are_taken_out_again(route: Weekly, tmp_path: Path) -> None:
    """The file that mended them is no more; their own file is still there, and the same."""
    for trouble in ("a row is mended", "mended rows are taken out"):
        TROUBLES[trouble](route)
        for _ in range(2):
            assert list(route.differences(tmp_path / "fresh")) == [], trouble
        route.log()
        route.week += 1
        route.sheets(route.begins)
