"""A slice of the damaged exports of mutations.py, and random bytes by hypothesis."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutations import faults, mutated, route_in, sample_files, take

from recon.route.folder import Route

SLICE = range(1, 91)


@pytest.fixture(scope="module")
def route(tmp_path_factory: pytest.TempPathFactory) -> Route:
    return route_in(tmp_path_factory.mktemp("mutated") / "route")


def test_damaged_exports_are_accounted_for(route: Route) -> None:
    files = sample_files()
    for seed in SLICE:
        name, data = mutated(seed, files)
        assert list(faults(take(route, name, data))) == [], f"seed {seed}"


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(st.binary(max_size=300), st.text(alphabet='a1,;"\n\r\t |=-.\x00é', max_size=200).map(str.encode)),
    st.sampled_from(["x.csv", "sales-2026-33.csv", "note.txt", "book.xlsx", "x.zip", "x.csv.gz"]),
)
def test_any_bytes_are_accounted_for(route: Route, data: bytes, name: str) -> None:
    assert list(faults(take(route, name, data))) == []


def test_a_wrong_account_is_told(route: Route, tmp_path: Path) -> None:
    """The rules can fail: an intake whose account is off by one is found."""
    from dataclasses import replace

    import polars as pl

    intake = take(route, "x.csv", b"machine,time,label,counted\nquay-2,2026-09-01 10:00,110,4\n")
    assert list(faults(intake)) == []
    wrong = replace(intake, inputs=intake.inputs.with_columns(pl.col("accepted") + 1))
    assert len(list(faults(wrong))) == 2
