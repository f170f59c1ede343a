"""The cache of parsed files: never stale, never needed, and few files however often a route is run."""

import json
import os
import random
import shutil
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import polars as pl
import pytest
from builders import NOW, RouteBuilder, slot
from histories import put, without_ledger

import recon
from recon.intake import gather
from recon.ledger import cache_update, parse_cache
from recon.ledger.cache_update import SMALL, grouped
from recon.ledger.parse_cache import Index, cache_folder
from recon.ledger.verify import verify_ledger
from recon.recorded import run_and_record


@pytest.fixture
def route(tmp_path: Path) -> RouteBuilder:
    """Two machines, three files of vends, sheets and a rejected row; run once."""
    made = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1")).machine("m-2", slot("A1"))
    made.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7", machine="m-1")
    for day in (3, 4, 5):
        made.vends(f"09-0{day} 12:00, A1, cash, 2.00", name=f"vends-{day}.csv", machine="m-1")
    made.vends("09-05 12:00, A1, cash, two", name="vends-odd.csv", machine="m-2")
    run_and_record(made.root, now=NOW)
    return made


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    names: list[str] = []
    plain = gather.open_file

    def noted(data: bytes, name: str, route: object) -> object:
        names.append(name.removeprefix("inbox/"))
        return plain(data, name, route)  # type: ignore[arg-type]

    monkeypatch.setattr(gather, "open_file", noted)
    return names


def from_nothing(root: Path, folder: Path) -> str:
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(root, folder, ignore=shutil.ignore_patterns("ledger", "reports"))
    return recon.run(folder, now=NOW).json()


def again(root: Path) -> str:
    return run_and_record(root, now=NOW, page=False).run.json()


def test_no_entry_names_it_and_verify_does_not_miss_it(route: RouteBuilder, tmp_path: Path) -> None:
    folder = cache_folder(route.root)
    assert list(folder.glob("*.parquet"))
    shutil.rmtree(folder)
    found = verify_ledger(route.root)
    assert found.failure is None
    assert not [remark for remark in found.remarks if "cache" in remark]
    assert again(route.root) == from_nothing(route.root, tmp_path / "fresh")


def test_an_altered_or_lost_segment_is_parsed_anew(
    route: RouteBuilder, tmp_path: Path, parsed: list[str]
) -> None:
    fresh = from_nothing(route.root, tmp_path / "fresh")
    for spoil in ("alter", "cut", "remove"):
        path = next(cache_folder(route.root).glob("*-vends.parquet"))
        data = path.read_bytes()
        if spoil == "alter":
            path.write_bytes(data[:-9] + bytes([data[-9] ^ 1]) + data[-8:])
        elif spoil == "cut":
            path.write_bytes(data[: len(data) // 2])
        else:
            path.unlink()
        parsed.clear()
        assert recon.run(route.root, now=NOW).json() == fresh
        assert len(parsed) == 5, spoil
        assert again(route.root) == fresh
        parsed.clear()
        assert again(route.root) == fresh
        assert parsed == [], "what was mended is not parsed once more"


@pytest.mark.parametrize("text", ["", "no index", "recon-cache/1 00\n{}", "recon-cache/1"])
def test_an_index_that_is_not_whole_is_none(route: RouteBuilder, tmp_path: Path, text: str) -> None:
    (cache_folder(route.root) / "index.json").write_text(text)
    assert again(route.root) == from_nothing(route.root, tmp_path / "fresh")
    assert Index.read(cache_folder(route.root)).files


def test_other_code_parses_anew(
    route: RouteBuilder, parsed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    again(route.root)
    assert parsed == []
    monkeypatch.setattr(parse_cache, "code_digest", lambda: "another")
    again(route.root)
    assert len(parsed) == 5


def test_the_hash_of_the_code_knows_its_content(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    top = tmp_path / "recon"
    for name in ("ledger/parse_cache.py", "intake/one.py", "route/two.py", "model/three.py"):
        put(top / name, "x = 1\n")
    monkeypatch.setattr(parse_cache, "__file__", str(top / "ledger/parse_cache.py"))
    digests = set()
    for name, text in (("intake/one.py", "x = 1\n"), ("intake/one.py", "x = 2\n"), ("model/new.py", "")):
        put(top / name, text)
        digests.add(parse_cache.code_digest.__wrapped__())
    assert len(digests) == 3


@pytest.fixture
def hashed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The files of which bytes are read."""
    names: list[str] = []
    plain = gather.hashlib.file_digest

    def noted(file: object, name: str) -> object:
        if str(file.name).endswith(".csv"):  # type: ignore[attr-defined]
            names.append(Path(str(file.name)).name)  # type: ignore[attr-defined]
        return plain(file, name)  # type: ignore[arg-type]

    monkeypatch.setattr(gather.hashlib, "file_digest", noted)
    return names


def test_a_file_changed_just_before_the_run_is_hashed_again(route: RouteBuilder, hashed: list[str]) -> None:
    again(route.root)
    assert len(hashed) == 5


def test_an_unchanged_file_is_not_hashed_again(
    route: RouteBuilder, hashed: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache_update, "_DOUBT", -3_600_000_000_000)
    again(route.root)
    hashed.clear()
    before = again(route.root)
    assert hashed == []
    path = route.root / "inbox/vends-3.csv"
    text = path.read_text()
    # Another content of the same size, with the time of writing put back: the time of change tells.
    status = path.stat()
    path.write_text(text.replace("12:00", "12:30"))
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert path.stat().st_size == status.st_size
    assert path.stat().st_mtime_ns == status.st_mtime_ns
    changed = again(route.root)
    assert hashed == ["vends-3.csv"]
    fresh = from_nothing(route.root, tmp_path / "fresh")
    assert without_ledger(changed, True) == without_ledger(fresh, True) != without_ledger(before, True)


def test_without_inodes_every_file_is_hashed(
    route: RouteBuilder, hashed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache_update, "_DOUBT", -3_600_000_000_000)
    again(route.root)
    assert parse_cache.stamp(SimpleNamespace(st_ino=0)) is None  # type: ignore[arg-type]
    for module in (parse_cache, cache_update):
        monkeypatch.setattr(module, "stamp", lambda status: None)
    hashed.clear()
    again(route.root)
    again(route.root)
    assert len(hashed) == 10


def test_a_file_that_goes_leaves_the_cache(route: RouteBuilder) -> None:
    (route.root / "inbox/vends-3.csv").unlink()
    again(route.root)
    index = Index.read(cache_folder(route.root))
    assert "inbox/vends-3.csv" not in index.files
    named = {f"{name}-{kind}.parquet" for name, segment in index.segments.items() for kind in segment["hashes"]}
    assert {path.name for path in cache_folder(route.root).iterdir()} == {*named, "index.json"}


def test_what_a_killed_run_left_of_an_index_goes(route: RouteBuilder) -> None:
    left = cache_folder(route.root) / f"{parse_cache.UNFINISHED_INDEX}x1"
    left.write_text("half of")
    again(route.root)
    assert not left.exists()


def test_a_cache_that_cannot_be_written_fails_no_run(route: RouteBuilder, tmp_path: Path) -> None:
    fresh = from_nothing(route.root, tmp_path / "fresh")
    shutil.rmtree(cache_folder(route.root))
    cache_folder(route.root).write_text("in the way")
    assert again(route.root) == fresh
    assert verify_ledger(route.root).failure is None


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no full device here")
def test_a_full_disk_fails_no_run(route: RouteBuilder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Polars reports it as an error of its own, not as one of the system."""
    fresh = from_nothing(route.root, tmp_path / "fresh")
    shutil.rmtree(cache_folder(route.root))
    plain = pl.DataFrame.write_parquet
    monkeypatch.setattr(pl.DataFrame, "write_parquet", lambda rows, path, **more: plain(rows, "/dev/full", **more))
    assert again(route.root) == fresh
    assert not (cache_folder(route.root) / "index.json").exists()
    monkeypatch.undo()
    assert again(route.root) == fresh
    assert Index.read(cache_folder(route.root)).files


def test_daily_runs_leave_few_segments(tmp_path: Path) -> None:
    made = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1"))
    for day in range(1, 20):
        made.vends(f"09-{day:02d} 12:00, A1, cash, 2.00", name=f"vends-{day:02d}.csv", machine="m-1")
        run_and_record(made.root, now=NOW + timedelta(minutes=day), page=False)
    index = Index.read(cache_folder(made.root))
    assert len(index.segments) == 1
    assert len(index.files) == 19
    assert len(list(cache_folder(made.root).iterdir())) == 2


@pytest.mark.parametrize("seed", range(5))
def test_segments_are_few_and_seldom_written_again(seed: int) -> None:
    """Of any row of sizes: at most three of each size class are left, and a row is written again some four times a
    class."""
    lot = random.Random(seed)
    segments: list[cache_update._Segment] = []
    written = total = 0
    for run in range(800):
        size = lot.choice([20, 300, 5_000, 60_000, 200_000])
        total += size
        groups = grouped([*segments, cache_update._Segment([run], size)])
        segments = [
            cache_update._Segment([key for one in group for key in one.keys], sum(one.size for one in group))
            for group in groups
        ]
        written += sum(sum(one.size for one in group) for group in groups if len(group) > 1)
        assert sorted(key for one in segments for key in one.keys) == list(range(run + 1))
        tiers = [cache_update._tier(one.size) for one in segments]
        assert all(tiers.count(tier) <= 3 for tier in set(tiers))
    assert written < 8 * total
    assert total > SMALL


def test_a_run_cut_short_leaves_what_was_there(
    route: RouteBuilder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wherever the update of the cache ends, the next run gives what a run from nothing gives."""
    route.vends("09-06 12:00, A1, cash, 2.00", name="vends-6.csv", machine="m-1")
    fresh = from_nothing(route.root, tmp_path / "fresh")
    for step in ("write_segment", "Index.write", "_clear"):
        with monkeypatch.context() as patched:

            def stop(*given: object, **more: object) -> None:
                raise KeyboardInterrupt

            if step == "write_segment":
                patched.setattr(cache_update, "write_segment", stop)
            elif step == "Index.write":
                patched.setattr(Index, "write", stop)
            else:
                patched.setattr(cache_update._Update, "_clear", stop)
            copy = tmp_path / step
            shutil.copytree(route.root, copy)
            with pytest.raises(KeyboardInterrupt):
                run_and_record(copy, now=NOW, page=False)
        assert again(copy) == fresh
        assert verify_ledger(copy).failure is None


def test_files_are_private(route: RouteBuilder) -> None:
    for path in cache_folder(route.root).iterdir():
        assert path.stat().st_mode & 0o777 == 0o600
    assert cache_folder(route.root).stat().st_mode & 0o777 == 0o700


def test_the_index_is_plain_json(route: RouteBuilder) -> None:
    head, _, body = (cache_folder(route.root) / "index.json").read_text().partition("\n")
    assert head.startswith("recon-cache/1 ")
    kept = json.loads(body)
    assert sorted(kept["files"]) == [f"inbox/{name}" for name in
                                     ("counts.csv", "vends-3.csv", "vends-4.csv", "vends-5.csv", "vends-odd.csv")]
    assert pl.read_parquet(next(cache_folder(route.root).glob("*-vends.parquet"))).height == 3
