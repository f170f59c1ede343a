"""Stock windows that are settled: left out where they agree, their lines taken over from the results of before."""

import random
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from carried_runs import day_of, from_nothing, quiet_weeks, rows_reckoned, run_of
from histories import put
from weeks import HEAD, LABELS, MACHINES, Weekly, printed

import recon
from recon import reconcile, recorded
from recon.ledger import carry
from recon.ledger.history import history_in
from recon.model.errors import ReconError
from recon.recorded import run_and_record


@pytest.fixture
def route(tmp_path: Path) -> Weekly:
    return quiet_weeks(tmp_path / "route")


def _last_results(route: Weekly) -> Path:
    return max((route.root / "reports").glob("*/results.json"), key=lambda path: path.stat().st_mtime_ns)


def test_without_the_results_of_before_all_is_made_anew(
    route: Weekly, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lines of settled windows are taken over from them: altered ones never are."""
    fresh, every = from_nothing(route, tmp_path / "fresh"), recon.run(route.root, now=day_of(route)).frames["vends"]
    path = _last_results(route)
    altered = path.read_bytes().replace(b'"counted":1', b'"counted":7', 1)
    assert altered != path.read_bytes()
    path.write_bytes(altered)
    assert rows_reckoned(route, monkeypatch) == every.height
    assert run_of(route) == fresh
    shutil.rmtree(route.root / "reports")
    assert rows_reckoned(route, monkeypatch) == every.height
    assert run_of(route) == fresh
    _last_results(route).write_bytes(b"")
    assert run_of(route) == fresh


def test_what_is_held_of_them_is_what_was_hashed(route: Weekly, tmp_path: Path) -> None:
    done, path = reconcile.run(route.root, now=day_of(route), wanted="sums"), _last_results(route)
    path.write_bytes(path.read_bytes().replace(b'"counted":1', b'"counted":7'))
    assert done.json() == from_nothing(route, tmp_path / "fresh")


def test_long_ones_that_change_while_they_are_read_are_told(
    route: Weekly, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are not held: what changed is told, whatever became of its lines."""
    monkeypatch.setattr(carry, "HELD", 0)
    done, path = reconcile.run(route.root, now=day_of(route), wanted="sums"), _last_results(route)
    assert done.json() == from_nothing(route, tmp_path / "fresh")
    data = path.read_bytes()
    for other in (data.replace(b'"counted":1', b'"counted":7'), data[:300], data + b" "):
        path.write_bytes(other)
        with pytest.raises(ReconError, match="changed while it was read: run again"):
            done.json()
    path.unlink()
    with pytest.raises(ReconError, match="cannot be read any more"):
        done.json()


def test_such_a_run_leaves_no_half_report(route: Weekly, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(carry, "HELD", 0)
    plain, path = recorded.record_settings, _last_results(route)

    def meanwhile(*given: Any) -> object:
        path.write_bytes(path.read_bytes() + b" ")
        return plain(*given)

    monkeypatch.setattr(recorded, "record_settings", meanwhile)
    with pytest.raises(ReconError, match="changed while it was read"):
        run_of(route)
    assert not [folder for folder in (route.root / "reports").iterdir() if folder.name.startswith(".")]


@pytest.fixture
def agreeing(tmp_path: Path) -> Weekly:
    """Six weeks without a miscount."""
    made = Weekly(tmp_path / "route", random.Random(8))
    made.unpriced, made.plain, made.careful, made.exact = "", True, True, True
    for _ in range(6):
        made.log()
        made.week += 1
        made.sheets(made.begins)
        made.layouts()
        run_of(made)
    return made


def test_windows_that_agree_are_left_out(agreeing: Weekly, tmp_path: Path) -> None:
    made = run_and_record(agreeing.root, now=day_of(agreeing), page=False).run
    earlier = made.reconciliation.earlier
    assert earlier is not None
    every = recon.run(agreeing.root, now=day_of(agreeing)).frames["stock"]
    assert earlier.left_out > every.height / 3
    assert made.frames["stock"].height == every.height - earlier.left_out
    assert made.json() == from_nothing(agreeing, tmp_path / "fresh")
    assert len(made.results.stock) == every.height


def test_a_window_is_not_settled_while_a_vend_may_still_belong_to_it(tmp_path: Path) -> None:
    """Counts half an hour before the vends that are still to come, where a day decides nothing. All of them agree."""
    route = quiet_weeks(tmp_path / "route", "[tolerance]\nboundary_minutes = 1440\n")
    run_of(route)
    kept = carry.carried_in(route.root, history_in(route.root).forward)
    assert kept is not None
    vends, times = [HEAD.strip()], {}
    for machine, until in kept.frames.until.select("machine", "until").iter_rows():
        local = until.astimezone(ZoneInfo(MACHINES[machine]))
        times[machine] = f"{local - timedelta(minutes=30):%Y-%m-%d %H:%M}"
        late = f"{local + timedelta(minutes=20):%Y-%m-%dT%H:%M:%S}"
        vends += [f"{late},{machine},{bus},1.00,card,vended,late{bus},1" for bus in (1, 2, 3)]
    there = dict.fromkeys([(machine, label) for machine in times for label in LABELS], 5)
    for _ in range(2):
        lines = [f"{machine},{times[machine]},{label},{left}" for (machine, label), left in there.items()]
        put(route.root / "inbox/counts-before.csv", "\n".join(["machine,time,label,counted", *lines, ""]))
        done = recon.run(route.root, now=day_of(route))
        own = done.reconciliation.paths.index("inbox/counts-before.csv")
        made = done.frames["stock"].filter(pl.col("close_file") == own).select("machine", "label", "expected")
        there |= {(machine, label): max(expected, 0) for machine, label, expected in made.iter_rows()}
    for turn in range(3):
        if turn == 1:
            put(route.root / "inbox/vends-soon.csv", "\n".join([*vends, ""]))
        assert list(route.differences(tmp_path / "fresh")) == [], turn


def test_nothing_but_settled_windows_is_something(tmp_path: Path) -> None:
    """Somebody counts no more, and collects no cash: what was counted still agrees."""
    root = tmp_path / "route"
    put(root / "route.toml", 'name = "R"\ncurrency = "CAD"\ntimezone = "UTC"\n')
    slots = "".join(
        f'[[slot]]\nlabel = "{label}"\nbus = {bus}\nproduct = "gum"\nprice = "1.00"\ncapacity = 40\n'
        for bus, label in enumerate(("A1", "A2"), 1)
    )
    put(root / "layouts/m-1.toml", f'machine = "m-1"\neffective = 2026-03-01T00:00:00\n{slots}')
    counts = ["machine,time,label,counted"]
    for day, left in ((1, 20), (4, 18), (8, 14)):
        counts += [f"m-1,2026-03-{day:02d} 08:00,{label},{left}" for label in ("A1", "A2")]
    put(root / "inbox/counts.csv", "\n".join([*counts, ""]))
    for first, last in ((2, 11), (12, 16), (17, 20)):
        rows = [
            f"2026-03-{day:02d}T{10 + bus}:00:00,m-1,{bus},1.00,card,vended,R{day}-{bus},1\n"
            for day in range(first, last + 1)
            for bus in (1, 2)
        ]
        put(root / f"inbox/vends-{first:02d}.csv", HEAD + "".join(rows))
        made = run_and_record(root, now=datetime(2026, 3, last + 1, 6, tzinfo=UTC), page=False).run
        shutil.rmtree(tmp_path / "fresh", ignore_errors=True)
        shutil.copytree(root, tmp_path / "fresh", ignore=shutil.ignore_patterns("ledger", "reports"))
        assert printed(made) == printed(recon.run(tmp_path / "fresh", now=made.reconciliation.now))
    assert made.frames["stock"].height == 0
    assert made.reconciliation.windows == 4
    assert "Everything that left the machines is accounted for." in printed(made)


def test_a_run_with_pages_between_changes_nothing(agreeing: Weekly, tmp_path: Path) -> None:
    """Its results stand elsewhere than those from which lines are taken over."""
    run_and_record(agreeing.root, now=day_of(agreeing))
    for week in range(2):
        assert list(agreeing.differences(tmp_path / "fresh")) == [], week
        agreeing.log()
        agreeing.week += 1
        agreeing.sheets(agreeing.begins)
    assert agreeing.left_out > 0
