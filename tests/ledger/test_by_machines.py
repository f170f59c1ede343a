"""A route that is reckoned some machines at a time comes to the same, to the last byte."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest
from histories import faults
from hypothesis import given
from hypothesis import strategies as st

import recon
from recon.at_once import VENDS_AT_ONCE, spans_of, vends_at_once
from recon.model.errors import ReconError
from recon.recorded import run_and_record

TOP = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 9, 29, 16, 40, tzinfo=UTC)


@given(st.dictionaries(st.text("ab1", min_size=1, max_size=4), st.integers(0, 9), min_size=1), st.integers(1, 20))
def test_spans_hold_every_machine_once_and_no_more_than_asked(machines: dict[str, int], at_once: int) -> None:
    spans = spans_of(machines, at_once)
    held = [[machine for machine in sorted(machines) if first <= machine <= last] for first, last in spans]
    assert [machine for part in held for machine in part] == sorted(machines)
    for part in held:
        assert len(part) == 1 or sum(machines[machine] for machine in part) <= at_once


def test_no_more_spans_than_needed() -> None:
    assert spans_of({"c": 3, "a": 2, "b": 2, "d": 9}, 5) == [("a", "b"), ("c", "c"), ("d", "d")]
    assert spans_of({"a": 0, "b": 5}, 5) == [("a", "b")]


@pytest.mark.parametrize("told", ["0", "-1", "some", "1.5", "", "٣"])
def test_a_number_that_is_none_is_refused(told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECON_AT_ONCE", told)
    with pytest.raises(ReconError, match="expected how many vends may be held at once"):
        vends_at_once()


def test_without_one_it_is_the_usual(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("RECON_AT_ONCE", raising=False)
    assert vends_at_once() == VENDS_AT_ONCE


@pytest.mark.parametrize("at_once", [1, 700])
@pytest.mark.parametrize("name", ["clean", "bayside"])
def test_samples_come_to_the_same(name: str, at_once: int, monkeypatch: pytest.MonkeyPatch) -> None:
    plain = recon.run(TOP / "samples" / name, now=NOW)
    monkeypatch.setenv("RECON_AT_ONCE", str(at_once))
    parted = recon.run(TOP / "samples" / name, now=NOW)
    assert plain.stock is not None
    assert parted.stock is None, "it was reckoned in one part"
    assert parted.json() == plain.json()
    for frame in plain.frames:
        assert parted.frames[frame].equals(plain.frames[frame]), frame


@pytest.mark.parametrize("seed", range(201, 207))
def test_histories_come_to_the_same(seed: int, tmp_path: Path) -> None:
    assert list(faults(seed, 5, tmp_path, altered=seed % 2 == 0, at_once=1 + 40 * (seed % 3))) == []


def test_vends_are_handed_back_only_where_they_are_wanted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(TOP / "samples/clean", tmp_path / "clean")
    plain = run_and_record(tmp_path / "clean", now=NOW).run
    assert plain.frames["priced"].height > 0
    for folder in ("ledger", "reports"):
        shutil.rmtree(tmp_path / "clean" / folder)
    without = run_and_record(tmp_path / "clean", now=NOW, page=False).run
    assert without.frames["priced"].height == without.frames["vends"].height == 0
    assert without.json() == plain.json()
    for folder in ("ledger", "reports"):
        shutil.rmtree(tmp_path / "clean" / folder)
    monkeypatch.setenv("RECON_AT_ONCE", "100")
    parted = run_and_record(tmp_path / "clean", now=NOW, page=False).run
    assert parted.frames["priced"].height == parted.frames["vends"].height == 0
    assert parted.json() == plain.json()
    again = run_and_record(tmp_path / "clean", now=NOW, page=False).run
    assert again.json() == plain.json()
    assert recon.run(tmp_path / "clean", now=NOW).frames["priced"].equals(plain.frames["priced"])


def test_an_open_range_knows_the_dearest_price_of_all_machines(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A machine without layout and prices is bounded by the dearest price of the route, which is another machine's."""
    (tmp_path / "layouts").mkdir()
    (tmp_path / "inbox").mkdir()
    (tmp_path / "route.toml").write_text('name = "R"\ncurrency = "CAD"\ntimezone = "UTC"\n', encoding="utf-8")
    (tmp_path / "layouts/m-2.toml").write_text(
        'machine = "m-2"\neffective = 2026-01-01T00:00:00\n[[slot]]\nlabel = "A1"\nbus = 1\nproduct = "p"\n'
        'price = "7.25"\n', encoding="utf-8"
    )
    head = "time,machine,bus,price,tender,outcome\n"
    (tmp_path / "inbox/log.csv").write_text(head + "2026-02-01T10:00:00,m-1,9,,cash,vended\n", encoding="utf-8")
    plain = recon.run(tmp_path, now=NOW)
    assert plain.frames["priced"]["paid_high"].to_list() == [725]
    monkeypatch.setenv("RECON_AT_ONCE", "1")
    (tmp_path / "inbox/more.csv").write_text(head + "2026-02-01T10:00:00,m-2,1,,cash,vended\n", encoding="utf-8")
    parted = recon.run(tmp_path, now=NOW)
    assert parted.frames["priced"].sort("machine")["paid_high"].to_list() == [725, 725]


def test_a_mended_row_counts_for_how_far_its_file_reaches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which export is the newer decides what state a vend is in."""
    head = "time,machine,bus,price,tender,outcome,reference\n"
    bad = "2026-02-31T10:00:00,m-1,1,1.00,card,vended,Z2"
    mended = bad.replace("02-31", "02-28")
    for name, text in {
        "route.toml": 'name = "R"\ncurrency = "CAD"\ntimezone = "UTC"\n',
        "layouts/m-1.toml": 'machine = "m-1"\neffective = 2026-01-01T00:00:00\n[[slot]]\nlabel = "A1"\nbus = 1\n'
        'product = "p"\nprice = "1.00"\n',
        "inbox/a.csv": f"{head}2026-02-20T10:00:00,m-1,1,1.00,card,vended,Z1\n{bad}\n",
        "inbox/b.csv": f"{head}2026-02-20T10:00:00,m-1,1,1.00,card,refunded,Z1\n"
        "2026-02-25T10:00:00,m-1,1,1.00,card,vended,Z3\n",
        "inbox/rejects.csv": f'file,row,reason,text\ninbox/a.csv,3,bad,"{mended}"\n',
    }.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    plain = recon.run(tmp_path, now=NOW)
    assert plain.frames["vends"].filter(pl.col("reference") == "Z1")["outcome"].to_list() == ["vended"]
    for at_once in ("1", "2"):
        monkeypatch.setenv("RECON_AT_ONCE", at_once)
        parted = recon.run(tmp_path, now=NOW)
        assert parted.json() == plain.json()
        assert parted.frames["vends"].equals(plain.frames["vends"])


def test_a_route_without_machines_is_reckoned_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "inbox").mkdir()
    (tmp_path / "route.toml").write_text('name = "R"\ncurrency = "CAD"\ntimezone = "UTC"\n', encoding="utf-8")
    head = "time,machine,bus,price,tender,outcome\n"
    (tmp_path / "inbox/a.csv").write_text(head + "never,m-1,1,1.00,cash,vended\n" * 3, encoding="utf-8")
    plain = recon.run(tmp_path, now=NOW).json()
    monkeypatch.setenv("RECON_AT_ONCE", "1")
    assert recon.run(tmp_path, now=NOW).json() == plain
