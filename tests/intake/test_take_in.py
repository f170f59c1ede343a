"""The whole inbox: every row is accepted, a duplicate or rejected; what is told twice counts once."""

from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from inbox import NOW, account, notices, rejects, route_of, taken

from recon.intake import recurring
from recon.intake.take_in import Intake, take_in
from recon.model.frames import BY_KIND
from recon.model.words import FILE_KINDS

VENDS = "machine,time,bus,price,tender,reference\n"
COUNTS = "machine,time,label,counted\n"
CASH = "machine,time,total\n"
LOADS = "machine,time,label,loaded\n"


def vend(minute: int, reference: str = "", price: str = "1.75") -> str:
    return f"m-1,2026-09-14 09:{minute:02},272,{price},cash,{reference}\n"


# --- what is told twice ---


def test_a_reference_in_two_exports_is_one_vend(tmp_path: Path) -> None:
    intake = taken(
        tmp_path,
        {"a.csv": VENDS + vend(1, "r1") + vend(2, "r2"), "b.csv": VENDS + vend(2, "r2") + vend(3, "r3")},
    )
    assert intake.vends["reference"].to_list() == ["r1", "r2", "r3"]
    assert account(intake) == {"a.csv": (2, 2, 0, 0), "b.csv": (2, 1, 1, 0)}
    assert intake.notices.select("kind", "file", "row", "other_file", "other_row").rows() == [
        ("duplicate-row", 1, 2, 0, 3)
    ]


def test_a_reference_twice_in_one_file_is_one_vend(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": VENDS + vend(1, "r1") * 3})
    assert account(intake) == {"a.csv": (3, 1, 2, 0)}


def test_one_reference_for_two_different_vends_counts_both_and_says_so(tmp_path: Path) -> None:
    intake = taken(
        tmp_path, {"a.csv": VENDS + vend(1, "r1") + vend(1, "r1", "2.00"), "b.csv": VENDS + vend(5, "r1")}
    )
    assert intake.vends.height == 3
    found = intake.notices.select("kind", "file", "row", "other_file", "other_row", "detail").rows()
    assert found == [("reference-reused", 0, 3, 0, 2, "r1"), ("reference-reused", 1, 2, 0, 2, "r1")]


def test_a_reference_of_another_machine_is_another_reference(tmp_path: Path) -> None:
    other = vend(1, "r1").replace("m-1", "m-2")
    intake = taken(tmp_path, {"a.csv": VENDS + vend(1, "r1") + other})
    assert (intake.vends.height, notices(intake)) == (2, [])


def test_rows_without_a_reference_count_as_often_as_the_file_that_has_them_most(tmp_path: Path) -> None:
    """Two vends of one slot in one minute are real; that the next export tells them again is not a third."""
    files = {
        "a.csv": VENDS + vend(1) * 2 + vend(2),
        "b.csv": VENDS + vend(1) * 3,
        "c.csv": VENDS + vend(1) + vend(4),
    }
    intake = taken(tmp_path, files)
    assert account(intake) == {"a.csv": (3, 3, 0, 0), "b.csv": (3, 1, 2, 0), "c.csv": (2, 1, 1, 0)}
    assert intake.vends["time"].dt.minute().to_list() == [1, 1, 2, 1, 4]


def test_twins_in_one_file_are_two_vends(tmp_path: Path) -> None:
    assert account(taken(tmp_path, {"a.csv": VENDS + vend(1) * 2})) == {"a.csv": (2, 2, 0, 0)}


@pytest.mark.parametrize(("header", "row", "each_once"), [
    (COUNTS, "m-1,2026-09-14 09:00,110,4\n", True), (CASH, "m-1,2026-09-14 09:00,10.00\n", False),
    (LOADS, "m-1,2026-09-14 09:00,110,4\n", False),
])  # fmt: skip
def test_how_things_stood_is_told_once_what_was_done_as_often_as_it_was_done(
    header: str, row: str, each_once: bool, tmp_path: Path
) -> None:
    """A count told twice in one file is one; two equal loads, or two bags of one collection, are two."""
    assert account(taken(tmp_path, {"a.csv": header + row * 2})) == {
        "a.csv": (2, 1, 1, 0) if each_once else (2, 2, 0, 0)
    }


@pytest.mark.parametrize(("header", "row"), [
    (VENDS, vend(1)), (VENDS, vend(1, "r1")), (COUNTS, "m-1,2026-09-14 09:00,110,4\n"),
    (LOADS, "m-1,2026-09-14 09:00,110,4\n"),
    (CASH, "m-1,2026-09-14 09:00,10.00\n"), ("paid_on,net\n", "2026-09-14,10.00\n"),
    ("machine,label\n", "m-1,110\n"),
])  # fmt: skip
def test_the_same_file_under_two_names_counts_once(header: str, row: str, tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": header + row, "b.csv": header + row})
    assert account(intake) == {"a.csv": (1, 1, 0, 0), "b.csv": (1, 0, 1, 0)}
    assert intake.inputs["sha256"].n_unique() == 1
    assert sorted(notices(intake), key=str) == [
        ("duplicate-row", "b.csv", 2),
        ("duplicate-row", "b.csv", None),
    ]


def test_a_vend_that_comes_back_in_another_state_is_one_vend_in_its_newest(tmp_path: Path) -> None:
    head = VENDS.replace("reference", "outcome,reference")
    first, later = (vend(1, f"{outcome},r1") for outcome in ("vended", "refunded"))
    intake = taken(tmp_path, {"a.csv": head + first, "b.csv": head + later + vend(9, "vended,r2")})
    assert intake.vends.select("file", "outcome", "reference").rows() == [
        (1, "refunded", "r1"),
        (1, "vended", "r2"),
    ]
    assert account(intake) == {"a.csv": (1, 0, 1, 0), "b.csv": (2, 2, 0, 0)}
    assert notices(intake) == [("vend-changed", "a.csv", 2)]


def test_a_corrected_count_is_no_duplicate(tmp_path: Path) -> None:
    row = "m-1,2026-09-14 09:00,110,"
    intake = taken(tmp_path, {"a.csv": f"{COUNTS}{row}4\n", "b.csv": f"{COUNTS}{row}5\n{row}\n"})
    assert intake.counts["counted"].to_list() == [4, 5, None]


def test_an_empty_cell_is_part_of_what_a_row_says(tmp_path: Path) -> None:
    intake = taken(
        tmp_path,
        {"a.csv": VENDS + vend(1, price=""), "b.csv": VENDS + vend(1, price="") + vend(1, price="0")},
    )
    assert account(intake) == {"a.csv": (1, 1, 0, 0), "b.csv": (2, 1, 1, 0)}


# --- files that are none ---


def test_files_that_cannot_be_read_do_not_stop_the_others(tmp_path: Path) -> None:
    intake = taken(tmp_path, {
        "a.csv": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "b.csv": "", "c.csv": b"machine,caf\x81\n",
        "d.csv": 'machine,"label\n',
        "e.csv": "machine,label,machine\n", "f.csv": VENDS + vend(1),
    })  # fmt: skip
    unreadable = [("unreadable-file", f"{name}.csv", None) for name in "abcd"]
    assert notices(intake) == [*unreadable, ("unknown-format", "e.csv", None)]
    assert account(intake) == {f"{name}.csv": (0, 0, 0, 0) for name in "abcde"} | {"f.csv": (1, 1, 0, 0)}
    assert intake.inputs["kind"].to_list() == [None] * 5 + ["vends"]
    assert (
        intake.inputs["sha256"].to_list()[1]
        == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    )


def test_a_file_that_nothing_speaks_for_is_rejected_row_by_row(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": 'Alpha,Beta\n1,"two\nlines"\n3\n'})
    assert notices(intake) == [("unknown-format", "a.csv", None)]
    assert [(row, text) for _, row, _, text in rejects(intake)] == [(2, '1,"two\nlines"'), (4, "3")]


def test_hidden_files_and_backups_are_passed_over_and_folders_searched(tmp_path: Path) -> None:
    files = {
        name: VENDS + vend(1)
        for name in (".DS_Store", "~lock.csv", "a.csv~", "inbox/.git/x.csv", "inbox/2026/09/b.csv")
    }
    assert taken(tmp_path, files).paths == ["inbox/2026/09/b.csv"]


def test_a_header_alone_gives_no_rows(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": VENDS, "b.csv": COUNTS})
    assert account(intake) == {"a.csv": (0, 0, 0, 0), "b.csv": (0, 0, 0, 0)}
    assert intake.inputs["kind"].to_list() == ["vends", "counts"]


def test_no_inbox_is_an_empty_intake(tmp_path: Path) -> None:
    intake = taken(tmp_path, {})
    assert all(getattr(intake, kind).columns == BY_KIND[kind].names for kind in FILE_KINDS)
    assert intake.inputs.height == 0


def test_every_file_is_told_before_it_is_read(tmp_path: Path) -> None:
    told: list[str] = []
    take_in(route_of(tmp_path, {"b.csv": VENDS, "a.csv": COUNTS}), now=NOW, on_file=told.append)
    assert told == ["inbox/a.csv", "inbox/b.csv"]


# --- for any inbox ---

CELLS = {
    "machine": ["m-1", "m-1", "m-1", "y-1", "new", ""],
    "time": ["2026-09-14 09:00", "2026-09-14 09:01", "14/09/2026 09:00", "2026-09-14T12:00:00Z",
    "2026-11-01 09:00", "1970-01-01", "soon", ""],
    "label": ["110", "112", "A4", "1", "ZZ", ""],
    "bus": ["272", "274", "65535", "70000", "x", ""],
    "price": ["1.75", "2", "655.35", "1,75", ""],
    "tender": ["cash", "card", "Cash", "barter", ""],
    "outcome": ["vended", "failed", "refunded", "lost", ""],
    "reference": ["r1", "r2", ""],
    "counted": ["0", "4", "-1", "x", ""],
    "loaded": ["0", "6", "x", ""],
    "total": ["10.00", "x", ""],
    "paid_on": ["2026-09-14", "2026-10-30", "x", ""],
    "net": ["10.00", "-1.00", "x", ""],
    "note": ["", "a", 'he said "no"', "two\nlines", "a,b"],
}  # fmt: skip
HEADERS = [
    ("machine", "time", "bus", "price", "tender", "reference"),
    ("machine", "time", "label", "bus", "price", "tender"),
    ("machine", "time", "label", "counted", "loaded", "note"), ("machine", "time", "label", "loaded", "note"),
    ("machine", "time", "total", "note"), ("paid_on", "machine", "net", "reference"),
    ("machine", "label", "note"),
    ("alpha", "beta"),
]  # fmt: skip
CHANGING = ("machine", "time", "bus", "price", "tender", "outcome", "reference")
"""A vend that comes back in another state counts in its newest, which of two exports that reach equally far
the names decide.
"""
DAMAGE = ["", "", "", "", "\n", ",,,,,,\n", "torn\n", "a,b,c,d,e,f,g,h,i\n"]


def quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if set(cell) & set('",\n') else cell


@st.composite
def files(draw: st.DrawFn, headers: list[tuple[str, ...]]) -> str:
    """A file of any kind, of good, bad, repeated, torn and blank rows."""
    header = draw(st.sampled_from(headers))
    row = st.tuples(*(st.sampled_from(CELLS.get(field, ["1", "x", ""])) for field in header))
    rows = draw(st.lists(row, max_size=6))
    rows += draw(st.lists(st.sampled_from(rows), max_size=3)) if rows else []
    text = ",".join(header) + "\n"
    for cells in rows:
        text += ",".join(quoted(cell) for cell in cells) + "\n" + draw(st.sampled_from(DAMAGE))
    return text


def content(intake: Intake) -> dict[str, Counter[tuple[object, ...]]]:
    """What was accepted, whichever file it came from."""
    return {kind: Counter(getattr(intake, kind).drop("file", "row").rows()) for kind in FILE_KINDS}


INBOXES = st.lists(files([*HEADERS, CHANGING, CHANGING]), min_size=1, max_size=4)
STEADY = st.lists(files(HEADERS), min_size=1, max_size=4)
FEW = settings(max_examples=15, deadline=None)
"""Each example writes and reads a whole folder, which takes its time on a busy machine."""


@FEW
@given(INBOXES)
def test_every_row_is_accepted_a_duplicate_or_rejected(texts: list[str]) -> None:
    with TemporaryDirectory() as folder:
        intake = taken(Path(folder), {f"{at}.csv": text for at, text in enumerate(texts)})
    for file, row, _, original in rejects(intake):
        assert original
        lines = texts[int(file.removesuffix(".csv"))].split("\n")
        assert "\n".join(lines[row - 1 :]).startswith(original)


@FEW
@given(STEADY)
def test_the_names_of_the_files_do_not_matter(texts: list[str]) -> None:
    with TemporaryDirectory() as one, TemporaryDirectory() as two:
        there = taken(Path(one), {f"{at}.csv": text for at, text in enumerate(texts)})
        back = taken(Path(two), {f"{9 - at}.csv": text for at, text in enumerate(texts)})
    assert content(there) == content(back)
    assert there.rejects.height == back.rejects.height


@FEW
@given(INBOXES)
def test_an_inbox_told_twice_gives_no_more_than_told_once(texts: list[str]) -> None:
    named = {f"{at}.csv": text for at, text in enumerate(texts)}
    with TemporaryDirectory() as one, TemporaryDirectory() as two:
        once = taken(Path(one), named)
        twice = taken(Path(two), named | {f"again-{name}": text for name, text in named.items()})
    assert content(once) == content(twice)


@FEW
@given(INBOXES)
def test_texts_that_recur_are_read_like_texts_that_do_not(texts: list[str]) -> None:
    """Columns of many rows are read once for each text that recurs; here two rows are many."""
    named = {f"{at}.csv": text for at, text in enumerate(texts)}
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        one_by_one = taken(Path(folder), named)
        patch.setattr(recurring, "_MANY", 2)
        by_texts = taken(Path(folder), named)
    for name in (*FILE_KINDS, "rejects", "notices", "inputs"):
        assert getattr(one_by_one, name).equals(getattr(by_texts, name))


def test_the_route_is_read_the_same_from_any_order_of_rows(tmp_path: Path) -> None:
    rows = [vend(minute, f"r{minute}") for minute in range(8)]
    there = taken(tmp_path / "1", {"a.csv": VENDS + "".join(rows)})
    back = taken(tmp_path / "2", {"a.csv": VENDS + "".join(reversed(rows))})
    assert content(there) == content(back)
    assert there.vends["row"].to_list() == back.vends["row"].to_list() == list(range(2, 10))
