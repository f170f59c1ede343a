"""Layout changes within an hour that the clocks left out: 2026-03-08 02:00 to 03:00 in Halifax (invented
data)."""

import pytest
from builders import RouteBuilder, change, kinds, only, slot


@pytest.mark.parametrize("second", ["02:45:00", "03:10:00", "03:30:00", "03:31:00"])
def test_the_later_change_holds_from_then_on(route: RouteBuilder, second: str) -> None:
    """02:30 never was and is moved on to 03:30, behind a change at 03:10."""
    route.machine(
        "m-1", slot("A1", bus=1), timezone="America/Halifax",
        changes=[
            change("2026-03-08T02:30:00", "A1", product="cola", bus=2),
            change(f"2026-03-08T{second}", "A1", product="mints", bus=3),
        ],
    )  # fmt: skip
    route.counts("03-08 09:00, A1, 9", "03-10 09:00, A1, 8")
    route.vends("03-09 12:00, 3, cash, 2.00", columns="time,bus,tender,price")
    run = route.run()
    assert "unmapped-number" not in kinds(run)
    window = only(run.results.stock)
    assert (window.product, window.vended, window.variance) == ("mints", 1, 0)
    assert run.frames["states"]["ends"].null_count() == 1
