"""The quick reader of plain TOML says what tomllib says, or says nothing."""

import tomllib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.route.plain import read_plain

VALUES = (
    "1", "-1", "01", "+1", "1_000", "0x1f", "-0", "1.75", "1.", ".5", "1e3", "0.50", "00.5", "nan", "true",
    "false", "True", '"text"', '""', '"""x"""', '"a\\nb"', '"a\\u00e9"', "'x'", '"ü"', '"a" "b"',
    '"unclosed', "2026-08-03T07:00:00", "2026-13-03T07:00:00", "2026-08-03", "2026-08-03T07:00:00Z",
    "2026-08-03T07:00:00.5", "07:00:00", "[1, 2]", "{ a = 1 }", "12345678901234567890", '"tab\tin"',
    '"del\x7f"',
)  # fmt: skip
KEYS = st.sampled_from(["a", "b", "slot", "a.b", '"q"', "label", "-", "é", ""])
HEADS = st.sampled_from(
    ["[a]", "[[a]]", "[slot]", "[[slot]]", "[[ slot ]]", "[a.b]", "[]", "[[a]", "[a", " [a]", '["a"]']
)
ENDS = st.sampled_from(["\n", "\n", " # note\n", "\t\n", "\n\n", " junk\n", "# \x01\n", "\r\n", ""])
LINES = st.one_of(
    st.tuples(KEYS, st.sampled_from(["=", " = ", "\t=", " "]), st.sampled_from(VALUES), ENDS).map("".join),
    st.tuples(HEADS, ENDS).map("".join),
    ENDS,
)


def by_tomllib(text: str) -> object:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError:
        return None


@given(st.lists(LINES, max_size=6).map("".join))
def test_it_agrees_with_tomllib_wherever_it_speaks(text: str) -> None:
    plain = read_plain(text)
    if plain is not None:
        assert repr(plain) == repr(by_tomllib(text))


@given(st.text(max_size=40))
def test_any_text_at_all(text: str) -> None:
    plain = read_plain(text)
    if plain is not None:
        assert repr(plain) == repr(by_tomllib(text))


def test_a_layout_as_people_write_it_is_plain() -> None:
    text = (
        '# the quay\nmachine = "quay-2"\neffective = 2026-08-03T07:00:00\nprice_step = 0.05  # step\n\n'
        '[[slot]]\nlabel = "110"\nbus = 272\nprice = "1.75"\n\n[[slot]]\nlabel = 112\n'
        "[[change]]\nretire = true"
    )
    plain = read_plain(text)
    assert plain is not None
    assert repr(plain) == repr(by_tomllib(text))
    assert [slot["label"] for slot in plain["slot"]] == ["110", 112]


@pytest.mark.parametrize(
    "text", ["a = 1\na = 2\n", "[a]\n[a]\n", "[[a]]\n[a]\n", "[a]\n[[a]]\n", "a = 1\n[[a]]\n"]
)
def test_what_stands_twice_is_left_to_tomllib(text: str) -> None:
    assert read_plain(text) is None
