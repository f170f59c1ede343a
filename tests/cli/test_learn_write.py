"""recon learn --write: the numbers go into the layout and nothing else of it changes; without it, they are shown
(invented machines, numbered by int(label, 16))."""

from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from typer.testing import CliRunner, Result

from recon.cli.main import app
from recon.match.numbering import numbers
from recon.model.errors import ReconError
from recon.route.layouts import read_layout

LABELS = [f"{row}{column}" for row in (11, 12, 13) for column in range(10)]
COLUMNS = "time,bus,tender,price"
TESTS = ("139, 09-02 17:00", "115, 09-02 17:06")


@pytest.fixture(autouse=True)
def _at_one_moment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790700000")


def learn(root: Path, *words: str) -> Result:
    done = CliRunner().invoke(app, ["learn", str(root), "quay-9", *words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def evening(root: Path, *tests: str, **keys: object) -> RouteBuilder:
    route = RouteBuilder(root).machine("quay-9", *(slot(label) for label in LABELS), **keys)  # type: ignore[arg-type]
    vends = ("09-02 17:00:20, 313, cash, 2.00", "09-02 17:03:10, 294, card, 2.00", "09-02 17:06:05, 277, cash, 2.00")
    return route.vends(*vends, columns=COLUMNS).tests(*(tests or TESTS))


def test_what_is_certain_is_shown_and_then_written(tmp_path: Path) -> None:
    evening(tmp_path)
    path = tmp_path / "layouts/quay-9.toml"
    before = path.read_text()
    shown = learn(tmp_path)
    diff = [line for line in shown.stdout.splitlines() if line[:1] in ("+", "-")]
    assert diff == ["--- layouts/quay-9.toml", "+++ layouts/quay-9.toml", '+numbering = "hex-label"']
    assert path.read_text() == before
    done = learn(tmp_path, "--write")
    assert (done.exit_code, "layouts/quay-9.toml: written" in done.stderr) == (0, True)
    assert path.read_text() == before.replace('machine = "quay-9"\n', 'machine = "quay-9"\nnumbering = "hex-label"\n')
    found, _ = read_layout(tmp_path, "layouts/quay-9.toml")
    assert found is not None
    assert numbers(found.layout) == [int(label, 16) for label in LABELS]
    checked = CliRunner().invoke(app, ["check", str(tmp_path)])
    assert (checked.exit_code, checked.stdout) == (0, "")
    again = learn(tmp_path, "--write")
    assert "holds all of this already" in again.stderr


def test_json_stays_json(tmp_path: Path) -> None:
    evening(tmp_path)
    plain = learn(tmp_path, "--format", "json").stdout
    assert plain.startswith("{")
    assert learn(tmp_path, "--format", "json", "--write").stdout == plain


def test_what_is_not_certain_is_written_number_by_number(tmp_path: Path) -> None:
    """Two labels of one row leave every width of grid open: their own numbers are all that is known."""
    route = RouteBuilder(tmp_path).machine("quay-9", *(slot(label) for label in LABELS))
    route.vends("09-02 17:00:20, 313, cash, 2.00", "09-02 17:06:05, 306, cash, 2.00", columns=COLUMNS)
    route.tests("139, 09-02 17:00", "132, 09-02 17:06")
    path = tmp_path / "layouts/quay-9.toml"
    before = path.read_text()
    shown = learn(tmp_path)
    assert (shown.exit_code, "+++" in shown.stdout) == (1, False)
    assert learn(tmp_path, "--write").exit_code == 1
    expected = before.replace('label = "139"\n', 'label = "139"\nbus = 313\n')
    assert path.read_text() == expected.replace('label = "132"\n', 'label = "132"\nbus = 306\n')


def test_where_nothing_is_known_nothing_is_written(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("quay-9", *(slot(label) for label in LABELS))
    before = (route.root / "layouts/quay-9.toml").read_bytes()
    assert "nothing was written" in learn(tmp_path, "--write").stderr
    assert (route.root / "layouts/quay-9.toml").read_bytes() == before


def test_numbers_that_changed_are_dated(tmp_path: Path) -> None:
    evening(tmp_path, numbering="same")
    learn(tmp_path, "--write", "--changed", "2026-09-02T12:00:00")
    found, problems = read_layout(tmp_path, "layouts/quay-9.toml")
    assert problems == []
    assert found is not None
    layout = found.layout
    assert (layout.numbering, [each.bus for each in layout.slots]) == (None, [int(label) for label in LABELS])
    assert [(each.label, each.bus) for each in layout.changes] == [(label, int(label, 16)) for label in LABELS]
    assert {each.start.isoformat() for each in layout.changes} == {"2026-09-02T12:00:00"}
    with pytest.raises(ReconError, match="--changed"):
        learn(tmp_path, "--write", "--changed", "noon")


def test_numbers_that_were_wrong_are_corrected(tmp_path: Path) -> None:
    evening(tmp_path, numbering="same")
    path = tmp_path / "layouts/quay-9.toml"
    before = path.read_text()
    learn(tmp_path, "--write")
    assert path.read_text() == before.replace('"same"', '"hex-label"')


def test_a_machine_without_a_layout_gets_one_from_the_day_of_its_first_test(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).settings(timezone="America/Halifax")
    route.vends(
        "09-02 17:00:20, 313, cash, 2.00", "09-02 17:06:05, 277, cash, 2.00", machine="quay-9", columns=COLUMNS
    ).tests(*TESTS, machine="quay-9")
    learn(tmp_path, "--write")
    found, problems = read_layout(tmp_path, "layouts/quay-9.toml")
    assert problems == []
    assert found is not None
    assert found.layout.effective.isoformat() == "2026-09-02T00:00:00"
    assert {(each.label, each.product) for each in found.layout.slots} == {("139", None), ("115", None)}
    given = [each.bus or number for each, number in zip(found.layout.slots, numbers(found.layout), strict=True)]
    assert sorted(given) == [277, 313]


def test_a_layout_that_cannot_be_edited_keeps_nobody_from_learning(tmp_path: Path) -> None:
    route = evening(tmp_path)
    array = ", ".join(f'{{ label = "{label}" }}' for label in LABELS)
    text = f'machine = "quay-9"\neffective = 2026-01-01\nslot = [{array}]\n[numbering]\noffset = 0\n'
    route.file("layouts/quay-9.toml", text)
    shown = learn(tmp_path)
    assert (shown.exit_code, "not to be edited" in shown.stderr) == (0, True)
    with pytest.raises(ReconError, match="on one line"):
        learn(tmp_path, "--write")
    assert (tmp_path / "layouts/quay-9.toml").read_text() == text
