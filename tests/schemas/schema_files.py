"""The schemas as files, and what they and recon itself say of a file."""

import json
import tomllib
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
from pydantic import ValidationError

from recon.model.layout import Layout
from recon.model.settings import Settings
from recon.model.source import Source
from recon.route.files import read_toml
from recon.route.sources import read_source

TOP = Path(__file__).resolve().parents[2]
SCHEMAS = TOP / "schemas"
SAMPLES = ("bayside", "clean")
Json = dict[str, Any]

ROUTE = 'name = "R"\ncurrency = "CAD"\ntimezone = "America/Halifax"\n'
LAYOUT = 'machine = "m-1"\neffective = 2026-08-03T07:00:00\n'
SOURCE = 'kind = "vends"\nfiles = ["*.csv"]\n'


def read(path: Path) -> Json:
    found: Json = json.loads(path.read_text(encoding="utf-8"))
    return found


@cache
def _judge(name: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(read(SCHEMAS / f"{name}.schema.json"))


def faults(name: str, value: object) -> list[str]:
    """What the schema of that name says against a value."""
    return [f"{error.json_path}: {error.message}" for error in _judge(name).iter_errors(value)]


def toml_faults(name: str, text: str) -> list[str]:
    """What the schema of that name says against a TOML file."""
    return faults(name, plain(tomllib.loads(text)))


def plain(value: object) -> object:
    """A value of TOML as a value of JSON: moments as they are written, exact numbers as numbers."""
    if isinstance(value, dict):
        return {key: plain(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [plain(entry) for entry in value]
    if isinstance(value, datetime | date):
        return value.isoformat()
    return float(value) if isinstance(value, Decimal) else value


MODELS = {"route": Settings, "layout": Layout, "source": Source}


def recon_takes(name: str, text: str, folder: Path) -> bool:
    """Whether recon's own reading takes a file."""
    (folder / "a.toml").write_text(text, encoding="utf-8")
    if name == "source":
        return read_source(folder, "a.toml")[0] is not None
    read_file = read_toml(folder, "a.toml")
    assert isinstance(read_file, tuple), read_file
    data = read_file[0]
    try:
        MODELS[name].model_validate(data)
    except ValidationError:
        return False
    return "slots" not in data
