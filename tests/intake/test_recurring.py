"""Short cuts over long columns, held against reading cell by cell: the same rows, rejects and remarks."""

import random
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from inbox import NOW, write
from mutations import mutated, sample_files

from recon.intake import clock, gather, moments, recurring, settle, table, texts
from recon.intake.recurring import as_texts, coded, joined
from recon.intake.take_in import Intake, take_in
from recon.route.folder import read_route

FRAMES = ("inputs", "rejects", "notices", "vends", "counts", "loads", "cash", "payouts", "tests")
USUAL = {
    "machine": ["m-1", "m-1", "m-1", "y-1", "none-such"], "bus": ["272", "274", "164", "", "65535"],
    "price": ["1.75", "1.75", "2.00", "", "655.35"], "tender": ["cash", "card"], "outcome": ["vended", "failed", ""],
    "quantity": ["1", "", "2"],
}  # fmt: skip
ODD = {
    "machine": ["", " m-1", "m-1 ", "machine", "Total", "m\u00e9-1", "\u00a0"],
    "bus": ["0x110", "-1", "27 2", "x", "70000", "272.0", " 272"],
    "price": ["1,75", "175", "1.755", "-1.75", "1.75 CAD", "x", "\t"], "tender": ["", "Cash", "barter", " card"],
    "outcome": ["VENDED", "lost", " "], "quantity": ["0", "1001", "1.0", "one"],
}  # fmt: skip
TIMES = (
    "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%d.%m.%Y %H:%M",
    "%Y-%m-%dT%H:%M:%S-03:00",
)  # fmt: skip
ODD_TIMES = (
    "", "soon", "2026-13-01T00:00:00", "2026-9-14T9:05:00", "+2026-9-14T09:05:0", "1999-01-01T00:00:00",
    "2027-01-01T00:00:00", "2026- 9-14T 9:05:00", "2026-09-14T09:05:60", "2026-09-14t09:05:00", "Total 2026-09-14",
    "2026-03-08T02:30:00", "4532015112830366",
)  # fmt: skip


def log(rng: random.Random) -> str:
    """A sales log as one machine's program might write it, with what goes wrong in some of them."""
    form, odd, rows = rng.choice(TIMES), rng.choice([0.0, 0.0, 0.01, 0.2]), rng.randrange(1, 60)
    names = ["machine", "time", "price", "tender"]
    names += [name for name in ("bus", "outcome", "quantity") if rng.random() < 0.8]
    names += ["reference"] if rng.random() < 0.7 else []
    # Nights on which clocks in Canada are set back and forward, and others.
    begin = rng.choice([datetime(2025, 11, 1, 23), datetime(2026, 3, 7, 23), datetime(2026, 8, 20)])
    at, lines = begin, [",".join(names)]
    for row in range(rows):
        at += timedelta(seconds=rng.randrange(1, 900))
        cells = [
            rng.choice(ODD_TIMES) if name == "time" and rng.random() < odd
            else at.strftime(form) if name == "time"
            else f"R{row}" if name == "reference"
            else rng.choice(ODD[name] if rng.random() < odd else USUAL[name])
            for name in names
        ]  # fmt: skip
        if rng.random() < odd / 4:
            cells = rng.choice([cells[:-1], [*cells, "more"], names, [""] * len(names), ['"a\nb"', *cells[1:]]])
        lines.append(",".join(cells))
    return "\n".join(lines) + rng.choice(["\n", "", "\n\n"])


def both_ways(root: Path, files: dict[str, str | bytes], monkeypatch: pytest.MonkeyPatch) -> list[Intake]:
    """What an inbox gives where every column is taken for a long one, and where none is and no short cut is open."""
    route = read_route(write(root, files))
    given = []
    for many, few, glance in ((1, 0, table.begin_between), (10**9, 10**9, lambda *_: False)):
        with monkeypatch.context() as patch:
            patch.setattr(recurring, "_MANY", many)
            patch.setattr(moments, "_MANY", many)
            patch.setattr(table, "_SHORT", few)
            for module in (table, settle, texts, gather):
                patch.setattr(module, "FEW_ROWS", few)
            for module in (table, settle, clock):
                patch.setattr(module, "begin_between", glance)
            given.append(take_in(route, now=NOW))
    return given


def same(one: Intake, other: Intake) -> None:
    for name in FRAMES:
        left, right = getattr(one, name), getattr(other, name)
        assert left.equals(right, null_equal=True), name


@pytest.mark.parametrize("seed", range(40))
def test_long_columns_give_what_their_cells_give(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(seed)
    files: dict[str, str | bytes] = {f"sales-{number}.csv": log(rng) for number in range(rng.randrange(1, 6))}
    one, other = both_ways(tmp_path, files, monkeypatch)
    same(one, other)


@pytest.mark.parametrize("seed", range(40))
def test_damaged_files_give_the_same_both_ways(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    name, data = mutated(seed, sample_files())
    one, other = both_ways(tmp_path, {name: data, f"again-{name}": data}, monkeypatch)
    same(one, other)


def test_the_logs_are_of_both_kinds(tmp_path: Path) -> None:
    """Of the logs above some rows are refused and most are not: else the tests of them would show nothing."""
    files: dict[str, str | bytes] = {f"sales-{seed}.csv": log(random.Random(seed)) for seed in range(60)}
    intake = take_in(read_route(write(tmp_path, files)), now=NOW)
    assert intake.vends.height > 500
    assert intake.rejects.height > 50
    assert {"ambiguous-time", "nonexistent-time"} <= set(intake.notices["kind"])


def test_any_texts_come_back_from_their_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recurring, "_MANY", 1)
    rng = random.Random(1)
    for _ in range(200):
        few = [None, "", "a", " ", "\u00e9" * 40, *(str(number) for number in range(rng.randrange(1, 9)))]
        parts = [pl.Series([rng.choice(few) for _ in range(rng.randrange(30))], dtype=pl.String) for _ in range(3)]
        whole = pl.concat(parts).alias("a")
        column = joined("a", parts)
        assert as_texts(column.to_frame())["a"].equals(whole, check_names=True, null_equal=True)
        each = coded(column)
        if each is not None:
            assert each.texts.n_unique() == each.texts.len()
            assert each.put(each.texts).equals(whole, null_equal=True)


def test_no_text_of_the_length_of_a_time_reads_as_one_by_chance() -> None:
    """A short cut asks polars to read times of 19 characters, the first a digit, without a blank: what it reads has to
    be written as ISO 8601 has it."""
    rng = random.Random(1)
    made = []
    for _ in range(200_000):
        at = datetime(2026, 1, 1) + timedelta(seconds=rng.randrange(10**8))
        text = list(at.strftime("%Y-%m-%dT%H:%M:%S"))
        for _ in range(rng.randrange(1, 4)):
            text[rng.randrange(1, 19)] = rng.choice("0123456789-+:T.Z")
            if rng.random() < 0.3:
                text.insert(rng.randrange(1, 19), text.pop(rng.randrange(1, len(text))))
        made.append("".join(text))
    every = pl.Series(made)
    read = every.str.to_datetime("%Y-%m-%dT%H:%M:%S", time_unit="us", strict=False)
    assert read.is_not_null().any()
    assert every.filter(read.is_not_null()).str.contains(clock._ISO).all()
