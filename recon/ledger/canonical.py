"""One text for each JSON value, so that equal values have equal hashes: RFC 8785 (JSON Canonicalization Scheme).

Keys stand in the order of their UTF-16 code units, nothing stands between tokens, and texts are escaped only where
JSON asks for it (RFC 8785, section 3.2). Numbers are spelled as ECMAScript spells them (section 3.2.2.3).
"""

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

LARGEST_INTEGER: Final = 2**53 - 1
"""Beyond it a reader that takes JSON numbers for doubles would read another number (RFC 8785, appendix D)."""
_quoted: Final = json.JSONEncoder(ensure_ascii=False).encode
"""A text between quote marks: the standard library escapes what RFC 8785 escapes, and in the same way."""


def canonical(value: Any) -> bytes:
    """The canonical JSON text of a value, in UTF-8.

    value: None, bool, int, float, str, list or tuple, mapping with texts as keys; nested as needed.
    Raises ValueError for a number that JSON cannot carry unchanged (an integer beyond 2^53 - 1 either way, an infinite
    or undefined float) and for half of a surrogate pair; TypeError for any other type.
    """
    parts: list[str] = []
    _write(value, parts)
    try:
        return "".join(parts).encode()
    except UnicodeEncodeError as error:
        raise ValueError(f"half of a surrogate pair in {error.object[error.start :][:1]!r}") from error


def _write(value: Any, parts: list[str]) -> None:
    # Most values are of these two types, and to ask for abstract ones takes long.
    if type(value) is dict:
        _write_object(value, parts)
        return
    if type(value) is str:
        parts.append(_quoted(value))
        return
    match value:
        case None:
            parts.append("null")
        case bool():
            parts.append("true" if value else "false")
        case str():
            parts.append(_quoted(value))
        case int():
            if abs(value) > LARGEST_INTEGER:
                raise ValueError(f"the integer {value} is beyond 2^53 - 1: write it as text")
            parts.append(int.__repr__(value))
        case float():
            parts.append(number_text(value))
        case Mapping():
            _write_object(value, parts)
        case list() | tuple() if set(map(type, value)) == {str}:
            # Long lists are lists of texts: they are written in one go.
            parts.append(f"[{','.join(map(_quoted, value))}]")
        case Sequence() if not isinstance(value, bytes | bytearray | memoryview):
            for at, item in enumerate(value):
                parts.append("," if at else "[")
                _write(item, parts)
            parts.append("]" if value else "[]")
        case _:
            raise TypeError(f"JSON has no {type(value).__name__}")


def _write_object(value: Mapping[Any, Any], parts: list[str]) -> None:
    for key in value:
        if not isinstance(key, str):
            raise TypeError(f"a key of a JSON object is a text, not {type(key).__name__}")
    # Letters of ASCII stand in one order, however they are encoded.
    plain = "".join(value).isascii()
    for at, key in enumerate(sorted(value) if plain else sorted(value, key=_utf_16)):
        parts.append(f"{',' if at else '{'}{_quoted(key)}:")
        item = value[key]
        if type(item) is str:
            parts.append(_quoted(item))
        else:
            _write(item, parts)
    parts.append("}" if value else "{}")


def _utf_16(key: str) -> bytes:
    # Big-endian bytes compare as the code units do; a lone surrogate is refused where the text is encoded.
    return key.encode("utf-16-be", "surrogatepass")


def number_text(number: float) -> str:
    """A double as ECMAScript spells it: the shortest digits that read back as the same double, plain from 1e-6 up to
    below 1e21 and with an exponent otherwise (ECMA-262, Number::toString).

    Raises ValueError for infinite and undefined numbers.
    """
    if not math.isfinite(number):
        raise ValueError(f"{number} is no number of JSON")
    if number == 0:
        return "0"
    sign = "-" if number < 0 else ""
    # Python's repr has the same digits and differs only in where it begins to write exponents.
    mantissa, _, power = repr(abs(number)).partition("e")
    whole, _, fraction = mantissa.partition(".")
    digits = (whole + fraction).lstrip("0")
    point = len(whole) + int(power or 0) - (len(whole + fraction) - len(digits))
    digits = digits.rstrip("0")
    return sign + _placed(digits, point)


def _placed(digits: str, point: int) -> str:
    """Digits with the decimal point after the first `point` of them."""
    if 0 < point <= 21:
        if point >= len(digits):
            return digits + "0" * (point - len(digits))
        return f"{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return "0." + "0" * -point + digits
    tail = f".{digits[1:]}" if len(digits) > 1 else ""
    return f"{digits[0]}{tail}e{point - 1:+d}"
