"""Days with a year of two digits in front: 26-02-13 is no day of 2013 in a log of this year."""

from pathlib import Path

import pytest
from builders import RouteBuilder, kinds, slot


@pytest.mark.parametrize("mark", ["-", "/", "."])
def test_years_in_front_are_not_read_as_days(tmp_path: Path, mark: str) -> None:
    """Read as 2026, or refused with both readings; never taken for days of 2010 to 2025."""
    route = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1", bus=1))
    rows = "".join(f"m-1,{mark.join(('26', '02', f'{day:02}'))} 10:00,1,2.00,cash\n" for day in range(10, 26))
    run = route.file("inbox/a.csv", "machine,time,bus,price,tender\n" + rows).run()
    years = set(run.frames["vends"]["time"].dt.year().to_list())
    assert years == {2026} or (not years and "unknown-format" in kinds(run))


def test_days_in_front_are_read_as_before(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1", bus=1))
    route.file("inbox/a.csv", "machine,time,bus,price,tender\nm-1,13-02-26 10:00,1,2.00,cash\n")
    assert [str(time)[:10] for time in route.run().frames["vends"]["time"]] == ["2026-02-13"]
