"""A file with one machine below the other tells nothing of an hour that happened twice by the step between them."""

from pathlib import Path

from builders import RouteBuilder, of_kind, slot


def test_the_step_between_two_machines_is_no_jump_of_the_clock(tmp_path: Path) -> None:
    """America/Halifax, 2026-11-01: 01:00 to 02:00 happened twice (IANA time zone database)."""
    route = RouteBuilder(tmp_path / "route").settings(timezone="America/Halifax")
    route.machine("m-1", slot("A1", bus=1)).machine("m-2", slot("A1", bus=1))
    times = [("m-1", "00:30"), ("m-1", "01:40"), ("m-2", "01:10"), ("m-2", "02:30")]
    rows = "".join(f"{machine},2026-11-01 {clock},1,2.00,cash\n" for machine, clock in times)
    run = route.file("inbox/a.csv", "machine,time,bus,price,tender\n" + rows).run()
    vends = run.frames["vends"].sort("row")
    assert [f"{time:%H:%M}" for time in vends["time"]] == ["03:30", "04:40", "04:10", "06:30"]
    assert len(of_kind(run, "ambiguous-time")) == 2
