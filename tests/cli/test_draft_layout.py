"""recon draft layout: what it writes passes recon check and reads back as what was asked for; whatever it cannot read
it names. Two examples of numbering are int(label, 16) of the label; pitches of trays are common practice, no source."""

import subprocess
import sys
from pathlib import Path

import pytest
from builders import RouteBuilder, change, slot
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from recon.cli.layout_draft import rule_of
from recon.cli.main import app
from recon.match.numbering import numbers
from recon.match.states import layouts
from recon.model.errors import ReconError
from recon.model.layout import ColumnGrid, Grid, Layout, Offset, Sequence
from recon.route.folder import read_route
from recon.route.label_lines import Line, slots_of
from recon.route.layouts import read_layout


@pytest.fixture(autouse=True)
def _at_one_moment(monkeypatch: pytest.MonkeyPatch) -> None:
    """2026-09-29 13:40 in Halifax, 01:40 of the next day in Tokyo."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790700000")


def draft(*words: str | Path, stdin: str | None = None) -> tuple[str, str]:
    """stdout and stderr of a draft that is made."""
    done = CliRunner().invoke(app, ["draft", "layout", *map(str, words)], input=stdin)
    if done.exception is not None:
        raise done.exception
    return done.stdout, done.stderr


def refused(*words: str | Path, stdin: str | None = None) -> str:
    """What is said where no draft is made."""
    with pytest.raises(ReconError) as stopped:
        draft(*words, stdin=stdin)
    return str(stopped.value)


def written(root: Path, *words: str | Path) -> Layout:
    """The layout that was written to the route, checked without a remark."""
    out, _ = draft("--route", root, *words)
    found, problems = read_layout(Path(out.strip()).parent, Path(out.strip()).name)
    assert (found is None, problems) == (False, [])
    checked = CliRunner().invoke(app, ["check", out.strip()])
    assert (checked.exit_code, checked.stdout) == (0, "")
    assert found is not None
    return found.layout


def shapes(layout: Layout) -> list[tuple[str, str | None, int, int | None]]:
    return [(each.label, each.tray, each.pitch, each.capacity) for each in layout.slots]


def test_trays(tmp_path: Path) -> None:
    RouteBuilder(tmp_path)
    layout = written(
        tmp_path, "-m", "quay-7", "--site", 'Gate "7"', "--numbering", "hex-label",
        "--effective", "2026-08-03T07:00:00",
        "1: 110-114 step 2 snack capacity 10", "2: 130-132, 135 candy", "A: A1-A3",
    )  # fmt: skip
    assert shapes(layout) == [
        ("110", "1", 2, 10), ("112", "1", 2, 10), ("114", "1", 2, 10),
        ("130", "2", 1, None), ("131", "2", 1, None), ("132", "2", 1, None), ("135", "2", 1, None),
        ("A1", "A", 1, None), ("A2", "A", 1, None), ("A3", "A", 1, None),
    ]  # fmt: skip
    assert numbers(layout) == [int(each.label, 16) for each in layout.slots]
    assert (layout.machine, layout.site) == ("quay-7", 'Gate "7"')
    assert layout.effective.isoformat() == "2026-08-03T07:00:00"


def labels(*lines: str) -> list[str]:
    return [each.label for each in slots_of(Line(str(at), text) for at, text in enumerate(lines))]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("110-118 step 2", ["110", "112", "114", "116", "118"]),
        ("110-117 step 2", ["110", "112", "114", "116"]),
        ("A1-A4", ["A1", "A2", "A3", "A4"]),
        ("A1-4", ["A1", "A2", "A3", "A4"]),
        ("1-3", ["1", "2", "3"]),
        ("08-11", ["08", "09", "10", "11"]),
        ("099-101", ["099", "100", "101"]),
        ("B09-B11", ["B09", "B10", "B11"]),
        ("9-11", ["9", "10", "11"]),
        ("110 - 112", ["110", "111", "112"]),
        ("110\u2013112", ["110", "111", "112"]),
        ("7-7", ["7"]),
        ("lobby", ["lobby"]),
        ("A-F", ["A-F"]),
        ("1-2;", ["1-2"]),
        ("001", ["001"]),
        ("1: 5, 7-8, 12-16 step 4", ["5", "7", "8", "12", "16"]),
    ],
)
def test_ranges(line: str, expected: list[str]) -> None:
    assert labels(line) == expected


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(["", "A", "row"]), st.integers(0, 300), st.integers(0, 60), st.integers(1, 5), st.integers(1, 4))
def test_a_range_is_its_ends_and_what_lies_between(front: str, low: int, more: int, step: int, width: int) -> None:
    """Held against Python's own range and zero padding; unpadded where the first end is."""
    first = f"{low:0{width}d}"
    padded = width if first.startswith("0") else 1
    expected = [f"{front}{number:0{padded}d}" for number in range(low, low + more + 1, step)]
    assert labels(f"{front}{first}-{front}{low + more} step {step}") == expected


def test_a_list_of_labels_products_prices_and_capacities(tmp_path: Path) -> None:
    RouteBuilder(tmp_path)
    source = tmp_path / "slots.txt"
    source.write_bytes(
        "\ufeff# at the front\r\n110;oat-bar;1.75;10\r\n\r\n112;;;8\r\n114 ; gum ; 2.00\r\n116\r\n".encode()
    )
    layout = written(tmp_path, "-m", "m-1", "--from", source, "--numbering", "same")
    told = [(each.label, each.product, each.price and str(each.price), each.capacity) for each in layout.slots]
    assert told == [
        ("110", "oat-bar", "1.75", 10), ("112", None, None, 8), ("114", "gum", "2.00", None), ("116", None, None, None),
    ]  # fmt: skip


def test_lines_from_stdin_come_after_those_of_the_command(tmp_path: Path) -> None:
    out, _ = draft("-m", "m-1", "7", "--from", "-", "--output", "-", stdin="8\n9\n")
    assert [line for line in out.splitlines() if line.startswith("label")] == [
        'label = "7"',
        'label = "8"',
        'label = "9"',
    ]


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (["1: 110 112"], '"112" is none of snack'),
        (["1: 110-118 step"], "after step"),
        (["1: 110-118 step 0"], '"0" after step'),
        (["110 step 2"], "step belongs to a range"),
        (["1: 110 snack, 111 candy"], "the other already"),
        (["1: 118-110"], "write 110-118"),
        (["1: A1-B4"], "goes from A to B"),
        (["1: 110,,111"], "no label where one is due"),
        (["1:"], "no label where one is due"),
        ([": 110"], "names no tray"),
        (["1-999999"], "more than 2000"),
        (["1-1500", "A1-A1500"], "more than 2000"),
        (["110", "1: 109-111"], 'label 110 stands in "110" already'),
        (["110;gum;1,2,3"], 'price is "1,2,3"'),
        (["110;gum;1.00;few"], 'capacity is "few"'),
        (["110;gum;1.00;8;9"], "5 cells"),
        ([";gum"], 'label is ""'),
        (["110;gum;1.005"], "price is 1.005"),
        (["1: 110 capacity 999999"], "capacity"),
        ([], "no label given"),
    ],
)
def test_lines_that_cannot_be_read(tmp_path: Path, lines: list[str], told: str) -> None:
    RouteBuilder(tmp_path)
    message = refused("--route", tmp_path, "-m", "m-1", *lines)
    assert told in message
    assert not (tmp_path / "layouts").exists()


def test_a_fault_in_a_file_is_told_with_its_line(tmp_path: Path) -> None:
    source = tmp_path / "slots.txt"
    source.write_text("110\n\n112 candi\n")
    assert refused("-m", "m-1", "--from", source, "-o", "-").startswith(f"{source.as_posix()}:3: ")
    source.write_bytes(b"\xff\xfe1")
    assert "no text in UTF-8" in refused("-m", "m-1", "--from", source, "-o", "-")
    assert "cannot be read" in refused("-m", "m-1", "--from", tmp_path / "none.txt", "-o", "-")


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("same", "same"),
        ("zero-based", "zero-based"),
        ("offset=-100", Offset(offset=-100)),
        ("{ offset = 3 }", Offset(offset=3)),
        ("grid=10,first=1", Grid(grid=10, first=1)),
        ("column-grid = 8, first = 0", ColumnGrid.model_validate({"column-grid": 8, "first": 0})),
        ("sequence=5", Sequence(sequence=5)),
    ],
)
def test_rules(text: str, rule: object) -> None:
    assert rule_of(text) == rule


@pytest.mark.parametrize("text", ["hex", "offset", "offset=", "offset=x", "grid=0,first=1", "a=1}\nb={", ""])
def test_what_is_no_rule(text: str) -> None:
    with pytest.raises(ReconError, match="is no rule: expected same"):
        rule_of(text)


QUAY = {
    "numbering": "hex-label", "price_step": "0.05", "timezone": "Asia/Tokyo", "site": "Gate 2",
}  # fmt: skip


def quay(root: Path) -> RouteBuilder:
    return RouteBuilder(root).machine(
        "quay-2",
        slot("110", tray="1", pitch=2, product="oat-bar", price="1.75", card_price="1.85", capacity=10, par=8),
        slot("112", bus=999, tray="1", pitch=2),
        slot("114", tray="1", pitch=2, capacity=9, par=9),
        changes=[
            change("2026-02-01T09:00:00", "110", product="rye-crackers", price="1.90", bus=300),
            change("2026-03-01T09:00:00", "114", retire=True),
        ],
        **QUAY,
    )


def test_like_another_machine_as_it_stands_now(tmp_path: Path) -> None:
    quay(tmp_path)
    out, _ = draft("--route", tmp_path, "-m", "quay-3", "--like", "quay-2")
    route = read_route(tmp_path)
    layout = route.layout_of("quay-3")
    assert layout is not None
    assert out.strip() == (tmp_path / "layouts/quay-3.toml").as_posix()
    told = [
        (each.label, each.bus, each.tray, each.pitch, each.capacity, each.par, each.product) for each in layout.slots
    ]
    assert told == [
        ("110", 300, "1", 2, 10, 8, None), ("112", 999, "1", 2, 50, None, None), ("114", None, "1", 2, 9, None, None),
    ]  # fmt: skip
    assert (layout.numbering, str(layout.price_step)) == ("hex-label", "0.05")
    assert (layout.site, layout.timezone, layout.changes) == (None, None, ())


def test_like_another_machine_with_its_products(tmp_path: Path) -> None:
    quay(tmp_path)
    draft("--route", tmp_path, "-m", "quay-3", "--like", "quay-2", "--with-products", "--effective", "2026-09-01")
    route = read_route(tmp_path)
    states = (
        layouts(route)
        .states.filter(machine="quay-3")
        .select("label", "in_use", "bus", "product", "price", "card_price")
    )
    now = layouts(route).states.filter(machine="quay-2").group_by("label", maintain_order=True).last()
    assert states.rows() == [
        ("110", True, 300, "rye-crackers", 190, 185), ("112", True, 999, "gum", 200, None),
        ("114", False, 276, None, None, None),
    ]  # fmt: skip
    # All that sells there sells here.
    assert states.filter("in_use").rows() == now.filter("in_use").select(states.columns).rows()


def test_like_another_machine_under_another_rule(tmp_path: Path) -> None:
    quay(tmp_path)
    layout = written(tmp_path, "-m", "quay-3", "--like", "quay-2", "--numbering", "sequence=1")
    assert (numbers(layout), [each.bus for each in layout.slots]) == ([1, 3, 5], [None] * 3)


def test_what_cannot_be_copied(tmp_path: Path) -> None:
    quay(tmp_path)
    route = ("--route", tmp_path, "-m", "quay-3")
    assert 'Did you mean "quay-2"' in refused(*route, "--like", "quay-1")
    assert "not both" in refused(*route, "--like", "quay-2", "110")
    assert "--like" in refused(*route, "--with-products", "110")
    assert "--route" in refused("--route", tmp_path / "none", "-m", "m", "--like", "quay-2", "-o", "-")


def test_nothing_that_stands_is_overwritten(tmp_path: Path) -> None:
    quay(tmp_path)
    before = (tmp_path / "layouts/quay-2.toml").read_bytes()
    assert "there already" in refused("--route", tmp_path, "-m", "quay-2", "110")
    assert (tmp_path / "layouts/quay-2.toml").read_bytes() == before
    (tmp_path / "layouts/quay-2.toml").rename(tmp_path / "layouts/other.toml")
    assert "layouts/other.toml is the layout of quay-2 already" in refused("--route", tmp_path, "-m", "quay-2", "110")
    place = tmp_path / "x.toml"
    place.write_text("mine")
    assert "there already" in refused("-m", "m", "110", "-o", place)
    assert place.read_text() == "mine"


def test_where_it_is_written(tmp_path: Path) -> None:
    assert "is no route folder" in refused("--route", tmp_path, "-m", "m", "110")
    out, _ = draft("-m", "m", "110", "-o", tmp_path / "deep/x.toml")
    assert Path(out.strip()).is_file()
    assert "ends in .toml" in refused("-m", "m", "110", "-o", tmp_path / "x.csv")
    assert '--machine "a b"' in refused("-m", "a b", "110", "-o", "-")
    assert '--machine "../x"' in refused("--route", RouteBuilder(tmp_path).root, "-m", "../x", "110")


def test_from_when_it_holds(tmp_path: Path) -> None:
    """By default from the start of today, in the route's zone."""
    RouteBuilder(tmp_path).settings(timezone="Asia/Tokyo")
    out, told = draft("--route", tmp_path, "-m", "m", "110", "-o", "-")
    assert "effective = 2026-09-30T00:00:00\n" in out
    assert "2026-09-30 00:00" in told
    out, told = draft("-m", "m", "110", "-o", "-", "--effective", "2026-08-03")
    assert "effective = 2026-08-03T00:00:00\n" in out
    assert "holds from" not in told
    for text in ("soon", "2026-08-03T07:00:00Z"):
        assert "--effective" in refused("-m", "m", "110", "-o", "-", "--effective", text)


def test_what_is_said_of_the_numbers() -> None:
    assert "3 of 3 slots have no bus number" in draft("-m", "m", "1-3", "-o", "-")[1]
    assert "does not fit label lobby:" in draft("-m", "m", "1-3", "lobby", "-o", "-", "--numbering", "same")[1]
    assert "1 (-4)" in draft("-m", "m", "1-3", "-o", "-", "--numbering", "offset=-5")[1]


def test_the_command_loads_no_polars(tmp_path: Path) -> None:
    code = (
        "import sys; from recon.cli.main import app\n"
        "try: app(['draft', 'layout', '-m', 'm', 'A1-A8', '-o', '-'])\n"
        "except SystemExit as stop: assert not stop.code, stop.code\n"
        "assert 'polars' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
