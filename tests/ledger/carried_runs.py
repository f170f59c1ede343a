"""Runs of weekly routes that carry forward, and what they reckon."""

import random
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from weeks import Weekly

import recon
from recon.recorded import run_and_record


def quiet_weeks(root: Path, settings: str = "") -> Weekly:
    made = Weekly(root, random.Random(5), settings=settings)
    made.unpriced, made.plain = "", True
    for week in range(4):
        made.log()
        made.week += 1
        made.sheets(made.begins)
        made.payout()
        made.layouts()
        if week < 3:
            run_of(made)
    return made


def day_of(route: Weekly) -> datetime:
    return (route.begins + timedelta(days=2)).replace(tzinfo=UTC)


def run_of(route: Weekly) -> str:
    return run_and_record(route.root, now=day_of(route), page=False).run.json()


def from_nothing(route: Weekly, folder: Path) -> str:
    shutil.copytree(route.root, folder, ignore=shutil.ignore_patterns("ledger", "reports"))
    return recon.run(folder, now=day_of(route)).json()


def rows_reckoned(route: Weekly, monkeypatch: pytest.MonkeyPatch) -> int:
    """How many vends a run of the route matches to slots."""
    from recon import by_machines

    counted: list[int] = []
    plain = by_machines.match_vends

    def noted(vends: pl.DataFrame, laid: object) -> pl.DataFrame:
        counted.append(vends.height)
        return plain(vends, laid)  # type: ignore[arg-type]

    with monkeypatch.context() as patched:
        patched.setattr(by_machines, "match_vends", noted)
        run_of(route)
    return sum(counted)
