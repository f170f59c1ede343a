"""Which description speaks for a file, and what is said where none does."""

from pathlib import Path

import pytest
from inbox import route_of

from recon.intake.describe import Reading, UnknownFormat, meets, reading_for
from recon.model.source import FIELDS, REQUIRED
from recon.model.words import FILE_KINDS, FileKind

OWN = {
    "vends": "machine,time,bus,price,tender,outcome,reference",
    "counts": "machine,time,label,counted,loaded,removed,counter",
    "loads": "machine,time,label,loaded,removed,reason",
    "cash": "machine,time,total,tubes",
    "payouts": "paid_on,from,to,gross,fees,net,reference",
    "tests": "machine,label,time,note",
}
SOURCE = """kind = "vends"
files = ["*sales*.csv"]
[columns]
machine = "Terminal"
time = "Date/Time"
bus = "Item No"
tender = "Paid by"
"""
HEADER = ("Terminal", "Date/Time", "Item No", "Paid by", "Amount")


def reading(root: Path, name: str, header: tuple[str, ...] | str, **sources: str) -> Reading:
    route = route_of(root, {f"sources/{stem}.toml": text for stem, text in sources.items()})
    columns = tuple(header.split(",")) if isinstance(header, str) else header
    return reading_for(f"inbox/{name}", columns, route)


def refusal(root: Path, name: str, header: tuple[str, ...] | str, **sources: str) -> str:
    with pytest.raises(UnknownFormat) as error:
        reading(root, name, header, **sources)
    return str(error.value)


@pytest.mark.parametrize("kind", FILE_KINDS)
def test_a_file_in_our_own_names_needs_no_description(kind: FileKind, tmp_path: Path) -> None:
    found = reading(tmp_path, "anything.csv", OWN[kind])
    assert (found.kind, found.name, found.machine) == (kind, None, None)
    assert found.columns == {field: field for field in OWN[kind].split(",")}


@pytest.mark.parametrize("kind", FILE_KINDS)
def test_our_own_names_in_any_case_and_order_with_strangers_beside_them(
    kind: FileKind, tmp_path: Path
) -> None:
    fields = OWN[kind].upper().split(",")
    found = reading(tmp_path, "x.csv", ("weather", *reversed(fields)))
    assert found.kind == kind
    assert set(found.columns.values()) == set(fields)


@pytest.mark.parametrize("kind", FILE_KINDS)
def test_the_least_that_a_kind_needs_is_enough(kind: FileKind, tmp_path: Path) -> None:
    least = [field for alternatives in REQUIRED[kind] for field in alternatives[0]]
    assert meets(kind, least)
    assert reading(tmp_path, "x.csv", tuple(least)).kind == kind
    for field in least:
        assert not meets(kind, set(least) - {field})


def test_date_and_clock_stand_for_a_time(tmp_path: Path) -> None:
    found = reading(tmp_path, "x.csv", "machine,date,clock,label,counted")
    assert found.kind == "counts"
    assert {"date", "clock"} <= set(found.columns)
    assert not meets("counts", ["machine", "date", "label", "counted"])


def test_a_count_sheet_with_loads_is_a_count_sheet(tmp_path: Path) -> None:
    assert reading(tmp_path, "x.csv", OWN["counts"]).kind == "counts"
    assert reading(tmp_path, "x.csv", OWN["counts"].replace("counted,", "")).kind == "loads"


@pytest.mark.parametrize(
    ("header", "wrong", "meant"),
    [("machine,time,label,counted,loadded", "loadded", "loaded"),
     ("machine,time,bus,tender,prise", "prise", "price"),
     ("paid_on,net,grosss", "grosss", "gross"), ("machine,time,total,tubs", "tubs", "tubes")],
)  # fmt: skip
def test_a_slip_of_the_pen_is_refused_with_the_name_that_was_meant(
    header: str, wrong: str, meant: str, tmp_path: Path
) -> None:
    said = refusal(tmp_path, "x.csv", header)
    assert f'"{wrong}"' in said
    assert f'did you mean "{meant}"' in said


def test_a_header_that_is_nobodys_names_what_was_found_and_what_is_lacking(tmp_path: Path) -> None:
    said = refusal(tmp_path, "x.csv", "machine,time,label,quantity")
    assert "machine, time, label, quantity" in said
    assert "tender" in said
    assert "sources/" in said
    assert "Alpha, Beta" in refusal(tmp_path, "x.csv", "Alpha,Beta")


@pytest.mark.parametrize("name", ["sales-39.csv", "SALES-39.CSV", "2026/weekly-Sales.csv"])
def test_a_description_speaks_for_the_names_that_it_gives(name: str, tmp_path: Path) -> None:
    found = reading(tmp_path, name, HEADER, log=SOURCE)
    assert (found.kind, found.name) == ("vends", "log")
    assert found.columns == {
        "machine": "Terminal",
        "time": "Date/Time",
        "bus": "Item No",
        "tender": "Paid by",
    }


def test_the_columns_of_a_description_are_found_in_any_case(tmp_path: Path) -> None:
    header = tuple(column.upper() for column in HEADER)
    assert reading(tmp_path, "sales.csv", header, log=SOURCE).columns["time"] == "DATE/TIME"


def test_two_descriptions_for_one_file_are_refused_by_name(tmp_path: Path) -> None:
    other = SOURCE.replace("*sales*", "sales-*")
    said = refusal(tmp_path, "sales-39.csv", HEADER, log=SOURCE, other=other)
    assert "sources/log.toml" in said
    assert "sources/other.toml" in said
    assert reading(tmp_path, "my-sales.csv", HEADER, log=SOURCE, other=other).name == "log"


def test_a_column_that_is_not_there_is_told_with_its_place_and_the_nearest(tmp_path: Path) -> None:
    said = refusal(tmp_path, "sales.csv", ("Terminal", "Date/Time", "Item Nr", "Paid by"), log=SOURCE)
    line = SOURCE.splitlines().index('bus = "Item No"') + 1
    assert f"sources/log.toml:{line}:" in said
    assert '"Item No"' in said
    assert 'nearest: "Item Nr"' in said
    assert "Terminal, Date/Time, Item Nr, Paid by" in said


def test_a_description_without_columns_is_about_our_own_names(tmp_path: Path) -> None:
    bare = 'kind = "vends"\nfiles = ["till*.csv"]\ntimezone = "UTC"\n'
    found = reading(tmp_path, "till-1.csv", OWN["vends"], till=bare)
    assert (found.kind, found.name, found.source.timezone) == ("vends", "till", "UTC")
    assert found.columns == {field: field for field in OWN["vends"].split(",")}
    said = refusal(tmp_path, "till-1.csv", "Terminal,Item", till=bare)
    assert "sources/till.toml" in said
    assert "[columns]" in said


def test_the_machine_may_be_fixed(tmp_path: Path) -> None:
    fixed = SOURCE.replace('machine = "Terminal"\n', "").replace("[columns]", 'machine = "m-1"\n[columns]')
    found = reading(tmp_path, "sales.csv", HEADER, log=fixed)
    assert found.machine == "m-1"
    assert "machine" not in found.columns
    own = 'kind = "vends"\nfiles = ["till*.csv"]\nmachine = "m-1"\n'
    assert reading(tmp_path, "till.csv", "time,bus,tender", till=own).machine == "m-1"


def test_the_machine_may_stand_in_the_name_of_the_file(tmp_path: Path) -> None:
    named = SOURCE.replace('machine = "Terminal"\n', "").replace(
        "[columns]", 'machine_from_name = \'sales-(.+)-\\d{4}\'\n[machines]\n"0423" = "m-1"\n[columns]'
    )
    assert reading(tmp_path, "sales-y-1-2026.csv", HEADER, log=named).machine == "y-1"
    assert reading(tmp_path, "sales-0423-2026.csv", HEADER, log=named).machine == "m-1"
    said = refusal(tmp_path, "sales-2026.csv", HEADER, log=named)
    assert "sources/log.toml:3:" in said
    assert '"sales-2026.csv"' in said


def test_every_required_field_is_a_field() -> None:
    for kind in FILE_KINDS:
        needed = {field for alternatives in REQUIRED[kind] for group in alternatives for field in group}
        assert needed <= set(FIELDS[kind])
