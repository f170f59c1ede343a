"""Short cuts of the intake, held against the long way: each has to give what it spares."""

import random
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from inbox import NOW, route_of
from mutations import mutated, route_in, sample_files

from recon.intake import plain_times
from recon.intake.describe import UnknownFormat, reading_for
from recon.intake.encoding import UnreadableFile
from recon.intake.known import Known
from recon.intake.moments import to_moments
from recon.intake.opened import open_file
from recon.intake.settle import settle
from recon.intake.take_in import take_in
from recon.intake.texts import Settled, by_field, by_field_alike
from recon.model.frames import TIME


def settled_files(known: Known, seeds: range) -> dict[tuple[object, ...], list[Settled]]:
    """Sample files, most of them damaged, by their format."""
    groups: dict[tuple[object, ...], list[Settled]] = {}
    whole = [(path.name, path.read_bytes()) for path in sample_files()[::3]]
    for number, (name, data) in enumerate([*whole, *(mutated(seed, sample_files()) for seed in seeds)]):
        try:
            [part] = open_file(data, name, known.route).parts
            reading = reading_for(name, part.table.header, known.route, doubled=part.table.doubled)
        except (UnreadableFile, UnknownFormat, ValueError):
            continue
        key = (reading.kind, reading.name, *reading.columns)
        groups.setdefault(key, []).append(Settled(number, settle(part.table, reading), reading))
    return groups


def test_files_read_together_read_as_each_by_itself() -> None:
    """And those that the common reading cannot speak for are left out of it whole."""
    spoken, apart_of_all = 0, 0
    with TemporaryDirectory() as folder:
        known = Known(route_in(Path(folder) / "route"))
        for files in settled_files(known, range(200)).values():
            together, apart = by_field_alike(files)
            assert not set(together["file"].unique()) & apart
            apart_of_all += len(apart)
            for file in files:
                if file.number in apart or not file.table.frame.height:
                    continue
                spoken += 1
                alone = by_field(file.table, file.reading, file=file.number, now=NOW, known=known)
                assert together.filter(pl.col("file") == file.number).equals(alone, null_equal=True)
    assert spoken > 50
    assert apart_of_all > 5


def test_what_a_file_gives_hangs_on_no_other_file(tmp_path: Path) -> None:
    """A column of days that reads two ways is refused though its neighbours would settle it."""
    header = "machine,time,label,counted\n"
    files = {
        "a.csv": header + "m-1,2026-09-14 09:30,110,4\n",
        "b.csv": header + "m-1,03/04/2026 09:30,110,4\n",
        "c.csv": header + "m-1,14/09/2026 10:30,110,4\n",
        "d.csv": header + 'm-1,2026-09-15 09:30,110,"4,0"\n',
    }
    together = take_in(route_of(tmp_path / "all", files), now=NOW)
    assert together.inputs.select("accepted", "rejected").rows() == [(1, 0), (0, 1), (1, 0), (1, 0)]
    for at, (name, text) in enumerate(files.items()):
        alone = take_in(route_of(tmp_path / name, {name: text}), now=NOW)
        given = together.counts.filter(pl.col("file") == at).drop("file")
        assert given.equals(alone.counts.drop("file"))


@pytest.mark.parametrize(
    ("name", "begin"),
    [("America/Halifax", datetime(2026, 1, 1)), ("Australia/Lord_Howe", datetime(2026, 2, 1)),
     ("America/St_Johns", datetime(2006, 9, 1)), ("Pacific/Apia", datetime(2011, 11, 1)),
     ("UTC", datetime(2026, 1, 1))],
)  # fmt: skip
def test_many_moments_are_those_of_zoneinfo(name: str, begin: datetime) -> None:
    """Many times take their offsets from a table of hours; the standard library (PEP 495) gives each by itself."""
    rng = random.Random(1)
    local = [begin + timedelta(minutes=rng.randrange(100 * 1440)) for _ in range(12_000)]
    frame = pl.DataFrame({"local": pl.Series(local, dtype=pl.Datetime("us")), "zone": [name] * len(local)})
    out = to_moments(frame.with_columns(pl.lit(None, TIME).alias("moment")))
    assert out["time"].to_list() == [at.replace(tzinfo=ZoneInfo(name)).astimezone(UTC) for at in local]


FORMS = (
    "%d. %m. %Y %H.%M.%S Uhr", "%A, %d %B %Y at %I:%M %p", "%d/%m/%Y - %Hh%M", "%H:%M:%S %d.%m.%Y", "%Y-%m-%d 24:00",
    "%d %b %Y 00:00 %H:%M", "%d-%b-%Y 1899-12-30 %H:%M", "%a %d %b %Y %H.%M UTC+2", "%Y年%m月%d日 %H:%M",
)  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_steps_left_out_would_have_found_nothing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(seed)
    forms = rng.sample(FORMS, rng.choice([1, 2, 4]))
    begin = datetime(2026, 1, 1)
    texts = [
        (begin + timedelta(seconds=rng.randrange(20_000_000))).strftime(rng.choice(forms)) for _ in range(6000)
    ]
    column = pl.Series(texts + [text[:-1] for text in texts[:5]] + [None])
    short = plain_times.plainly(column)
    monkeypatch.setattr(plain_times, "_FEW_SHAPES", 1_000_000)
    every = plain_times.plainly(column)
    assert short.texts.equals(every.texts, null_equal=True)
    assert short.days.equals(every.days, null_equal=True)
