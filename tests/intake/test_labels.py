"""Labels that a spreadsheet changed: mended where one label of the layout fits, else told with those that may be meant.

What spreadsheets do to such texts is common practice, no source.
"""

from pathlib import Path

import pytest
from builders import RouteBuilder, of_kind, only, slot
from hypothesis import given, settings
from hypothesis import strategies as st
from inbox import notices, rejects, taken

from recon.intake.labels import candidates

LAYOUT = ["110", "112", "07", "A1", "3-1", "12-40", "1E2", "B12"]

STEADY = settings(deadline=None)
"""No limit of time: the first look at a format is slow."""


@pytest.mark.parametrize(
    ("written", "label"),
    [("110.0", "110"), ("110,0", "110"), ("110.00", "110"), ("1.10E+02", "110"), ("1.12e2", "112"), ("110 ", "110"),
     ("0110", "110"),
     ("7", "07"), ("007", "07"), ("7.0", "07"), ("a1", "A1"), ("b12", "B12"), ("'07", "07"), ('="07"', "07"),
      ("03-Jan", "3-1"),
     ("01-Mar", "3-1"), ("Mar-01", "3-1"), ("1. März", "3-1"), ("2026-03-01", "3-1"), ("2026-03-01 00:00:00", "3-1"),
      ("3/1/2026", "3-1"),
     ("3/1", "3-1"), ("46082", "3-1"), ("Dec-40", "12-40"), ("2040-12-01", "12-40"), ("100", "1E2"), ("1.00E+02",
      "1E2")],
)  # fmt: skip
def test_a_label_that_only_one_of_the_layout_can_have_become(written: str, label: str) -> None:
    assert candidates(written, LAYOUT) == [label]


@pytest.mark.parametrize(
    ("written", "labels", "fitting"),
    [("1.1E+02", ["110", "112", "130"], ["110", "112"]), ("03-Jan", ["3-1", "1-3"], ["3-1", "1-3"]), ("01-Mar",
     ["MAR1", "3-1"], ["MAR1", "3-1"]),
     ("1.1E+02", ["104", "105", "114", "115"], ["105", "114"]), ("1E+02", ["100", "1E2"], ["100", "1E2"]), ("7",
      ["07", "007"], ["07", "007"])],
)  # fmt: skip
def test_a_label_that_several_can_have_become_names_them(written: str, labels: list[str], fitting: list[str]) -> None:
    assert candidates(written, labels) == fitting


@pytest.mark.parametrize(
    "written",
    ["111", "110.5", "1.11E+02", "B1", "13-Jan", "2026-03-02", "45000", "1E+99999", "zz", "", "A 1", "-7", "Jan"],
)
def test_a_label_that_none_can_have_become(written: str) -> None:
    assert candidates(written, LAYOUT) == []


@STEADY
@given(
    st.text(max_size=12), st.lists(st.text(st.sampled_from("0123456789AEe-/.MAR"), min_size=1, max_size=6), max_size=6)
)
def test_any_text_is_no_traceback_and_gives_labels_of_the_layout(written: str, labels: list[str]) -> None:
    assert set(candidates(written, labels)) <= set(labels)


@STEADY
@given(st.integers(0, 9999), st.integers(1, 6))
def test_leading_zeros_and_decimals_lost_or_won_are_found(number: int, width: int) -> None:
    """Check: what a spreadsheet keeps of a label of digits is the number."""
    label = str(number).zfill(width)
    assert candidates(str(number), [label]) == [label]
    assert candidates(f"{float(number)}", [label]) == [label]
    assert candidates(f"{number:.{len(str(number)) - 1}E}", [label, f"{number + 1}"]) == [label]


SHEET = "machine,time,label,counted\n"


@pytest.mark.parametrize(
    ("header", "row"),
    [("machine,time,label,counted", "m-1,2026-09-14 09:00,{},4"), ("machine,time,label,loaded",
     "m-1,2026-09-14 09:00,{},4"),
     ("machine,time,label,tender", "m-1,2026-09-14 09:00,{},cash"), ("machine,label,note", "m-1,{},x")],
)  # fmt: skip
def test_mended_in_counts_loads_vends_and_tests(header: str, row: str, tmp_path: Path) -> None:
    rows = [row.format(label) for label in ("110.0", "112", "a4")]
    intake = taken(tmp_path, {"x.csv": "\n".join([header, *rows, ""])})
    [frame] = [each for each in (intake.counts, intake.loads, intake.vends, intake.tests) if each.height]
    assert frame["label"].to_list() == ["110", "112", "A4"]
    assert notices(intake) == [("label-repaired", "x.csv", 2), ("label-repaired", "x.csv", 4)]
    assert intake.notices["detail"].to_list() == ['label "110.0" read as 110', 'label "a4" read as A4']
    assert rejects(intake) == []


def test_what_several_labels_fit_is_rejected_with_them(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"x.csv": f"{SHEET}m-1,2026-09-14 09:00,1.1E+02,4\n"})
    assert [reason for _, _, reason, _ in rejects(intake)] == [
        'label "1.1E+02" is not in the layout of m-1; it may be 110 or 112'
    ]
    assert notices(intake) == []


def test_a_vend_whose_label_cannot_be_mended_is_kept(tmp_path: Path) -> None:
    """Its money was taken; only the slot is not known."""
    intake = taken(tmp_path, {"x.csv": "machine,time,label,price,tender\nm-1,2026-09-14 09:00,1.1E+02,1.75,cash\n"})
    assert intake.vends.select("label", "price").rows() == [("1.1E+02", 175)]
    assert notices(intake) == []


def test_a_label_of_the_layout_stands_as_it_is(tmp_path: Path) -> None:
    layout = 'machine = "z-1"\neffective = 2026-08-03T07:00:00\n' + "".join(
        f'[[slot]]\nlabel = "{label}"\nbus = {bus}\nproduct = "gum"\nprice = "1.75"\ncapacity = 10\n'
        for label, bus in (("7", 1), ("07", 2))
    )
    sheet = f"{SHEET}z-1,2026-09-14 09:00,7,4\nz-1,2026-09-14 09:00,07,4\n"
    intake = taken(tmp_path, {"layouts/z-1.toml": layout, "x.csv": sheet})
    assert intake.counts["label"].to_list() == ["7", "07"]
    assert notices(intake) == []


def test_mended_labels_are_told_once_for_each_file_machine_and_label(route: RouteBuilder) -> None:
    route.machine("m-1", slot("07", bus=7), slot("A1", bus=161))
    run = route.counts("09-01 09:00, 7, 9", "09-08 09:00, 7, 9", "09-08 09:00, a1, 9").run()
    one, two = sorted(of_kind(run, "label-repaired"), key=lambda found: found.label or "")
    assert (one.severity, one.machine, one.label, one.evidence_count) == ("note", "m-1", "07", 2)
    assert 'inbox/counts.csv: 2 rows of m-1 with label "7" read as 07' in one.message
    assert (two.label, two.evidence_count) == ("A1", 1)
    assert only(run.results.stock).label == "07"
