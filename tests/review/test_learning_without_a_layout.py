"""A layout that cannot be read is no reason to learn a machine without one, and to call that certain."""

from pathlib import Path

import pytest
from builders import RouteBuilder, slot

from recon.cli.learn import learn_machine
from recon.cli.progress import Progress
from recon.model.errors import SettingsError


def test_a_broken_layout_is_said_and_nothing_is_learned(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("110"), slot("112"))
    route.tests("110, 09-01 09:00", "112, 09-01 09:01").vends("09-01 09:00, 272, test", columns="time,bus,tender")
    lesson = learn_machine(tmp_path, "m-1", Progress(quiet=True))
    assert lesson.learned.machine == "m-1"
    (layout,) = (tmp_path / "layouts").iterdir()
    layout.write_text(layout.read_text() + "\n[[slot]\n")
    with pytest.raises(SettingsError) as told:
        learn_machine(tmp_path, "m-1", Progress(quiet=True))
    assert {problem.place.file for problem in told.value.problems} == {f"layouts/{layout.name}"}
