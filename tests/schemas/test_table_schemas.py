"""The Table Schemas keep to the profile of Data Package 2.0 (tests/data/table-schema, with where it is from), fit
the samples, and refuse tables that are wrong.
"""

import csv
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest
from schema_files import SAMPLES, SCHEMAS, TOP, Json, read

from recon.model.layout import Product
from recon.model.source import FIELDS
from recon.route.layout_table import COLUMNS


@pytest.mark.parametrize("path", sorted(SCHEMAS.glob("*.table.json")), ids=lambda path: path.name)
def test_it_is_a_table_schema(path: Path) -> None:
    profile = read(TOP / "tests" / "data" / "table-schema" / "tableschema.json")
    schema = read(path)
    assert [error.message for error in jsonschema.Draft7Validator(profile).iter_errors(schema)] == []
    broken = schema | {"fields": [{"type": "string"}]}
    assert list(jsonschema.Draft7Validator(profile).iter_errors(broken))
    names = [field["name"] for field in schema["fields"]]
    assert len(set(names)) == len(names)
    assert all(field["description"] for field in schema["fields"])


def reads(field: Json, cell: str) -> bool:
    """Whether a cell is of its field's type and keeps to its constraints."""
    limits = field.get("constraints", {})
    if cell == "":
        return not limits.get("required", False)
    try:
        match field["type"]:
            case "integer":
                value: object = int(cell)
            case "number":
                value = Decimal(cell)
            case "boolean":
                value = {**dict.fromkeys(field["trueValues"], True), **dict.fromkeys(field["falseValues"], False)}[cell]
            case "date":
                value = date.fromisoformat(cell)
            case "datetime":
                value = datetime.fromisoformat(cell)
            case _:
                value = cell
    except (ValueError, ArithmeticError, KeyError):
        return False
    low, high = limits.get("minimum"), limits.get("maximum")
    number = value if isinstance(value, int | Decimal) else 0
    within = (low is None or number >= low) and (high is None or number <= high)
    return within and ("enum" not in limits or value in limits["enum"])


def wrong_cells(name: str, path: Path) -> list[str]:
    """What a CSV file holds against the table schema of that name."""
    schema = read(SCHEMAS / f"{name}.table.json")
    fields = {field["name"]: field for field in schema["fields"]}
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    there = set(rows[0])
    allowed = there & set(fields) if schema["fieldsMatch"] == ["partial"] else there
    needed = {key for key, field in fields.items() if field.get("constraints", {}).get("required")}
    told = [f"no column {key}" for key in sorted(needed - there)]
    told += [f"a column {key}" for key in sorted(allowed - set(fields))]
    for at, row in enumerate(rows, 2):
        told += [f"{at}:{key}: {row[key]}" for key in sorted(allowed & set(fields)) if not reads(fields[key], row[key])]
    keys = [tuple(row[key] for key in schema["primaryKey"]) for row in rows] if "primaryKey" in schema else []
    return told + [f"key {key} again" for key in sorted(set(keys)) if keys.count(key) > 1]


OURS = [("inbox-counts", "counts-*"), ("inbox-loads", "loads-*"), ("inbox-cash", "cash-*"), ("inbox-tests", "tests-*"),
        ("products", "../products"), ("layout", "../layouts/*")]  # fmt: skip


PLANTED = {"counts-2026-09-03.csv": ["2:counted: ten"]}
"""What the sample holds for recon to reject."""


@pytest.mark.parametrize(
    ("name", "path"),
    [
        (name, path)
        for name, pattern in OURS
        for sample in SAMPLES
        for path in sorted((TOP / "samples" / sample / "inbox").glob(f"{pattern}.csv"))
    ],
    ids=lambda entry: entry if isinstance(entry, str) else entry.name,
)
def test_the_tables_of_the_samples_keep_to_their_schemas(name: str, path: Path) -> None:
    assert wrong_cells(name, path) == PLANTED.get(path.name, [])


@pytest.mark.parametrize("sample", SAMPLES)
def test_rejects_and_logs_of_the_samples(sample: str) -> None:
    rejects = TOP / "tests" / "golden" / sample / "rejects.csv"
    if len(rejects.read_text(encoding="utf-8").splitlines()) > 1:
        assert wrong_cells("rejects", rejects) == []
    else:
        names = [field["name"] for field in read(SCHEMAS / "rejects.table.json")["fields"]]
        assert rejects.read_text(encoding="utf-8").strip() == ",".join(names)


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("inbox-counts", "machine,time,label,counted\nm-1,2026-08-03 07:00,110,-1\n", ["2:counted: -1"]),
        ("inbox-counts", "machine,time,label,counted\n,2026-08-03 07:00,110,\n", ["2:machine: "]),
        ("inbox-vends", "machine,time,bus,tender\nm-1,today,272,money\n", ["2:tender: money", "2:time: today"]),
        ("inbox-vends", "machine,time,bus\nm-1,2026-08-03 07:00,272\n", ["no column tender"]),
        ("products", "id,cost\ngum,1\n", ["a column cost"]),
        ("products", "id\ngum\ngum\n", ["key ('gum',) again"]),
        ("layout", "machine,from,label,pitch\nm-1,2026-08-03,A1,3\n", ["2:pitch: 3"]),
        ("rejects", "file,row,reason,text\na.csv,0,why,x\n", ["2:row: 0"]),
    ],
)
def test_tables_that_are_wrong_are_told(name: str, text: str, told: list[str], tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    assert wrong_cells(name, tmp_path / "a.csv") == told


def test_the_columns_are_those_that_recon_knows() -> None:
    def names(name: str) -> list[str]:
        return [field["name"] for field in read(SCHEMAS / f"{name}.table.json")["fields"]]

    assert {kind: tuple(names(f"inbox-{kind}")) for kind in FIELDS} == FIELDS
    assert names("layout") == list(COLUMNS)
    assert names("products") == list(Product.model_fields)
