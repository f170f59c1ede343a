"""What the typed models refuse, told in plain words: the key, what was found, what was expected."""

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from pydantic import BaseModel, ValidationError

from recon.model.layout import Change, Layout, Slot
from recon.model.problem import Place, Problem
from recon.model.settings import Cards, Settings, Stock, Tolerance
from recon.model.source import FIELDS, Amounts, Source, TableShape, TimeFormat, Words
from recon.model.words import FILE_KINDS, OUTCOMES, TENDERS
from recon.model.zones import zone_names
from recon.route.files import Absurd
from recon.route.nearest import nearest

Find = Callable[[Sequence[str | int]], Place]
"""From a path in a file to its place: ("slot", 3, "bus") to file, line and column."""

_TEXT = "a text in quotes"
_WHOLE = "a whole number"
_AMOUNT = "an amount such as 1.75, not negative"
_MOMENT = "a local date and time such as 2026-08-03T07:00:00, without an offset"
_LABEL = "a label of 1 to 64 characters, as printed at the slot"
_UNITS = "a whole number of units from {} to 100000"
MACHINE = (
    "an id of at most 64 letters, digits, points, dashes and underlines, beginning with a letter or digit, "
    'such as "quay-2"'
)
NUMBERING = (
    '"same", "zero-based", "hex-label", "ascii-pair", { offset = k }, { grid = w, first = f }, '
    "{ column-grid = h, first = f } or { sequence = f }, with whole numbers"
)
PRODUCT = "the id of a product; leave the key out where the slot is out of use"

_SLOT = {
    "label": _LABEL,
    "bus": "a whole number from 0 to 65534",
    "tray": "the tray's name, a text",
    "pitch": "1, or 2 on a double-width tray",
    "product": PRODUCT,
    "price": _AMOUNT,
    "card_price": _AMOUNT,
    "capacity": _UNITS.format(1),
    "par": _UNITS.format(0),
}

EXPECTED: Mapping[type[BaseModel], Mapping[str, str]] = {
    Layout: {
        "": "a layout",
        "machine": MACHINE,
        "site": _TEXT,
        "timezone": 'an IANA name such as "America/Halifax"',
        "currency": 'an ISO 4217 code such as "CAD"',
        "numbering": NUMBERING,
        "price_step": "an amount above zero, such as 0.05",
        "effective": _MOMENT,
        "slot": "[[slot]] in double brackets, once for each slot",
        "change": "[[change]] in double brackets, once for each change",
        **{f"slot.{key}": words for key, words in _SLOT.items()},
        **{f"change.{key}": words for key, words in _SLOT.items()},
        "change.from": _MOMENT,
        "change.retire": "true or false",
    },
    Settings: {
        "": "settings",
        "name": "the route's name, a text",
        "currency": 'an ISO 4217 code such as "CAD"',
        "timezone": 'an IANA name such as "America/Halifax"',
        "tolerance": "a table, [tolerance]",
        "tolerance.units": "a whole number of units, not negative",
        "tolerance.cash": _AMOUNT,
        "tolerance.boundary_minutes": "a whole number of minutes from 0 to 1440",
        "cards": "a table, [cards]",
        "cards.percent": "a percentage from 0 to 100, such as 5.95",
        "cards.per_vend": _AMOUNT,
        "cards.monthly": _AMOUNT,
        "cards.reader_cost": _AMOUNT,
        "stock": "a table, [stock]",
        "stock.count_when": '"before-load" or "after-load"',
        "stock.test_vends": '"returned" or "consumed"',
    },
    Source: {
        "": "a source description",
        "kind": "one of " + ", ".join(f'"{kind}"' for kind in FILE_KINDS),
        "files": 'a list of file names, stars allowed: ["*sales*.csv"]',
        "timezone": 'an IANA name such as "UTC"',
        "machine": MACHINE,
        "machine_from_name": "a regular expression with one group, such as 'sales-(.+)-\\d{4}'",
        "bus_base": "10 or 16",
        "columns": "a table, [columns], of our field = their header",
        "columns.*": "the header in the export, a text",
        "machines": "a table, [machines], of their machine name = ours",
        "machines.*": "the id of a machine, a text",
        "words": "the tables [words.tender] and [words.outcome]",
        "words.tender": "a table, [words.tender], of our word = a list of theirs",
        "words.outcome": "a table, [words.outcome], of our word = a list of theirs",
        "words.tender.*": 'a list of texts, such as ["Cash", "Coin"]',
        "words.outcome.*": 'a list of texts, such as ["OK"]',
        "time": "a table, [time]",
        "time.format": 'a time format such as "%Y-%m-%d %H:%M:%S"',
        "amounts": "a table, [amounts]",
        "amounts.decimal": 'the decimal mark, "." or ","',
        "amounts.minor_units": "true where amounts are whole minor units (175 for 1.75), else false",
        "table": "a table, [table]",
        "table.delimiter": r'the mark between cells: ",", ";", "\t" or "|"',
        "table.encoding": 'one of "utf-8", "utf-16", "cp1252", "cp1250" and "cp437"',
        "table.sheet": "the name of a sheet, a text",
        "table.header_line": "the number of the line that names the columns, 1 or more",
    },
}
"""What each key ought to hold, in plain words, by its dotted path; `*` stands for keys that the user names.
"""


def keys_of(model: type[BaseModel]) -> tuple[str, ...]:
    """The keys of a table as they are written in the file."""
    return tuple(field.alias or name for name, field in model.model_fields.items())


_TABLES: Mapping[type[BaseModel], Mapping[str, tuple[str, ...]]] = {
    Layout: {"": keys_of(Layout), "slot": keys_of(Slot), "change": keys_of(Change)},
    Settings: {
        "": keys_of(Settings),
        "tolerance": keys_of(Tolerance),
        "cards": keys_of(Cards),
        "stock": keys_of(Stock),
    },
    Source: {
        "": keys_of(Source),
        "words": keys_of(Words),
        "words.tender": TENDERS,
        "words.outcome": OUTCOMES,
        "time": keys_of(TimeFormat),
        "amounts": keys_of(Amounts),
        "table": keys_of(TableShape),
    },
}
ALL_FIELDS = tuple(dict.fromkeys(field for fields in FIELDS.values() for field in fields))


def shown(value: object) -> str:
    """A value as it would be written in the file, on one line, cut at 60 characters."""
    text = _written(value)
    return text if len(text) <= 60 else f"{text[:59]}…"


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value[:80], ensure_ascii=not value.isprintable())
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, Absurd):
        return value.text
    if isinstance(value, int):
        return str(value) if abs(value) < 10**40 else "a number of more than 40 digits"
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_written(item)}" for key, item in list(value.items())[:5]) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_written(item) for item in value[:5]) + "]"
    return "nothing"


def bad_value(place: Place, key: str, found: str, expected: str, machine: str | None = None) -> Problem:
    """A value that cannot be used; `found` is already as it is to be shown."""
    return Problem("bad-value", place, {"key": key, "found": found, "expected": expected}, machine=machine)


def unknown_key(place: Place, key: str, known: Sequence[str], machine: str | None = None) -> Problem:
    """A key or column that has no meaning; `expected` is the nearest known one, or all of them."""
    near = nearest(key, known)
    expected = near if near is not None else "one of " + ", ".join(known)
    return Problem("unknown-key", place, {"key": key, "found": key, "expected": expected}, machine=machine)


def unknown_timezone(place: Place, found: str, machine: str | None = None) -> Problem:
    """A zone that the IANA list does not have."""
    expected = nearest(found, zone_names()) or "a name such as America/Halifax"
    facts = {"key": "timezone", "found": shown(found), "expected": expected}
    return Problem("unknown-timezone", place, facts, machine=machine)


def unknown_currency(place: Place, found: str, machine: str | None = None) -> Problem:
    """A currency that ISO 4217 does not have, or that has no minor unit."""
    from recon.model.currencies import EXPONENTS

    expected = nearest(found, sorted(EXPONENTS)) or "a code such as CAD"
    facts = {"key": "currency", "found": shown(found), "expected": expected}
    return Problem("unknown-currency", place, facts, machine=machine)


def faults(model: type[BaseModel], data: dict[str, Any], error: ValidationError, find: Find) -> list[Problem]:
    """Every fault of one file as problems with their places, one for each key however many ways it failed."""
    machine = data.get("machine") if model is Layout and isinstance(data.get("machine"), str) else None
    problems: dict[tuple[str | int, ...], Problem] = {}
    for entry in error.errors(include_url=False):
        path = entry["loc"]
        if path[:1] == ("numbering",):
            # The rule may be one of several shapes: pydantic lists what is wrong with each of them.
            path, entry["type"] = path[:1], "union"
            entry["input"] = data["numbering"]
        elif path[-1] == "[key]":
            path, entry["type"] = path[:-1], "extra_forbidden"
        if path not in problems:
            problems[path] = _fault(model, path, entry["type"], entry["input"], find, machine)
    return list(problems.values())


def _fault(
    model: type[BaseModel],
    path: tuple[str | int, ...],
    kind: str,
    found: object,
    find: Find,
    machine: str | None,
) -> Problem:
    names = [part for part in path if isinstance(part, str)]
    key, table = (names[-1] if names else "the file"), ".".join(names[:-1])
    if kind == "extra_forbidden":
        return unknown_key(find(path), key, _TABLES[model].get(table, ()), machine)
    if kind == "value_error" and isinstance(found, str) and key == "timezone":
        return unknown_timezone(find(path), found, machine)
    if kind == "value_error" and isinstance(found, str) and key == "currency":
        return unknown_currency(find(path), found, machine)
    known = EXPECTED[model]
    expected = known.get(".".join(names)) or known.get(f"{table}.*") or "another kind of value"
    if kind == "missing":
        return bad_value(find(path), key, "nothing", f"{expected} (the key must be there)", machine)
    return bad_value(find(path), key, shown(found), expected, machine)
