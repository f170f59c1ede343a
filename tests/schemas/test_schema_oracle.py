"""Every key of what people write, with values of every sort: the schema and recon take and refuse the same."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from schema_files import LAYOUT, MODELS, ROUTE, SCHEMAS, SOURCE, read, recon_takes, toml_faults

POOL = [
    "1", "0", "-1", "2", "1.5", "101", "65534", "100001", '"1"', '"-1"', '"1.75"', '"1,75"', '"+1"', '" 1 "', '"x"',
    '""', '" "', "true", "false", "[]", '["x"]', "[1]", "{}", '{ x = "y" }', "2026-08-03T07:00:00", "2026-08-03",
    "2026-08-03T07:00:00Z", "07:00:00", '"2026-08-03 07:00"', '"2026-08-03T07:00:00+02:00"', '"same"', "{ offset = 1 }",
    '"CAD"', '"cad"', '"UTC"', '"no such zone"', '"vends"', '"."', '"utf-8"', "16", "10", '"before-load"', "1e3",
    '"1e3"',
]  # fmt: skip
"""Values of every sort, as TOML, to be put in the place of each key's own."""

LENIENT = {
    # The form of a zone is all that a schema can know.
    "timezone": {'"x"', '"same"', '"cad"', '"CAD"', '"vends"', '"before-load"', '"utf-8"'},
    # Whether a name is a regular expression with one group, or a format a moment can be read back in.
    "machine_from_name": None,
    "format": None,
    # A machine's id has a form of its own; a description names machines that may be none of ours.
    "machine": {'""', '" "', '" 1 "', '"+1"', '"-1"', '"1,75"', '"."', '"no such zone"', '"2026-08-03 07:00"',
                '"2026-08-03T07:00:00+02:00"', '"x"'},
    # JSON knows no difference between 1000 and 1e3.
    "label": {"1e3"},
    "tray": {"1e3"},
}  # fmt: skip
"""Where the schema may take what recon refuses: by key, the values; None: any."""

STRICT = {
    # The check tells a number that no machine can send.
    "bus": {"-1", '"-1"', "100001"},
    # True and false have words of their own, and a line is a number.
    "retire": {"0", "1", '"1"'},
    "minor_units": {"0", "1", '"1"'},
    "header_line": {'"1"', '"+1"', '" 1 "', "true"},
}
"""Where the schema refuses what recon would let pass: by key, the values."""


def places(name: str) -> Iterator[tuple[str, str, str]]:
    """Every key of a file: what stands before it, the key, what stands after it."""
    schema = read(SCHEMAS / f"{name}.schema.json")
    route, layout, source = ["Tolerance", "Cards", "Stock"], ["Slot", "Change"], ["Amounts", "TableShape"]
    tables = {"route": route, "layout": layout, "source": source}
    heads = {"Tolerance": "[tolerance]", "Cards": "[cards]", "Stock": "[stock]", "Slot": "[[slot]]",
             "Change": "[[change]]", "Amounts": "[amounts]", "TableShape": "[table]"}  # fmt: skip
    own = {"route": ROUTE, "layout": LAYOUT, "source": SOURCE}[name]

    def without(text: str, key: str) -> str:
        return "".join(line for line in text.splitlines(keepends=True) if not line.startswith(f"{key} = "))

    for key in schema["properties"]:
        yield "", key, without(own, key)
    base = {"Slot": 'label = "110"\n', "Change": 'from = 2026-09-14T09:30:00\nlabel = "110"\n'}
    for table in tables[name]:
        for key in schema["$defs"][table]["properties"]:
            yield f"{own}{heads[table]}\n", key, without(base.get(table, ""), key)


@pytest.mark.parametrize(
    ("name", "before", "key", "after"),
    [(name, *place) for name in MODELS for place in places(name)],
    ids=lambda entry: entry.split("[")[-1].strip("]\n") if isinstance(entry, str) and len(entry) < 12 else "",
)
def test_schema_and_recon_judge_every_value_alike(name: str, before: str, key: str, after: str, tmp_path: Path) -> None:
    differing = []
    for value in POOL:
        if key not in ("effective", "from") and re.match(r"\d+[-:]\d", value):
            # JSON has no moments: as text they look like any other.
            continue
        text = f"{before}{key} = {value}\n{after}"
        ours, theirs = recon_takes(name, text, tmp_path), toml_faults(name, text) == []
        lenient, strict = LENIENT.get(key, set()), STRICT.get(key, set())
        excused = (lenient is None or value in lenient) if theirs else value in strict
        if ours != theirs and not excused:
            differing.append((value, "recon takes it" if ours else "the schema takes it"))
    assert differing == []
