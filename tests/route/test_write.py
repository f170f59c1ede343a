"""Learned numbers in a layout: nothing else of the file changes, the rule is named where it holds, and what was in
force stays in the books (invented layouts; the reading of labels as hexadecimal numbers is int(label, 16))."""

import csv
import io
import re
import tomllib
from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recon.findings.layouts import check
from recon.match.numbering import number_of, numbers
from recon.match.timeline import slot_states
from recon.model.errors import ReconError, SettingsError
from recon.model.layout import Change, Grid, Layout, Numbering, Offset, Sequence, Slot
from recon.route.layout_text import layout_text
from recon.route.layouts import read_layout
from recon.route.write import difference, save, text_of, write_numbers

START = datetime(2026, 8, 3, 7)
LATER = datetime(2026, 9, 14, 7, 30)

COMMENTED = """\
# The lobby machine.
machine = "lobby-1"  # painted on its side
site = "Lobby"
effective = 2026-08-03T07:00:00

# The top tray is wide.
[[slot]]
label = "110"  # far left
product = "oat-bar"
price = "1.75"

  # indented, as some people like it
  [[slot]]
  label = "112"
  bus = 0x0_FF # read off the bus by hand
  product = "nut-mix"
  price = "2.50"

# what changed
[[change]]
from = 2026-08-10T09:00:00
label = "112"
price = "2.75"

[[slot]]  # added late
label = "114"
bus = 276
product = "gum"
price = "1.00"
# the end
"""


def write(folder: Path, text: str, name: str = "lobby-1.toml") -> Path:
    path = folder / name
    path.write_bytes(text.encode())
    return path


def learned(path: Path, bus: Mapping[str, int], rule: Numbering | None = None, **keys: object) -> str:
    return write_numbers(path, bus, rule, by_rule=numbers, **keys)  # type: ignore[arg-type]


def read(path: Path, text: str) -> Layout:
    save(path, text)
    found, problems = read_layout(path.parent, path.name)
    assert problems == []
    assert found is not None
    return found.layout


def in_force(layout: Layout, moment: datetime) -> dict[str, int | None]:
    """Label to number at that moment."""
    return {
        state.label: state.bus
        for state in slot_states(layout)
        if state.start <= moment and (state.end is None or moment < state.end)
    }


def test_only_the_numbers_of_the_text_change(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED)
    expected = COMMENTED.replace("far left\n", "far left\nbus = 272\n").replace("0x0_FF #", "274 #")
    assert learned(path, {"110": 272, "112": 274, "114": 276}) == expected
    assert path.read_text() == COMMENTED


def test_a_rule_that_explains_all_is_named_and_what_it_gives_is_left_out(tmp_path: Path) -> None:
    """110, 112 and 114 as hexadecimal numbers; 112 had another one written down."""
    path = write(tmp_path, COMMENTED)
    text = learned(path, {"110": 272, "112": 274, "114": 276}, "hex-label")
    expected = COMMENTED.replace('"Lobby"\n', '"Lobby"\nnumbering = "hex-label"\n').replace("0x0_FF #", "274 #")
    assert text == expected
    assert set(in_force(read(path, text), LATER).values()) == {int(label, 16) for label in ("110", "112", "114")}


def test_a_rule_with_an_exception_is_not_named(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED)
    text = learned(path, {"110": 272, "112": 5}, "hex-label")
    assert "numbering" not in text
    assert in_force(read(path, text), LATER) == {"110": 272, "112": 5, "114": 276}


def test_a_rule_that_a_number_of_the_file_contradicts_is_not_named(tmp_path: Path) -> None:
    """116 keeps the 5 that nobody asked about."""
    path = write(tmp_path, COMMENTED + '[[slot]]\nlabel = "116"\nbus = 5\nproduct = "gum"\nprice = "1.00"\n')
    layout = read(path, learned(path, {"110": 272, "112": 274}, "hex-label"))
    assert (layout.numbering, in_force(layout, LATER)) == (None, {"110": 272, "112": 274, "114": 276, "116": 5})


def test_a_rule_that_no_longer_holds_is_put_in_a_comment_and_its_numbers_are_written(tmp_path: Path) -> None:
    text = COMMENTED.replace("effective", 'numbering = "hex-label"  # from the price list\neffective')
    path = write(tmp_path, text.replace("bus = 0x0_FF # read off the bus by hand\n", ""))
    out = learned(path, {"114": 300})
    assert '# numbering = "hex-label"  # from the price list\n' in out
    assert in_force(read(path, out), LATER) == {"110": 272, "112": 274, "114": 300}


@pytest.mark.parametrize("written", ['"same"', "{ offset = -100 }", "{ grid = 10, first = 1 }"])
def test_a_rule_is_replaced_in_its_place(tmp_path: Path, written: str) -> None:
    head = f'machine = "m"\nnumbering = {written}  # tried\neffective = 2026-08-03\n'
    slots = "".join(f'\n[[slot]]\nlabel = "{label}"\nproduct = "gum"\nprice = "1"\n' for label in ("110", "112"))
    path = write(tmp_path, head + slots)
    out = learned(path, {"110": 272, "112": 274}, "hex-label")
    assert out == (head + slots).replace(written, '"hex-label"')


@pytest.mark.parametrize(
    ("rule", "text"),
    [
        (Offset(offset=-3), "{ offset = -3 }"),
        (Grid(grid=10, first=4), "{ grid = 10, first = 4 }"),
        (Sequence(sequence=9), "{ sequence = 9 }"),
        ("zero-based", '"zero-based"'),
    ],
)
def test_every_rule_is_written_so_that_it_reads_back(tmp_path: Path, rule: Numbering, text: str) -> None:
    path = write(tmp_path, re.sub("bus = .*\n", "", COMMENTED))
    out = learned(path, {}, rule)
    assert f"numbering = {text}\n" in out
    assert read(path, out).numbering == rule


def test_numbers_that_changed_are_dated(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED)
    out = learned(path, {"110": 272, "112": 274, "114": 276}, since=LATER)
    # 110 had no number that could have been in force; 114 has the number already.
    assert out == COMMENTED.replace("far left\n", "far left\nbus = 272\n") + (
        '\n[[change]]\nfrom = 2026-09-14T07:30:00\nlabel = "112"\nbus = 274\n'
    )
    layout = read(path, out)
    assert in_force(layout, LATER - timedelta(seconds=1)) == {"110": 272, "112": 255, "114": 276}
    assert in_force(layout, LATER) == {"110": 272, "112": 274, "114": 276}


def test_numbers_that_a_rule_gave_and_that_changed_are_dated(tmp_path: Path) -> None:
    text = COMMENTED.replace("site", 'numbering = "same"\nsite').replace(
        "bus = 0x0_FF # read off the bus by hand\n", ""
    )
    path = write(tmp_path, text.replace("bus = 276\n", ""))
    layout = read(path, learned(path, {"110": 272}, "hex-label", since=LATER))
    assert layout.numbering is None
    assert in_force(layout, START) == {"110": 110, "112": 112, "114": 114}
    assert in_force(layout, LATER) == {"110": 272, "112": 274, "114": 276}


def test_a_date_before_the_layout_is_a_correction(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED)
    assert learned(path, {"112": 274}, since=START) == COMMENTED.replace("0x0_FF #", "274 #")


CHANGED = COMMENTED + '\n[[change]]\nfrom = 2026-09-20T07:00:00\nlabel = "112"\nbus = 300\n'


def test_a_correction_goes_to_the_change_that_named_the_number_last(tmp_path: Path) -> None:
    path = write(tmp_path, CHANGED)
    assert learned(path, {"112": 274}) == CHANGED.replace("bus = 300", "bus = 274")


def test_a_dated_number_goes_before_the_labels_later_changes(tmp_path: Path) -> None:
    path = write(tmp_path, CHANGED)
    layout = read(path, learned(path, {"112": 274}, since=LATER))
    assert [in_force(layout, datetime(2026, 9, day))["112"] for day in (13, 15, 21)] == [255, 274, 300]
    assert [problem.kind for problem in check(path) if problem.kind.startswith("change")] == []


def test_a_dated_number_joins_the_labels_change_of_that_moment(tmp_path: Path) -> None:
    path = write(tmp_path, CHANGED)
    out = learned(path, {"112": 274}, since=datetime(2026, 8, 10, 9))
    assert out == CHANGED.replace('label = "112"\nprice = "2.75"', 'label = "112"\nbus = 274\nprice = "2.75"')


def test_labels_that_the_layout_lacks_become_slots_out_of_use(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED)
    out = learned(path, {"116": 278, "11\u00e9": 5})
    layout = read(path, out)
    assert [(slot.label, slot.bus, slot.product) for slot in layout.slots[3:]] == [("116", 278, None), ("11é", 5, None)]
    by_comment = out.replace('\n[[slot]]\nlabel = "116"\nbus = 278\n\n[[slot]]\nlabel = "11é"\nbus = 5\n', "")
    assert by_comment == COMMENTED


def test_pitches_are_written_with_the_numbers(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED)
    layout = read(
        path,
        learned(
            path, {"110": 5, "112": 7, "114": 9}, Sequence(sequence=5), pitches=dict.fromkeys(("110", "112", "114"), 2)
        ),
    )
    assert [slot.pitch for slot in layout.slots] == [2, 2, 2]
    assert layout.numbering == Sequence(sequence=5)
    assert numbers(layout) == [5, 7, 9]


def test_line_ends_and_the_byte_order_mark_stay(tmp_path: Path) -> None:
    path = write(tmp_path, "\ufeff" + COMMENTED.replace("\n", "\r\n"))
    out = learned(path, {"110": 272, "112": 274}, "hex-label", since=LATER)
    assert out.startswith("\ufeff")
    assert out.replace("\r\n", "").count("\n") == 0
    save(path, out)
    assert path.read_bytes().startswith(b"\xef\xbb\xbf#")
    assert text_of(path) == out


def test_a_file_without_a_last_line_end(tmp_path: Path) -> None:
    text = 'machine = "m"\neffective = 2026-08-03\n[[slot]]\nlabel = "7"'
    path = write(tmp_path, text)
    assert learned(path, {"7": 9}) == f"{text}\nbus = 9"
    assert in_force(read(path, learned(path, {"8": 3})), LATER) == {"7": None, "8": 3}


def test_slots_within_one_array(tmp_path: Path) -> None:
    array = 'slot = [\n  { label = "7", product = "gum" },  # one\n  { bus = 3, label = "8" },\n]\n'
    text = f'machine = "m"\neffective = 2026-08-03\n{array}'
    path = write(tmp_path, text)
    assert learned(path, {"7": 9, "8": 4}) == text.replace('"7",', '"7", bus = 9,').replace("bus = 3", "bus = 4")
    with pytest.raises(ReconError, match=r"m.*within one array|within one array"):
        learned(path, {"9": 9})


def test_what_cannot_be_edited_with_certainty_is_refused_and_stays(tmp_path: Path) -> None:
    text = 'machine = "m"\neffective = 2026-08-03\n[numbering]\noffset = 5\n[[slot]]\nlabel = "7"\n'
    path = write(tmp_path, text)
    with pytest.raises(ReconError, match="on one line"):
        learned(path, {"7": 9}, "same")
    assert path.read_text() == text
    path = write(tmp_path, 'machine = "m"\nsite = """\nin\ntwo"""\neffective = 2026-08-03\n[[slot]]\nlabel = "7"\n')
    with pytest.raises(ReconError, match="by hand"):
        learned(path, {"7": 7}, "same")


def test_a_file_with_faults_is_not_edited(tmp_path: Path) -> None:
    with pytest.raises(SettingsError):
        learned(write(tmp_path, COMMENTED.replace("site", "sight")), {"110": 1})


def test_a_new_layout(tmp_path: Path) -> None:
    path = tmp_path / "hall-7.toml"
    layout = read(path, learned(path, {"110": 272, "112": 274}, "hex-label", since=START))
    assert (layout.machine, layout.numbering, layout.effective) == ("hall-7", "hex-label", START)
    assert [(slot.label, slot.bus) for slot in layout.slots] == [("110", None), ("112", None)]
    assert check(path) == []
    path.unlink()
    layout = read(path, learned(path, {"110": 272, "112": 5}, "hex-label", since=START))
    assert (layout.numbering, [slot.bus for slot in layout.slots]) == (None, [272, 5])
    path.unlink()
    with pytest.raises(ReconError, match="from which local time"):
        learned(path, {"110": 272})
    with pytest.raises(ReconError, match="id of a machine"):
        learned(path, {"110": 272}, since=START, machine="a b")


def test_the_difference_is_a_unified_diff(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED.replace("\n", "\r\n"))
    told = difference(path, learned(path, {"110": 272}))
    changed = [line for line in told.splitlines() if line[:1] in ("+", "-")]
    assert changed[2:] == ["+bus = 272"]
    assert difference(path, text_of(path)) == ""
    new = tmp_path / "new.toml"
    assert difference(new, learned(new, {"1": 1}, since=START)).startswith("--- /dev/null\n")


def test_saving_keeps_the_files_mode_and_leaves_nothing_beside(tmp_path: Path) -> None:
    path = write(tmp_path, COMMENTED)
    path.chmod(0o640)
    save(path, "x = 1\r\n")
    assert (path.read_bytes(), path.stat().st_mode & 0o777) == (b"x = 1\r\n", 0o640)
    assert [each.name for each in tmp_path.iterdir()] == ["lobby-1.toml"]
    with pytest.raises(ReconError, match="was not written"):
        save(path / "below", "x")


TABLE = (
    "machine,from,label,bus,tray,product,price\n"
    'climb-1,2026-08-03T07:00:00,A1,10,"top, left",seed-bar,2.25\n'
    "climb-1,2026-08-03T07:00:00,A2,,top,nut-mix,2.75\n"
    "\n"
    "climb-1,2026-09-01T07:00:00,A1,,,,2.50\n"
)


def test_cells_of_a_table(tmp_path: Path) -> None:
    path = write(tmp_path, TABLE, "climb-1.csv")
    assert learned(path, {"A1": 161, "A2": 162}, "hex-label") == TABLE.replace("A1,10", "A1,161").replace(
        "A2,,", "A2,162,"
    )


def test_a_rule_fills_the_cells_of_a_table_that_cannot_name_it(tmp_path: Path) -> None:
    path = write(tmp_path, TABLE.replace("A1,10", "A1,161"), "climb-1.csv")
    assert in_force(read(path, learned(path, {"A1": 161}, "hex-label")), LATER) == {"A1": 161, "A2": 162}


def test_dated_numbers_and_new_slots_of_a_table(tmp_path: Path) -> None:
    path = write(tmp_path, TABLE, "climb-1.csv")
    out = learned(path, {"A1": 161, "A3": 163}, since=LATER)
    assert out == TABLE + "climb-1,2026-08-03T07:00:00,A3,163,,,\nclimb-1,2026-09-14T07:30:00,A1,161,,,\n"
    early = learned(path, {"A1": 161}, since=datetime(2026, 8, 20))
    layout = read(path, early)
    assert [in_force(layout, datetime(2026, 8, day))["A1"] for day in (19, 21)] == [10, 161]
    # A2 never had a number.
    assert [(problem.kind, problem.label) for problem in check(path)] == [("missing-number", "A2")]


def test_a_table_without_the_column(tmp_path: Path) -> None:
    text = "label;machine;from\r\nA1;m;2026-08-03\r\nA2;m;2026-08-03\r\n"
    path = write(tmp_path, text, "m.csv")
    expected = "label;machine;from;bus\r\nA1;m;2026-08-03\r\nA2;m;2026-08-03;7\r\n"
    assert learned(path, {"A2": 7}) == expected


def test_a_new_table(tmp_path: Path) -> None:
    path = tmp_path / "m.csv"
    layout = read(path, learned(path, {"A,1": 161, "A2": 162}, "hex-label", since=START))
    assert [(slot.label, slot.bus) for slot in layout.slots] == [("A,1", 161), ("A2", 162)]
    assert list(csv.reader(io.StringIO(path.read_text())))[1][2] == "A,1"


texts = (
    st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), min_size=1, max_size=8)
    .map(str.strip)
    .filter(bool)
)
labels = st.from_regex(r"[0-9]{1,3}|[A-F][0-9]", fullmatch=True)
number = st.integers(0, 65534)
rules = st.one_of(
    st.none(), st.sampled_from(["same", "hex-label", "zero-based", "ascii-pair"]),
    st.builds(Offset, offset=st.integers(-5, 500)), st.builds(Grid, grid=st.integers(1, 30), first=number),
    st.builds(Sequence, sequence=st.integers(0, 1000)),
)  # fmt: skip
moments = st.datetimes(START, datetime(2026, 12, 1)).map(lambda moment: moment.replace(microsecond=0))


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    named = draw(st.lists(labels, min_size=1, max_size=8, unique=True))
    maybe = {
        "bus": st.none() | number,
        "product": st.none() | texts,
        "pitch": st.integers(1, 2),
        "tray": st.none() | texts,
    }
    slots = [Slot(label=label, **{key: draw(value) for key, value in maybe.items()}) for label in named]
    changes = [
        Change(
            start=draw(moments),
            label=draw(st.sampled_from(named)),
            bus=draw(st.none() | number),
            retire=draw(st.booleans()),
        )
        for _ in range(draw(st.integers(0, 4)))
    ]
    changes = list({(change.start, change.label): change for change in changes}.values())
    changes.sort(key=lambda change: change.start)
    keys = {"site": draw(st.none() | texts), "numbering": draw(rules)}
    return Layout(machine="m-1", effective=START, slots=slots, changes=changes, **keys)


@st.composite
def files(draw: st.DrawFn) -> tuple[Layout, str]:
    """A layout and its text with comments, blank lines and blocks in any order."""
    layout = draw(layouts())
    head, *blocks = layout_text(layout).split("\n\n")
    slots = [block for block in blocks if block.startswith("[[slot]]")]
    changes = [block for block in blocks if block.startswith("[[change]]")]
    woven = [head.rstrip("\n")]
    while slots or changes:
        source = draw(st.sampled_from([each for each in (slots, changes) if each]))
        woven.append(source.pop(0).rstrip("\n"))
    remark = st.sampled_from(["", "# a remark", "  # label = 5", '# [[slot]] "', "#"])
    lines: list[str] = []
    for block in woven:
        lines += [draw(remark)] if draw(st.booleans()) else []
        indent = draw(st.sampled_from(["", "  ", "\t"]))
        lines += [f"{indent}{line}{draw(st.sampled_from(['', '', '  # why']))}" for line in block.split("\n")]
        lines += [draw(remark)] if draw(st.booleans()) else []
    text = "\n".join(lines) + draw(st.sampled_from(["", "\n"]))
    return layout, text.replace("\n", draw(st.sampled_from(["\n", "\r\n"])))


def bare(layout: Layout) -> list[object]:
    """All of a layout but its numbers."""
    plain = {"bus": None}
    return [
        layout.machine, layout.site, layout.effective, [slot.model_copy(update=plain) for slot in layout.slots],
        {(change.start, change.label, change.retire, change.product) for change in layout.changes if change.retire},
    ]  # fmt: skip


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
@given(files(), st.data())
def test_any_layout_and_numbers_differ_in_numbers_alone(
    tmp_path_factory: pytest.TempPathFactory, file: tuple[Layout, str], data: st.DataObject
) -> None:
    layout, text = file
    path = write(tmp_path_factory.mktemp("layouts"), text, "m-1.toml")
    named = [slot.label for slot in layout.slots]
    asked = data.draw(st.dictionaries(st.sampled_from(named), number, max_size=len(named)))
    rule = data.draw(rules)
    if rule is not None and data.draw(st.booleans()):
        asked = {
            label: bus for at, label in enumerate(named)
            if (bus := number_of(rule, label, at, layout.slots)) is not None and 0 <= bus <= 65534
        }  # fmt: skip
    since = data.draw(st.none() | moments)
    out = learned(path, asked, rule, since=since)
    # Every line that holds no number stands as it was, in the same order.
    holds_number = re.compile(r"\s*(?:bus|numbering|# numbering)\b")
    kept = [line for line in text.splitlines(keepends=True) if not holds_number.match(line)]
    there = iter(line.rstrip("\r\n") for line in out.splitlines(keepends=True))
    assert all(line.rstrip("\r\n") in there for line in kept)
    after = read(path, out)
    assert bare(after) == bare(layout)
    # The numbers hold from then on: up to the label's next change that names one, where they are dated.
    for label, bus in asked.items():
        if since is None:
            assert in_force(after, datetime(2027, 1, 1))[label] == bus
        else:
            assert in_force(after, since)[label] == bus
    # What was in force before is untouched, where the change is dated.
    if since is not None and rule in (None, layout.numbering):
        before = in_force(layout, START)
        for label in named:
            if before[label] is not None and since > START:
                assert in_force(after, START)[label] == before[label]
    assert [
        p.kind for p in check(path) if p.kind in ("rule-disagrees", "bad-value", "unknown-key", "change-out-of-order")
    ] == []


@settings(max_examples=150, deadline=None)
@given(layouts())
def test_a_layouts_text_reads_back_as_that_layout(layout: Layout) -> None:
    assert Layout.model_validate(tomllib.loads(layout_text(layout))) == layout
