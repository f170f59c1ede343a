"""A quick reader for plain TOML: one key, table header or comment to a line, no escapes, no nesting.

tomllib takes most of the time of a check of many layouts, and nearly every layout is plain. What is not, and
everything that is wrong, is left to tomllib; a test holds the two against each other. Source of the grammar:
TOML v1.0.0.
"""

import re
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any

_LINE = re.compile(
    r"""
    (?:
        ([A-Za-z0-9_-]+) [ \t]* = [ \t]*
        (?:
            "([^"\\\x00-\x1f\x7f]*)"
          | (-?(?:0|[1-9][0-9]{0,15})\.[0-9]{1,16})
          | (-?(?:0|[1-9][0-9]{0,15}))
          | ([0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2})
          | (true|false)
        )
      | \[\[([A-Za-z0-9_-]+)\]\]
      | \[([A-Za-z0-9_-]+)\]
    )?
    [ \t]* (?:\#[^\x00-\x08\x0a-\x1f\x7f]*)? \n
    """,
    re.VERBOSE,
)
_TEXT, _ARRAY, _TABLE = 2, 7, 8
_READ: dict[int, Callable[[str], object]] = {
    3: Decimal,
    4: int,
    5: datetime.fromisoformat,
    6: "true".__eq__,
}


def read_plain(text: str) -> dict[str, Any] | None:
    """What tomllib would give with parse_float=Decimal, or None where the text is not plain enough to say."""
    if not text.endswith("\n"):
        text += "\n"
    root: dict[str, Any] = {}
    table = root
    end = 0
    for line in _LINE.finditer(text):
        if line.start() != end:
            return None
        end = line.end()
        kind = line.lastindex
        if kind is None:
            continue
        if kind < _ARRAY:
            key = line[1]
            if key in table:
                return None
            try:
                table[key] = line[kind] if kind == _TEXT else _READ[kind](line[kind])
            except ValueError:
                return None
            continue
        name = line[kind]
        table = {}
        if kind == _TABLE and name not in root:
            root[name] = table
        elif kind == _ARRAY and isinstance(root.setdefault(name, []), list):
            root[name].append(table)
        else:
            return None
    return root if end == len(text) else None
