"""Table Schemas (Data Package 2.0) of the CSV files: the six kinds of the inbox in our own field names, products.csv,
layouts as tables, and rejects.csv.
"""

from collections.abc import Mapping
from typing import Any

from recon.model import frames
from recon.model.frames import FrameSpec
from recon.model.layout import Layout, Product
from recon.model.source import FIELDS, REQUIRED
from recon.model.words import FILE_KINDS, OUTCOMES, TENDERS, FileKind
from recon.route.faults import EXPECTED
from recon.route.layout_table import COLUMNS

PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"

Json = dict[str, Any]

_STRING: Json = {"type": "string"}
_DAY: Json = {"type": "date", "format": "any"}
_MOMENT: Json = {"type": "datetime", "format": "any"}
_UNITS: Json = {"type": "integer", "constraints": {"minimum": 0}}
_AMOUNT: Json = {"type": "number", "constraints": {"minimum": 0}}
_SIGNED: Json = {"type": "number"}

_TYPES: Mapping[str, Json] = {
    "machine": _STRING, "label": _STRING, "reference": _STRING, "counter": _STRING, "note": _STRING, "reason": _STRING,
    "time": _MOMENT, "date": _DAY, "clock": {"type": "time", "format": "any"},
    "bus": {"type": "integer", "constraints": {"minimum": 0, "maximum": 65535}},
    "price": _AMOUNT, "total": _AMOUNT, "notes": _AMOUNT, "coins": _AMOUNT, "tubes": _AMOUNT,
    "tender": {"type": "string", "constraints": {"enum": list(TENDERS)}},
    "outcome": {"type": "string", "constraints": {"enum": list(OUTCOMES)}},
    "quantity": {"type": "integer", "constraints": {"minimum": 1}},
    "counted": _UNITS, "loaded": _UNITS, "removed": _UNITS,
    "paid_on": _DAY, "from": _DAY, "to": _DAY, "gross": _SIGNED, "fees": _SIGNED, "net": _SIGNED,
}  # fmt: skip

_SAID: Mapping[str, str] = {
    "time": "moment in the machine's local time, or with an offset; or in two columns, date and clock",
    "date": "day of the moment, beside clock",
    "clock": "time of day of the moment, beside date",
    "price": "price of one unit as logged; empty where missing",
    "total": "money taken from the machine, or notes and coins apart",
    "notes": "money taken in notes",
    "coins": "money taken in coins",
    "bus": "bus item number, 0 to 65534; 65535 where undefined",
    "machine": "machine id; in payouts empty for all of the route",
}
"""Fields that stand otherwise in a file than in its frame."""

_FRAMES: Mapping[FileKind, FrameSpec] = {
    "vends": frames.VENDS,
    "counts": frames.COUNTS,
    "loads": frames.LOADS,
    "cash": frames.CASH,
    "payouts": frames.PAYOUTS,
    "tests": frames.TESTS,
}

_MAY_BE_EMPTY = ("counted",)
"""Columns that have to be there, in which an empty cell says something: not counted."""


def inbox_schemas() -> dict[str, Json]:
    """One for each kind of file of the inbox, by kind."""
    return {kind: _inbox(kind) for kind in FILE_KINDS}


def _inbox(kind: FileKind) -> Json:
    meanings = {column.name: column.meaning for column in _FRAMES[kind].columns} | _SAID
    single = {groups[0][0] for groups in REQUIRED[kind] if len(groups) == 1 and len(groups[0]) == 1}
    always = single.difference(_MAY_BE_EMPTY)
    needed = "; ".join(" or ".join(" with ".join(group) for group in groups) for groups in REQUIRED[kind])
    fields = [_field(name, _TYPES[name], meanings[name], name in always) for name in FIELDS[kind]]
    return {
        "$schema": PROFILE,
        "title": f"inbox/ file of {kind} in recon's own field names",
        "description": f"One row: {_FRAMES[kind].row_is}. Columns that have to be there: {needed}.",
        "fields": fields,
        "fieldsMatch": ["partial"],
    }


def products_schema() -> Json:
    """products.csv."""
    types = {
        "id": _STRING, "name": _STRING, "unit_cost": _AMOUNT, "category": _STRING,
        "case_size": {"type": "integer", "constraints": {"minimum": 1}},
        "shelf_days": {"type": "integer", "constraints": {"minimum": 1}},
    }  # fmt: skip
    said = {
        "id": "the product's id, as layouts name it",
        "name": "what people call it",
        "unit_cost": "cost of one unit in the route's currency; up to four digits below its minor unit",
        "case_size": "units in a case",
        "category": "a word to group products by",
        "shelf_days": "days for which it can be sold once it is in the machine",
    }
    return {
        "$schema": PROFILE,
        "title": "products.csv of a recon route",
        "description": "One row: one product.",
        "fields": [_field(name, types[name], said[name], name == "id") for name in Product.model_fields],
        "fieldsMatch": ["superset"],
        "primaryKey": ["id"],
    }


def layout_table_schema() -> Json:
    """layouts/NAME.csv."""
    types: dict[str, Json] = {
        "machine": _STRING, "from": _MOMENT, "label": _STRING, "bus": _TYPES["bus"], "tray": _STRING,
        "pitch": {"type": "integer", "constraints": {"enum": [1, 2]}}, "product": _STRING, "price": _AMOUNT,
        "card_price": _AMOUNT, "capacity": {"type": "integer", "constraints": {"minimum": 1}}, "par": _UNITS,
        "retire": {"type": "boolean", "trueValues": ["true", "yes", "1"], "falseValues": ["false", "no", "0"]},
    }  # fmt: skip
    said = {name: EXPECTED[Layout].get(f"change.{name}", "") for name in COLUMNS} | {
        "machine": "the machine's id; empty: as in the rows above"
    }
    return {
        "$schema": PROFILE,
        "title": "layouts/NAME.csv of a recon route",
        "description": (
            "One row: a slot, or what changed at it from a moment on. The first row of a label is its slot; in the "
            "others an empty cell keeps what was there before."
        ),
        "fields": [_field(name, types[name], said[name], name in ("from", "label")) for name in COLUMNS],
        "fieldsMatch": ["superset"],
        "primaryKey": ["label", "from"],
    }


def rejects_schema() -> Json:
    """reports/RUN/rejects.csv."""
    said = {column.name: column.meaning for column in frames.REJECTS.columns} | {"file": "path within the route folder"}
    row: Json = {"type": "integer", "constraints": {"minimum": 1}}
    types = {"file": _STRING, "row": row, "reason": _STRING, "text": _STRING}
    return {
        "$schema": PROFILE,
        "title": "rejects.csv of a recon report",
        "description": (
            f"One row: {frames.REJECTS.row_is}. A text that a spreadsheet could run has an apostrophe before it."
        ),
        "fields": [_field(name, types[name], said[name], name != "text") for name in types],
        "fieldsMatch": ["exact"],
    }


def _field(name: str, typed: Json, said: str, required: bool) -> Json:
    field: Json = {"name": name, **typed, "description": f"{said[:1].upper()}{said[1:]}."}
    if required:
        field["constraints"] = {"required": True, **typed.get("constraints", {})}
    return field

