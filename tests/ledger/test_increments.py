"""A run that takes in what is new gives what a run from nothing gives, and reads nothing twice without need."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from builders import NOW, RouteBuilder, slot
from histories import faults

from recon.intake import gather
from recon.ledger.history import History
from recon.ledger.journal import reading
from recon.recorded import run_and_record


@pytest.mark.parametrize("seed", range(1, 7))
def test_increments_equal_a_run_from_nothing(tmp_path: Path, seed: int) -> None:
    assert list(faults(seed, 6, tmp_path)) == []


@pytest.mark.parametrize("seed", range(101, 104))
def test_so_do_those_of_files_that_change_or_go(tmp_path: Path, seed: int) -> None:
    assert list(faults(seed, 6, tmp_path, altered=True)) == []


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """The files that are parsed, in their order."""
    names: list[str] = []
    plain = gather.open_file

    def noted(data: bytes, name: str, route: object) -> object:
        names.append(name.removeprefix("inbox/"))
        return plain(data, name, route)  # type: ignore[arg-type]

    monkeypatch.setattr(gather, "open_file", noted)
    return names


SOURCE = 'kind = "vends"\nfiles = ["log-*"]\n[words.tender]\ncash = ["Coin"{}]\n'


@pytest.fixture
def route(tmp_path: Path) -> RouteBuilder:
    """Two machines; a file for each of them, one of both, one with a rejected row, one with a description."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).machine("m-2", slot("A1"))
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7", name="counts-1.csv", machine="m-1")
    route.counts("09-01 09:00, A1, 10", name="counts-2.csv", machine="m-2")
    route.vends("09-03 12:00, A1, cash, 2.00", name="vends-1.csv", machine="m-1")
    route.vends("09-03 12:00, A1, cash, two", name="vends-2-odd.csv", machine="m-2")
    route.payouts("2026-09-09, 2026-09-01, 2026-09-03, 1.00, 0.06, 0.94, P")
    route.vends("09-04 12:00, A1, Coin, 2.00", name="log-1.csv", machine="m-1")
    route.file("sources/log.toml", SOURCE.format(""))
    run_and_record(route.root, now=NOW)
    return route


def _run(route: RouteBuilder, opened: list[str]) -> list[str]:
    opened.clear()
    run_and_record(route.root, now=NOW)
    return sorted(opened)


EVERY = ["counts-1.csv", "counts-2.csv", "log-1.csv", "payouts.csv", "vends-1.csv", "vends-2-odd.csv"]


def test_a_run_from_nothing_reads_every_file(route: RouteBuilder, opened: list[str]) -> None:
    route.run(history=None)
    assert opened == []
    for name in ("ledger", "reports"):
        (route.root / name).rename(route.root / f"{name}-aside")
    assert _run(route, opened) == EVERY


def test_nothing_new_reads_nothing(route: RouteBuilder, opened: list[str]) -> None:
    assert _run(route, opened) == []
    with reading(route.root) as ledger:
        before = ledger.anchor.entries
    assert _run(route, opened) == []
    with reading(route.root) as ledger:
        assert ledger.anchor.entries == before + 1


def test_a_new_file_is_read_alone(route: RouteBuilder, opened: list[str]) -> None:
    route.vends("09-13 12:00, A1, cash, 2.00", name="vends-3.csv")
    assert _run(route, opened) == ["vends-3.csv"]
    assert _run(route, opened) == []


def test_a_price_in_a_layout_reads_nothing_again(route: RouteBuilder, opened: list[str]) -> None:
    route.machine("m-1", slot("A1", price="2.50", card_price="2.60", product="nuts", capacity=9))
    assert _run(route, opened) == []
    route.products(gum="0.50").settings(tolerance={"units": 1})
    assert _run(route, opened) == []


@pytest.mark.parametrize(
    ("slots", "keys"), [((slot("A1"), slot("A2")), {}), ((slot("A1"),), {"timezone": "Asia/Tokyo"})]
)
def test_labels_and_zones_read_files_of_that_machine_again(
    route: RouteBuilder, opened: list[str], slots: tuple[dict[str, object], ...], keys: dict[str, object]
) -> None:
    """And those with rejected rows, which may be of any machine."""
    route.machine("m-1", *slots, **keys)
    assert _run(route, opened) == ["counts-1.csv", "log-1.csv", "vends-1.csv", "vends-2-odd.csv"]
    assert _run(route, opened) == []


def test_a_description_reads_its_own_files_again(route: RouteBuilder, opened: list[str]) -> None:
    route.file("sources/log.toml", SOURCE.format(', "Bill"'))
    assert _run(route, opened) == ["log-1.csv"]
    route.file("sources/cash.toml", 'kind = "cash"\nfiles = ["boxes-*"]\n')
    assert _run(route, opened) == []
    route.file("sources/cash.toml", 'kind = "counts"\nfiles = ["counts-2*"]\n')
    assert _run(route, opened) == ["counts-2.csv"]


def test_a_renamed_file_is_read_under_its_new_name(route: RouteBuilder, opened: list[str]) -> None:
    """Its name may decide how it is read."""
    (route.root / "inbox/vends-1.csv").rename(route.root / "inbox/vends-9.csv")
    assert _run(route, opened) == ["vends-9.csv"]


def test_what_hangs_on_the_moment_is_read_each_time_and_kept_as_it_was(
    route: RouteBuilder, opened: list[str]
) -> None:
    """Every content that a run used is kept, also of files that are read each time."""
    sizes = []
    for day in (24, 25):
        route.vends(f"12-{day} 12:00, A1, cash, 2.00", name="ahead.csv")
        sizes.append((route.root / "inbox/ahead.csv").stat().st_size)
        assert _run(route, opened) == ["ahead.csv"]
        assert _run(route, opened) == ["ahead.csv"]
    with reading(route.root) as ledger:
        taken = [entry.body for entry in ledger.entries("file-taken") if entry.body["file"] == "inbox/ahead.csv"]
        [*_, run] = ledger.entries("run-made")
    assert [body["size"] for body in taken] == sizes
    used = {each["sha256"] for each in run.body["inputs"]}
    assert taken[-1]["sha256"] in used


def _as_from_nothing(route: RouteBuilder, moment: datetime) -> str:
    """The results of a run with the ledger, which have to be those of one without."""
    kept = run_and_record(route.root, now=moment).run.json()
    assert kept == route.run(now=moment, history=History()).json()
    return kept


def test_a_payout_from_the_future_is_taken_in_when_its_day_has_come(route: RouteBuilder) -> None:
    route.payouts("2026-12-05, 2026-11-01, 2026-11-30, 1.00, 0.06, 0.94, Q", name="payouts-2.csv")
    assert '"paid_on":"2026-12-05' not in _as_from_nothing(route, NOW)
    assert '"paid_on":"2026-12-05' in _as_from_nothing(route, NOW + timedelta(days=9))


def test_a_note_is_read_again_when_its_machine_gets_a_layout(route: RouteBuilder, opened: list[str]) -> None:
    """Only a layout tells that M-3 is m-3."""
    route.file("inbox/note.txt", "M-3\n2026-09-09 10:00\nA1 4\n")
    _as_from_nothing(route, NOW)
    route.machine("m-3", slot("A1"))
    opened.clear()
    _as_from_nothing(route, NOW)
    assert "note.txt" in opened


def test_a_run_of_an_earlier_moment_gives_what_it_gave(route: RouteBuilder) -> None:
    early = datetime(2026, 9, 5, tzinfo=UTC)
    assert _as_from_nothing(route, early) != _as_from_nothing(route, NOW)
    _as_from_nothing(route, early)


def test_a_copy_that_comes_a_week_later_does_not_take_the_place_of_its_original(route: RouteBuilder) -> None:
    """Read in runs of their own, both give the same table."""
    log = "time,machine,bus,price,tender,outcome\n2026-09-09T10:00:00,m-1,1,2.00,cash,vended\n"
    route.file("inbox/first.csv", log)
    _as_from_nothing(route, NOW)
    route.file("inbox/second.csv", log)
    _as_from_nothing(route, NOW)
    route.file("inbox/third.csv", "time,machine,bus\n")
    told = {line["file"]: line for line in json.loads(_as_from_nothing(route, NOW))["inputs"]}
    assert (told["inbox/first.csv"]["accepted"], told["inbox/second.csv"]["duplicate"]) == (1, 1)
