"""JSON Schemas (2020-12) of what people write and of what recon prints, made from its models.

The models of settings are wider than their annotations: labels may be bare numbers, numbers may be quoted, moments
are local. What their validators take is written here once, and tests hold schema and model against each other.
"""

import ast
import copy
import inspect
import textwrap
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema
from pydantic_core import core_schema

from recon.model import asked_frames, frames, layout, settings
from recon.model.check_results import CheckResults
from recon.model.currencies import EXPONENTS
from recon.model.earnings_results import EarningsResults
from recon.model.frames import FrameSpec
from recon.model.layout import Layout
from recon.model.learn_results import LearnResults
from recon.model.plan_results import PlanResults
from recon.model.results import Results
from recon.model.settings import Settings
from recon.model.source import FIELDS, REQUIRED, Source
from recon.model.trace_results import TraceResults
from recon.model.verify_results import VerifyResults
from recon.model.words import LARGEST_BUS
from recon.route.faults import EXPECTED

DIALECT = "https://json-schema.org/draft/2020-12/schema"

Json = dict[str, Any]

_WHOLE = {"anyOf": [{"type": "integer"}, {"type": "string", "pattern": r"^\s*[+-]?[0-9]+\s*$"}]}
_AMOUNT = {"anyOf": [{"type": "number"}, {"type": "string", "pattern": r"^\s*\+?[0-9]+(\.[0-9]+)?\s*$"}]}
_MOMENT = {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?)?$"}
_TEXT = {"anyOf": [{"type": "string", "pattern": r"\S", "maxLength": 64}, {"type": "integer"}]}
_ZONE = {"type": "string", "pattern": r"^[A-Za-z][A-Za-z0-9_+/-]*$", "examples": ["America/Halifax", "UTC"]}

_TAKES: Mapping[Callable[..., Any], Json] = {
    layout._as_text: _TEXT,
    layout._local: _MOMENT,
    settings._plain_decimal: _AMOUNT,
    settings._not_bool: _WHOLE,
    settings._currency: {"type": "string", "enum": sorted(EXPONENTS)},
    settings._zone: _ZONE,
}
"""What each validator of the models lets through, beyond or below the type behind it."""


class _Written(GenerateJsonSchema):
    """As pydantic does it, with what the validators take, and without titles that only repeat the names of keys."""

    def function_before_schema(self, schema: core_schema.BeforeValidatorFunctionSchema) -> Json:
        taken = _TAKES.get(schema["function"]["function"])
        return copy.deepcopy(taken) if taken is not None else super().function_before_schema(schema)

    def function_after_schema(self, schema: core_schema.AfterValidatorFunctionSchema) -> Json:
        taken = _TAKES.get(schema["function"]["function"])
        return copy.deepcopy(taken) if taken is not None else super().function_after_schema(schema)

    def decimal_schema(self, schema: core_schema.DecimalSchema) -> Json:
        return {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"}

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def route_schema() -> Json:
    """route.toml."""
    tables = {"Tolerance": "tolerance", "Cards": "cards", "Stock": "stock"}
    return _input(Settings, "route.toml of a recon route", tables)


def layout_schema() -> Json:
    """layouts/NAME.toml. The model takes any number as `bus`, so that checks can say more of it; here it is held."""
    schema = _input(Layout, "layouts/NAME.toml of a recon route", {"Slot": "slot", "Change": "change"})
    for table in ("Slot", "Change"):
        bus = schema["$defs"][table]["properties"]["bus"]
        schema["$defs"][table]["properties"]["bus"] = _quoted_too(bus | {"minimum": 0, "maximum": LARGEST_BUS})
    return schema


def source_schema() -> Json:
    """sources/NAME.toml, with the columns that each kind of file has and needs."""
    tables = {"Words": "words", "TimeFormat": "time", "Amounts": "amounts", "TableShape": "table"}
    schema = _input(Source, "sources/NAME.toml of a recon route", tables)
    schema["allOf"] = [
        {
            "if": {"properties": {"kind": {"const": kind}}, "required": ["kind"]},
            "then": {"properties": {"columns": {"propertyNames": {"enum": list(fields)}}}},
        }
        for kind, fields in FIELDS.items()
    ]
    # Without [columns] the export is in our own field names; what it lacks shows when it is read.
    mapped = {"columns": {"minProperties": 1}}
    schema["allOf"] += [
        {
            "if": {"properties": {"kind": {"const": kind}, **mapped}, "required": ["kind", "columns"]},
            "then": {"allOf": [_one_of_groups(groups) for groups in needed]},
        }
        for kind, needed in REQUIRED.items()
    ]
    return schema


def _one_of_groups(groups: tuple[tuple[str, ...], ...]) -> Json:
    met: list[Json] = [{"properties": {"columns": {"required": list(group)}}} for group in groups]
    if groups == (("machine",),):
        met += [{"required": ["machine"]}, {"required": ["machine_from_name"]}]
    return {"anyOf": met} if len(met) > 1 else met[0]


def results_schema() -> Json:
    """reports/RUN/results.json, and what `recon run --format json` prints."""
    return _output(
        Results,
        "recon-results/1",
        {
            "InputFile": frames.INPUTS,
            "StockWindow": frames.STOCK_WINDOWS,
            "CashWindow": frames.CASH_WINDOWS,
            "Payout": frames.PAYOUT_CHECKS,
            "MachineSummary": next(spec for spec in frames.ALL if spec.name == "summaries"),
            "Finding": next(spec for spec in frames.ALL if spec.name == "findings"),
        },
    )


def check_schema() -> Json:
    """What `recon check --format json` prints."""
    return _output(CheckResults, "recon-check/1", {})


def learn_schema() -> Json:
    """What `recon learn --format json` prints."""
    return _output(LearnResults, "recon-learn/1", {})


def trace_schema() -> Json:
    """What `recon trace --format json` prints."""
    return _output(
        TraceResults,
        "recon-trace/1",
        {
            "Finding": next(spec for spec in frames.ALL if spec.name == "findings"),
            "TracedLayout": frames.STATES,
            "TracedStock": frames.STOCK_WINDOWS,
            "TracedCash": frames.CASH_WINDOWS,
            "TracedPayout": frames.PAYOUT_CHECKS,
        },
    )


def verify_schema() -> Json:
    """What `recon verify --format json` prints."""
    return _output(VerifyResults, "recon-verify/1", {})


def plan_schema() -> Json:
    """What `recon plan --format json` prints."""
    visits, slots, van = asked_frames.PLAN_VISITS, asked_frames.PLAN_SLOTS, asked_frames.PLAN_VAN
    return _output(PlanResults, "recon-plan/1", {"PlanVisit": visits, "PlanSlot": slots, "VanLine": van})


def money_schema() -> Json:
    """What `recon money --format json` prints."""
    parts, machines = asked_frames.EARNINGS, asked_frames.MACHINE_EARNINGS
    return _output(
        EarningsResults,
        "recon-money/1",
        {"MachineMoney": machines, "SlotMoney": parts, "ProductMoney": parts, "Reader": asked_frames.READERS},
    )


def _input(model: type[BaseModel], title: str, tables: Mapping[str, str]) -> Json:
    """The schema of a file that people write. tables: names of nested models to their key in EXPECTED."""
    schema = _plain(model.model_json_schema(schema_generator=_Written, by_alias=True), null=False)
    classes = _classes(model)
    for name, table in {model.__name__: "", **tables}.items():
        part = schema if table == "" else schema["$defs"][name]
        notes = _attribute_docstrings(classes[name])
        for key, entry in part["properties"].items():
            expected = EXPECTED[model].get(f"{table}.{key}" if table else key)
            said = [text for text in (notes.get(key), expected and f"Expected: {expected}.") if text]
            if said:
                entry["description"] = " ".join(said)
    return {"$schema": DIALECT, "title": title, **{key: value for key, value in schema.items() if key != "title"}}


def _output(model: type[BaseModel], title: str, columns: Mapping[str, FrameSpec]) -> Json:
    """The schema of what recon prints. columns: names of nested models to the frame that tells what their keys mean."""
    schema = _plain(model.model_json_schema(schema_generator=_Written, by_alias=True, mode="serialization"), null=True)
    classes = _classes(model)
    for name, part in {model.__name__: schema, **schema.get("$defs", {})}.items():
        meanings = _attribute_docstrings(classes[name])
        if name in columns:
            told = {column.name: _in_results(column.meaning) for column in columns[name].columns}
            # A frame numbers its files; the results name them.
            meanings = told | {"file": told.get("path", "path within the route folder")} | meanings
        for key, entry in part["properties"].items():
            if key in meanings:
                entry["description"] = meanings[key]
    return {"$schema": DIALECT, "title": title, **{key: value for key, value in schema.items() if key != "title"}}


def _in_results(meaning: str) -> str:
    """The meaning of a frame's column in results: amounts are in the currency, times carry the machine's offset."""
    return meaning.replace(", minor units", "").replace(", UTC", "").replace("row 0:", "row null:")


def _plain(schema: Any, *, null: bool) -> Any:
    """The schema in words of the standard, descriptions on one line; without null where files have none (TOML)."""
    if isinstance(schema, list):
        return [_plain(entry, null=null) for entry in schema]
    if not isinstance(schema, dict):
        return schema
    names = {"ge": "minimum", "le": "maximum", "gt": "exclusiveMinimum"}
    found = {names.get(key, key): _plain(value, null=null) for key, value in schema.items()}
    if isinstance(found.get("description"), str):
        found["description"] = " ".join(found["description"].split())
    if null:
        return found
    found = _quoted_too(found)
    if "default" in found and found["default"] is None:
        del found["default"]
    kept = [entry for entry in found.get("anyOf", ()) if entry != {"type": "null"}]
    if len(kept) == 1:
        del found["anyOf"]
        found = {**kept[0], **found}
    elif kept:
        found["anyOf"] = kept
    return found


def _quoted_too(schema: Json) -> Json:
    """A whole number that may be quoted, held to its sign in quotes, too: numeric limits do not speak of text."""
    text = _WHOLE["anyOf"][1]
    low = schema.get("minimum", -1)
    if low < 0 or text not in schema.get("anyOf", ()):
        return schema
    pattern = r"^\s*\+?0*[1-9][0-9]*\s*$" if low else r"^\s*\+?[0-9]+\s*$"
    kinds = [kind if kind != text else {"type": "string", "pattern": pattern} for kind in schema["anyOf"]]
    return schema | {"anyOf": kinds}


def _classes(model: type[BaseModel]) -> dict[str, type[BaseModel]]:
    """The model and those beside it in its module, by name."""
    module = inspect.getmodule(model)
    return {name: found for name, found in vars(module).items() if inspect.isclass(found)}


def _attribute_docstrings(model: type[BaseModel]) -> dict[str, str]:
    """The texts that stand below the fields of a class, and of those of ours that it is made from."""
    notes: dict[str, str] = {}
    for made_from in model.__mro__[1:]:
        if issubclass(made_from, BaseModel) and made_from.__module__.startswith("recon."):
            notes = _attribute_docstrings(made_from) | notes
    (body,) = ast.parse(textwrap.dedent(inspect.getsource(model))).body
    assert isinstance(body, ast.ClassDef)
    for field, below in zip(body.body, body.body[1:], strict=False):
        match field, below:
            case ast.AnnAssign(target=ast.Name(id=name)), ast.Expr(value=ast.Constant(value=str(text))):
                notes[name] = inspect.cleandoc(text)
    return notes
