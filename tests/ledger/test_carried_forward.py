"""What a run without pages carries forward: the next comes to what a run from nothing gives, with less to reckon."""

import io
import random
import shutil
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from carried_runs import day_of, from_nothing, quiet_weeks, rows_reckoned, run_of
from histories import put
from weeks import HEAD, LABELS, MACHINES, START, TROUBLES, Weekly, weekly

import recon
from recon.ledger import carry
from recon.ledger.carry import carried_in
from recon.ledger.history import history_in
from recon.ledger.journal import reading
from recon.ledger.references import carried_path
from recon.ledger.verify import verify_ledger
from recon.model.border import keeps
from recon.model.carried_frames import CARRIED
from recon.recorded import run_and_record


@pytest.mark.parametrize("seed", range(1, 9))
def test_weeks_come_to_the_same(seed: int, tmp_path: Path) -> None:
    found, route = weekly(seed, 6, tmp_path)
    assert found == []
    assert route.carried > 0, "nothing was ever carried forward"
    assert route.left_out > 0 or not route.careful, "no window was ever left out"


@pytest.mark.parametrize("seed", [11, 12])
def test_parted_weeks_do_too(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECON_AT_ONCE", "30")
    found, route = weekly(seed, 6, tmp_path)
    assert found == []
    assert route.carried > 0


@pytest.fixture
def route(tmp_path: Path) -> Weekly:
    """A route of three quiet weeks, each of them run, and a fourth in its inbox."""
    return quiet_weeks(tmp_path / "route")


def test_only_what_is_open_is_reckoned_again(route: Weekly, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    every = recon.run(route.root, now=day_of(route)).frames["vends"].height
    fresh = from_nothing(route, tmp_path / "fresh")
    assert rows_reckoned(route, monkeypatch) < every * 0.7
    assert run_of(route) == fresh


def _held(route: Weekly) -> Path:
    forward = history_in(route.root).forward
    assert forward is not None
    return carried_path(route.root, forward)


def test_it_is_one_file_and_the_newest(route: Weekly) -> None:
    before = _held(route)
    run_of(route)
    assert _held(route) != before
    assert list(before.parent.iterdir()) == [_held(route)]
    assert _held(route).stat().st_mode & 0o777 == 0o600


def test_it_keeps_its_frames(route: Weekly) -> None:
    kept = carried_in(route.root, history_in(route.root).forward)
    assert kept is not None
    assert kept.frames.totals.height == 3
    for spec, frame in zip(CARRIED, kept.frames, strict=True):
        assert keeps(frame, spec), spec.name


def test_altered_or_lost_it_is_made_anew(route: Weekly, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh, every = from_nothing(route, tmp_path / "fresh"), recon.run(route.root, now=day_of(route)).frames["vends"]
    path = _held(route)
    data = path.read_bytes()
    path.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    failure = verify_ledger(route.root).failure
    assert failure is not None
    assert "was altered" in failure
    assert path.name in failure
    assert rows_reckoned(route, monkeypatch) == every.height
    assert verify_ledger(route.root).failure is None
    _held(route).unlink()
    assert "reckons all vends anew" in "".join(verify_ledger(route.root).remarks)
    assert run_of(route) == fresh


def test_a_run_with_pages_leaves_it_as_it_is(route: Weekly) -> None:
    before = _held(route)
    run_and_record(route.root, now=day_of(route))
    assert _held(route) == before
    assert verify_ledger(route.root).failure is None


def test_a_part_of_all_uses_and_makes_nothing(route: Weekly, monkeypatch: pytest.MonkeyPatch) -> None:
    before = _held(route)
    run_and_record(route.root, now=day_of(route), since=day_of(route) - timedelta(days=9), page=False)
    assert _held(route) == before


def test_an_earlier_moment_uses_nothing(route: Weekly, tmp_path: Path) -> None:
    earlier = day_of(route) - timedelta(days=14)
    shutil.copytree(route.root, tmp_path / "fresh", ignore=shutil.ignore_patterns("ledger", "reports"))
    plain = recon.run(tmp_path / "fresh", now=earlier).json()
    assert run_and_record(route.root, now=earlier, page=False).run.json() == plain


def test_a_ledger_of_before_has_none(tmp_path: Path) -> None:
    lot = random.Random(3)
    made = Weekly(tmp_path / "route", lot)
    made.log()
    run_and_record(made.root, now=day_of(made))
    with reading(made.root) as ledger:
        [run] = ledger.entries("run-made")
    assert run.body["carried"] is None
    assert history_in(made.root).forward is None
    assert verify_ledger(made.root).failure is None


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
    """What lies behind the last collection is loose then, and was not when it was carried forward."""
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
    """By card, so that its price is known: such a machine is carried forward all the same."""
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
    """One trouble at a time in a route that has carried for three weeks, and once more in the week after."""
    for week in range(2):
        (OWN.get(what) or TROUBLES[what])(route)
        assert list(route.differences(tmp_path / "fresh")) == [], week
        route.log()
        route.week += 1
        route.sheets(route.begins)
        route.layouts()


def test_a_count_just_behind_decides_about_vends_before_it(tmp_path: Path) -> None:
    """Vends within a day of a count may belong to either side of it, carried ones as well."""
    route = quiet_weeks(tmp_path / "route", "[tolerance]\nboundary_minutes = 1440\n")
    kept = carried_in(route.root, history_in(route.root).forward)
    assert kept is not None
    lines = ["machine,time,label,counted"]
    boxes = ["machine,time,total"]
    for machine, until in kept.frames.until.select("machine", "until").iter_rows():
        when = until.astimezone(ZoneInfo(MACHINES[machine])) + timedelta(minutes=30)
        lines += [f"{machine},{when:%Y-%m-%d %H:%M},{label},5" for label in LABELS]
        boxes.append(f"{machine},{when:%Y-%m-%d %H:%M},3.00")
    for name, told in (("counts-near", lines), ("cash-near", boxes)):
        put(route.root / f"inbox/{name}.csv", "\n".join([*told, ""]))
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


@pytest.mark.parametrize(("change", "machines"), [(_price, 1), (_cost, 3), (_fees, 3)])
def test_what_it_hangs_on_is_reckoned_again(
    route: Weekly, tmp_path: Path, change: Callable[[Weekly], None], machines: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    change(route)
    fresh = from_nothing(route, tmp_path / "fresh")
    vends = recon.run(route.root, now=day_of(route)).frames["vends"]
    anew = vends if machines == 3 else vends.filter(pl.col("machine") == "m-1")
    assert rows_reckoned(route, monkeypatch) >= anew.height
    assert run_of(route) == fresh


def test_mended_rows_that_are_taken_out_again(route: Weekly, tmp_path: Path) -> None:
    """What came of them lies in a file that is no more; that of their own file is still there, and the same."""
    for trouble in ("a row is mended", "mended rows are taken out"):
        TROUBLES[trouble](route)
        for _ in range(2):
            assert list(route.differences(tmp_path / "fresh")) == [], trouble
        route.log()
        route.week += 1
        route.sheets(route.begins)


def test_of_another_shape_it_is_made_anew(route: Weekly, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As another version may have written it: by its hash it is whole."""
    fresh = from_nothing(route, tmp_path / "fresh")
    plain = carry._zipped

    def other(packed: carry.Packed, text: carry.Text) -> bytes:
        made, left = io.BytesIO(), zipfile.ZipFile(io.BytesIO(plain(packed, text)))
        with zipfile.ZipFile(made, "w") as archive:
            for name in left.namelist():
                if name != "repeated.arrow":
                    archive.writestr(name, left.read(name))
        return made.getvalue()

    for zipped in (other, lambda *made: b"no zip at all", lambda *made: b""):
        with monkeypatch.context() as patched:
            patched.setattr(carry, "_zipped", zipped)
            run_of(route)
        assert verify_ledger(route.root).failure is None
        assert run_of(route) == fresh


def test_what_lies_in_its_way_fails_no_run(route: Weekly, tmp_path: Path) -> None:
    fresh = from_nothing(route, tmp_path / "fresh")
    folder = _held(route).parent
    (folder / "sub").mkdir()
    (folder / "sub.zip").mkdir()
    (folder / "note.txt").write_text("mine")
    assert run_of(route) == fresh
    assert run_of(route) == fresh
    assert sorted(path.name for path in folder.iterdir() if path != _held(route)) == ["note.txt", "sub", "sub.zip"]
    shutil.rmtree(folder)
    folder.write_text("no folder")
    assert run_of(route) == fresh
    assert history_in(route.root).forward is None
    assert verify_ledger(route.root).failure is None
    folder.unlink()
    assert run_of(route) == fresh
    assert _held(route).is_file()


def test_the_same_inputs_carry_the_same_bytes(route: Weekly, tmp_path: Path) -> None:
    names = set()
    for copy in range(3):
        folder = tmp_path / f"copy-{copy}"
        shutil.copytree(route.root, folder, ignore=shutil.ignore_patterns("ledger", "reports"))
        run_and_record(folder, now=day_of(route), page=False)
        names.add(history_in(folder).forward)
    assert len(names) == 1
    path = carried_path(folder, str(history_in(folder).forward))
    data = path.read_bytes()
    path.write_bytes(data[:-1])
    shutil.rmtree(folder / "reports")
    run_and_record(folder, now=day_of(route), page=False)
    assert path.read_bytes() == data


def test_no_card_number_is_in_it(route: Weekly) -> None:
    """A log with one is not taken in at all, and so nothing comes of it."""
    when = f"{route.begins - timedelta(days=12):%Y-%m-%dT%H:%M:%S}"
    put(route.root / "inbox/vends-0.csv", f"{HEAD}{when},m-1,1,1.00,card,vended,4111 1111 1111 1111,1\n")
    run_of(route)
    kept = carried_in(route.root, history_in(route.root).forward)
    assert kept is not None
    assert kept.frames.totals["greatest"].null_count() == 0
    assert not any("4111 1111" in frame.write_json() for frame in (*kept.frames, kept.parts, kept.slots))
