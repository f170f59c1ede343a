"""Full card numbers in an export: such a file is not taken in, and nothing of it is kept.

A card number (ISO/IEC 7812) has 12 to 19 digits, of which the last is a check digit by the Luhn formula. PCI DSS asks
that one is never stored readable, and shown with its first six and last four digits at most; here only the last four
are ever shown. One in ten numbers passes the formula by chance, so in a column of references the share that passes is
weighed; in a column that names cards, or in free text, one is enough.
"""

import math
import re
from typing import NamedTuple

import polars as pl

from recon.intake.table import ROW, FileLines, TextTable

_MARK = "[ \\-\u00a0\u2007\u2009\u202f\u2010-\u2015\u2212]"
"""What may stand between the digits of one number: blanks and dashes, as they come from a web page or a phone."""
_LONG = f"[0-9](?:{_MARK}{{0,3}}[0-9]){{11}}"
_ANY_LONG = re.compile(_LONG)
"""Twelve digits: where a text has none, it holds no card number."""
_NO_NUMBERS = r"[0-9]+(?:\.[0-9]+)+|[0-9]*[A-Za-z][0-9A-Za-z]*[0-9][0-9A-Za-z]*|[0-9]+[A-Za-z][0-9A-Za-z]*"
"""Decimals, and codes with letters in them: their digits are none of a card number. A full stop behind one is none of
a decimal."""
_GROUPED = "[0-9]{4}(?: [0-9]{4}){3}(?: [0-9]{3})?|[0-9]{4} [0-9]{6} [0-9]{4,5}"
"""How a number is parted on a card (of 16, 19, 14 and 15 digits)."""
_MOST_GROUPS = 12
"""Groups of digits in a row at whose beginning a card number is looked for."""
_SHORT = 1_000_000
"""Characters of a text up to which one search through all of it is quicker than a look at every column."""
_NAMES_CARDS = re.compile(
    r"card|karte|carte|tarjeta|carta|kaart|cart[aã]o|(?<![a-z])(?:pan|cc)(?![a-z])", re.IGNORECASE
)
_NOT_A_NUMBER = re.compile(
    r"type|typ\b|tipo|soort|art\b|brand|scheme|tender|name|holder|fee|amount|sales|price", re.IGNORECASE
)

_NAMES_REFERENCES = re.compile(
    r"ref|txn|trans|\bid\b|\bno\b|num|nr|receipt|order|serial|beleg|time|date|uuid|code", re.IGNORECASE
)

_PREFIXES = {
    13: r"4", 14: r"3(?:0[0-5]|[689])", 15: r"3[47]",
    16: r"(?:4|5[1-5]|2(?:2[2-9]|[3-6]|7[01]|720)|6(?:011|4[4-9]|5)|35(?:2[89]|[3-8])|62|3[689])",
    17: r"62", 18: r"62", 19: r"(?:4|62|6(?:011|4[4-9]|5))",
}  # fmt: skip
"""First digits in use for numbers of each length. From memory: the register of issuers itself is not public."""

CHANCE = 0.1
"""Share of random numbers that pass the Luhn formula: the check digit has ten values, one of which fits."""
_TERMS = 1000
"""Terms of the sum, of which each is smaller than the one before by a factor that soon tells."""
SURE = 1e-3
"""A column of numbers is taken for card numbers where so many passing by chance is less likely than this."""

FEW = 3
"""Fewer numbers than this cannot be told from chance at all: three in a row pass by chance once in a thousand times."""


class CardNumber(NamedTuple):
    """Where a full card number stands. row: the line of the file. last: its last four digits."""

    row: int
    column: str
    last: str


def luhn(digits: pl.Expr) -> pl.Expr:
    """Whether a text of digits passes the Luhn check (ISO/IEC 7812-1, annex B): from the right, every second digit is
    doubled, the digits of the results are summed, and the sum ends in 0."""
    padded = digits.str.zfill(20)
    total = pl.lit(0, pl.Int64)
    for place in range(20):
        digit = padded.str.slice(place, 1).cast(pl.Int64, strict=False)
        total = total + (pl.when(digit > 4).then(digit * 2 - 9).otherwise(digit * 2) if place % 2 == 0 else digit)
    return total % 10 == 0


def find_card_number(table: TextTable) -> CardNumber | None:
    """The first full card number of a file, or None. Looks at every cell, the header, torn records, and lines that are
    no rows."""
    data = table.lines.data if isinstance(table.lines, FileLines) else None
    if data is not None and not (_has_long(data) and (len(data) > _SHORT or _ANY_LONG.search(data.decode()))):
        return None
    # By its place, not by name: polars takes a column called "*" for all of them.
    rows = table.frame[ROW].alias("row")
    columns = [
        (name, pl.DataFrame([rows, table.frame.to_series(at).alias("text")])) for at, name in enumerate(table.header)
    ]
    columns.append(("header", pl.DataFrame({"row": [table.line] * len(table.header), "text": list(table.header)})))
    aside = [torn.row for torn in table.torn] + [passed.row for passed in table.passed]
    if aside:
        columns.append(("whole line", pl.DataFrame({"row": aside, "text": table.original(aside)})))
    for name, cells in columns:
        found = _in_column(name, cells)
        if found is not None:
            return found
    return None


_DIGITS_ALIKE = bytes(ord("0") if chr(byte) in "0123456789" else byte for byte in range(256))
_BETWEEN = b" -" + bytes(range(128, 256))
"""The bytes of what may stand between digits, and of all else that is not ASCII."""


def _has_long(data: bytes) -> bool:
    """Whether twelve digits could stand in a row, all marks left out: most files are cleared so, in hardly any time."""
    return b"0" * 12 in data.translate(_DIGITS_ALIKE, delete=_BETWEEN)


def _in_column(name: str, cells: pl.DataFrame) -> CardNumber | None:
    longest = cells["text"].str.len_bytes().max()
    if not isinstance(longest, int) or longest < 12:
        return None
    suspects = cells.filter((pl.col("text").str.len_bytes() >= 12) & pl.col("text").str.contains(_LONG))
    if suspects.height == 0:
        return None
    runs = _numbers_in(suspects)
    names_cards = bool(_NAMES_CARDS.search(name)) and not _NOT_A_NUMBER.search(name)
    hits = runs.filter(pl.col("passes")) if names_cards else runs.filter(pl.col("passes") & pl.col("known"))
    plain = hits.filter(~pl.col("text").str.contains(r"[A-Za-z].*[ ]|[ ].*[A-Za-z]") & ~pl.col("grouped"))
    if hits.height == 0 or (not names_cards and plain.height == hits.height and _by_chance(name, cells, runs, hits)):
        return None
    row, digits = hits.sort("row").select("row", "digits").row(0)
    return CardNumber(int(row), name, str(digits)[-4:])


def _numbers_in(cells: pl.DataFrame) -> pl.DataFrame:
    """Every number in `text` that may be a card's: `digits`, whether they are `grouped` as on a card, whether the Luhn
    formula `passes` and the number is `known`; with `row` and `text`.

    Looked at are rows of digit groups as a whole, each group by itself, and groups parted as on a card: an expiry date
    or a code beside a number does not hide it.
    """
    is_digits = pl.col("text").str.contains("^[0-9]+$")
    found = [cells.filter(is_digits).with_columns(pl.col("text").alias("digits"), pl.lit(False).alias("grouped"))]
    cells = cells.filter(~is_digits)
    bare = pl.col("text").str.replace_all(_NO_NUMBERS, "x").str.replace_all(f"([0-9]){_MARK}{{1,3}}", "${1} ")
    rows = cells.with_columns(bare.str.extract_all(r"[0-9]+(?: [0-9]+)*").alias("run"))
    rows = rows.explode("run", empty_as_null=True, keep_nulls=True).filter(pl.col("run").str.len_bytes() >= 12)
    found.append(rows.drop("run").with_columns(rows["run"].alias("digits"), pl.lit(False).alias("grouped")))
    left = rows.filter(pl.col("run").str.contains(" ", literal=True))
    for _ in range(_MOST_GROUPS if left.height else 0):
        alone = pl.col("run").str.extract("^([0-9]+)")
        parted = pl.col("run").str.extract(f"^({_GROUPED})(?: |$)")
        found += [
            left.select("row", "text", alone.alias("digits"), pl.lit(False).alias("grouped")),
            left.select("row", "text", parted.alias("digits"), pl.lit(True).alias("grouped")),
        ]
        left = left.with_columns(pl.col("run").str.replace("^[0-9]+ ?", "")).filter(pl.col("run").str.len_bytes() >= 12)
    every = pl.concat(each.select("row", "text", "digits", "grouped") for each in found)
    if rows.height:
        every = every.with_columns(pl.col("digits").str.replace_all(" ", "", literal=True))
        every = every.group_by("row", "text", "digits", maintain_order=True).agg(pl.col("grouped").any())
    every = every.filter(pl.col("digits").str.len_bytes().is_between(12, 19))
    return every.with_columns(luhn(pl.col("digits")).alias("passes"), _known(pl.col("digits")).alias("known"))


def _known(digits: pl.Expr) -> pl.Expr:
    """Whether length and first digits are in use for card numbers."""
    return pl.any_horizontal(
        (digits.str.len_bytes() == length) & digits.str.contains(f"^{prefix}") for length, prefix in _PREFIXES.items()
    )


def _by_chance(name: str, cells: pl.DataFrame, runs: pl.DataFrame, hits: pl.DataFrame) -> bool:
    """Whether the hits are what chance gives in a column that holds a long number in every row, such as references."""
    if runs.height * 2 < cells["text"].count():
        return False
    tried = int(runs["known"].sum())
    if tried < FEW:
        # Too few to weigh: the column's name decides.
        return bool(_NAMES_REFERENCES.search(name))
    return tail(hits.height, tried) > SURE


def tail(hits: int, tried: int) -> float:
    """Chance that `hits` or more of `tried` random numbers pass the Luhn check (binomial, one in ten); 1 where they are
    no more than chance gives.

    Summed through logarithms, for the coefficients of thousands of numbers are too large for a float.
    """
    if hits <= tried * CHANCE:
        return 1.0
    return math.fsum(
        math.exp(
            math.lgamma(tried + 1) - math.lgamma(count + 1) - math.lgamma(tried - count + 1)
            + count * math.log(CHANCE) + (tried - count) * math.log1p(-CHANCE)
        )
        for count in range(hits, min(tried, hits + _TERMS) + 1)
    )  # fmt: skip


def without_digits(text: str) -> str:
    """A name that is to be shown before its file was looked at: no run of digits as long as a card number stays."""
    return re.sub(r"[0-9](?:[ \-]?[0-9]){11,18}", "...", text)


def many_digits(text: str) -> bool:
    """Tell whether a text has as many digits in a row as the shortest card number: without them it holds none."""
    return _ANY_LONG.search(text) is not None


def card_number_in(text: str) -> str | None:
    """The last four digits of the first full card number in a text that a person wrote, or None.

    One number of a known length and prefix that passes the check is enough: nobody writes such a number into a reason
    by chance.
    """
    if not many_digits(text):
        return None
    found = _numbers_in(pl.DataFrame({"row": [1], "text": [text]})).filter(pl.col("passes") & pl.col("known"))
    return str(found["digits"][0])[-4:] if found.height else None
