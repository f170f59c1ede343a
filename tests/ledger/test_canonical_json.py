"""Canonical JSON against the vectors and the number table of RFC 8785, and against another implementation of it."""

import json
import math
import struct
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from recon.ledger.canonical import LARGEST_INTEGER, canonical, number_text

VECTORS = Path(__file__).parents[1] / "data" / "canonical-json"

# RFC 8785, appendix B, as the tests of the PyPI package rfc8785 0.1.4 carry it: the bits of a double, and its text.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize("name", ["arrays", "french", "structures", "unicode", "values", "weird"])
def test_file_vectors(name: str) -> None:
    """Source: tests of the PyPI package rfc8785 0.1.4 (tests/data/canonical-json/SOURCE.md)."""
    given_text = (VECTORS / "input" / f"{name}.json").read_text(encoding="utf-8")
    assert canonical(json.loads(given_text)) == (VECTORS / "output" / f"{name}.json").read_bytes()


def test_there_are_six_vectors() -> None:
    assert len(list((VECTORS / "input").iterdir())) == len(list((VECTORS / "output").iterdir())) == 6


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_number_table(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert number_text(number) == text


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_no_number(number: float) -> None:
    """RFC 8785, appendix B: 7fffffffffffffff and 7ff0000000000000 are errors."""
    with pytest.raises(ValueError, match="no number of JSON"):
        canonical({"price": number})


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_as_another_implementation_has_them(number: float) -> None:
    """Oracle: the PyPI package rfc8785."""
    assert number_text(number).encode() == rfc8785.dumps(number)
    assert float(number_text(number)) == number


_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-LARGEST_INTEGER, LARGEST_INTEGER)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


@given(_VALUES)
def test_values_as_another_implementation_has_them(value: Any) -> None:
    """Oracle: the PyPI package rfc8785."""
    assert canonical(value) == rfc8785.dumps(value)
    assert canonical(json.loads(canonical(value), parse_int=float)) == canonical(value)


@pytest.mark.parametrize("value", [2**53, -(2**53), 10**30])
def test_integers_that_doubles_cannot_tell_apart_are_refused(value: int) -> None:
    with pytest.raises(ValueError, match="write it as text"):
        canonical([value])


@pytest.mark.parametrize("value", ["\ud800", {"\udc00": 1}, ["ok", "\ud83d"]])
def test_halves_of_surrogate_pairs_are_refused(value: Any) -> None:
    with pytest.raises(ValueError, match="surrogate"):
        canonical(value)


@pytest.mark.parametrize("value", [b"bytes", {1: "a"}, {"a": {2}}, object()])
def test_what_json_does_not_have_is_refused(value: Any) -> None:
    with pytest.raises(TypeError):
        canonical(value)


def test_keys_stand_in_the_order_of_utf_16() -> None:
    """RFC 8785, section 3.2.3: by UTF-16 code units, where U+1F600 (D83D DE00) comes before U+FB33."""
    assert canonical({"\ufb33": 1, "\U0001f600": 2}).decode() == '{"\U0001f600":2,"\ufb33":1}'
