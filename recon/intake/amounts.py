"""Amounts and whole numbers in whichever way they are written, brought to one plain form: -1234.50.

The decimal mark is settled from the whole column of a file, never cell by cell. A cell speaks for a mark where it reads
under that mark alone: 1,234.50 and 1.5 speak for the point, 1.234.567 and 1,5 for the comma. A lone mark with three
digits behind it (1,234) reads under both: there the column decides, else the other columns of the file, else the digits
that the currency has. What is still open then is refused, as a column of days is that could be months.

No digit is ever changed, dropped or rounded here: only signs, blanks and marks go.
"""

import re
from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

import polars as pl

from recon.intake.clock import AmbiguousFormat
from recon.intake.currency_signs import may_be
from recon.intake.recurring import coded, is_coded
from recon.intake.table import FEW_ROWS
from recon.intake.values import UNDEFINED_NUMBERS
from recon.model.currencies import EXPONENTS
from recon.model.frames import Frame

Mark = Literal[".", ","]
MARKS: Final[tuple[Mark, ...]] = (".", ",")

MONEY: Final = ("price", "total", "notes", "coins", "tubes", "gross", "fees", "net")
WHOLE: Final = ("bus", "counted", "loaded", "removed", "quantity")

_PLAIN: Final = {
    None: r"^[+-]?[0-9]{1,15}(\.[0-9]{1,2})?$",
    ".": r"^[+-]?[0-9]{1,15}(\.[0-9]+)?$",
    ",": r"^[+-]?[0-9]{1,15}$",
}
"""What needs no second look, by the decimal mark that the description names. Three digits behind a point may be a
thousand."""

_BLANKS = r"[\s\u{a0}\u{2007}\u{2009}\u{202f}]+"
_DIRECTIONS = r"[\u{200e}\u{200f}\u{061c}\u{202a}-\u{202e}\u{2066}-\u{2069}]"
_DASHES = r"[−–‐‑﹣－]"
_APOSTROPHES = r"[’‘ʼ`´]"
_SEVERAL = 200
"""Different texts among some rows of a column from which on it does not pay to look at each text once."""


class Forms(NamedTuple):
    """The different texts of one column. frame: text, coin (its currency), rows, first (row), and how each reads:
    point, comma (plain text or null), foreign (what stands beside it is another currency's)."""

    field: str
    frame: pl.DataFrame
    money: bool


def plain_numbers(
    frame: Frame, fields: Sequence[str], *, coin: pl.Expr, decimal: Mark | None, minor_units: bool = False
) -> Frame:
    """Add `plain_<field>` and `odd_<field>` for each number column (`text_<field>`) that is not plain as it stands.

    plain: the number with a point and without thousands marks, null where it does not read. odd: why it does not,
    where the column says more than the cell. coin: the currency code of each row, whose digits settle what
    is open (none, in `minor_units`). decimal: the mark that the description names, if it does.
    Raises AmbiguousFormat where a column can be read two ways.
    """
    dressed = [field for field in fields if not _is_plain(frame[f"text_{field}"], decimal)]
    if not dressed:
        return frame
    shown = frame.with_columns(coin.alias("coin"))
    forms = [_forms(shown, field, minor_units=minor_units) for field in dressed]
    settled = {each.field: _evidence(each.frame) if decimal is None else {decimal} for each in forms}
    elsewhere = {mark for marks in settled.values() for mark in marks}
    elsewhere |= {
        "." for field in fields if field not in dressed and frame[f"text_{field}"].str.contains(".", literal=True).any()
    }
    for each in forms:
        marks = settled[each.field]
        mark = decimal or _mark(each, marks, elsewhere)
        read = _read(each, mark, mixed=len(marks) > 1)
        if read.select(
            (pl.col("plain") == pl.col("text")).fill_null(False).all() & pl.col("odd").is_null().all()
        ).item():
            continue
        named = read.rename({"text": f"text_{each.field}", "plain": f"plain_{each.field}", "odd": f"odd_{each.field}"})
        shown = shown.join(named, on=[f"text_{each.field}", "coin"], how="left", maintain_order="left")
    return shown.drop("coin")


def dressed_rows(frame: Frame, fields: Sequence[str], decimal: Mark | None) -> list[pl.Series]:
    """For each number column (`text_<field>`) that is not plain as it stands, which rows are not (null for empty
    cells)."""
    shown = [f"text_{field}" for field in fields]
    every = [each for name in shown if is_coded(frame[name]) and (each := coded(frame[name])) is not None]
    odd = [each.put(marked) for each in every if (marked := ~each.texts.str.contains(_PLAIN[decimal])).any()]
    shown = [name for name in shown if not is_coded(frame[name])]
    if frame.height <= FEW_ROWS:
        form = re.compile(_PLAIN[decimal].strip("^$"))
        shown = [name for name in shown if not all(cell is None or form.fullmatch(cell) for cell in frame[name])]
    if frame.height > 10 * _SEVERAL:
        shown = [name for name in shown if not _is_plain(frame[name], decimal)]
    if not shown:
        return odd
    rows = frame.select(~pl.col(name).str.contains(_PLAIN[decimal]) for name in shown)
    return odd + [column for column in rows.get_columns() if column.any()]


def _is_plain(texts: pl.Series, decimal: Mark | None) -> bool:
    """Whether the column needs no second look. Where few texts recur, each is looked at once."""
    if texts.len() > 10 * _SEVERAL and texts.gather_every(texts.len() // (4 * _SEVERAL)).n_unique() < _SEVERAL:
        texts = texts.unique()
    return bool(texts.str.contains(_PLAIN[decimal]).all())


def _forms(frame: Frame, field: str, *, minor_units: bool) -> Forms:
    money = field in MONEY
    rows = frame.select(pl.col(f"text_{field}").alias("text"), "coin", "row").filter(pl.col("text").is_not_null())
    each = (
        rows.group_by("text", "coin")
        .agg(pl.len().alias("rows"), pl.col("row").min().alias("first"))
        .sort("first", "text")
    )
    digits = {code: 0 if minor_units or not money else EXPONENTS[code] for code in each["coin"].unique().to_list()}
    return Forms(
        field,
        _readings(
            each.with_columns(pl.col("coin").replace_strict(digits, return_dtype=pl.Int64).alias("digits")), field
        ),
        money,
    )


def _readings(each: pl.DataFrame, field: str) -> pl.DataFrame:
    """How each text reads under either mark: its sign, what stands beside the digits, the digits with their marks."""
    clean = (
        pl.col("text").str.replace_all(_DIRECTIONS, "").str.replace_all(_BLANKS, " ")
        .str.replace_all(_DASHES, "-").str.replace_all(_APOSTROPHES, "'").str.strip_chars()
    )  # fmt: skip
    each = each.with_columns(
        clean.str.contains(r"^[^0-9()]*\([^()]*[0-9][^()]*\)[^0-9()]*$").alias("brackets"), clean.alias("clean")
    )
    bare = pl.when("brackets").then(pl.col("clean").str.replace_all(r"[()]", "")).otherwise("clean")
    each = each.with_columns(
        bare.str.extract(r"^([^0-9]*)[0-9]").alias("before"),
        bare.str.extract(r"^[^0-9]*([0-9](?:.*[0-9])?)").alias("body"),
        bare.str.extract(r"[0-9]([^0-9]*)$").alias("after"),
    )  # fmt: skip
    beside = pl.concat_str("before", "after")
    minus = beside.str.count_matches("-", literal=True) + pl.col("brackets").cast(pl.UInt32)
    plus = pl.col("before").str.count_matches("+", literal=True)
    each = each.with_columns(
        pl.when(minus > 0).then(pl.lit("-")).otherwise(pl.lit("")).alias("sign"),
        ((minus + plus) <= 1).alias("one_sign"),
        pl.col("before").str.replace_all("[-+ ]", "").alias("before"),
        pl.col("after").str.replace_all("[- ]", "").alias("after"),
    )  # fmt: skip
    each = each.join(
        _beside(each, field), on=["before", "after", "coin"], how="left", nulls_equal=True, maintain_order="left"
    )
    spelled = pl.col("text").str.to_lowercase()
    kept = spelled.is_in(UNDEFINED_NUMBERS) if field in ("price", "bus") else pl.lit(False)
    readable = pl.col("one_sign").fill_null(False) & pl.col("known").fill_null(False) & ~kept
    reads = [
        pl.when(kept).then("text").when(readable).then(pl.col("sign") + _under(pl.col("body"), mark)).alias(name)
        for mark, name in zip(MARKS, ("point", "comma"), strict=True)
    ]
    return each.with_columns(reads)


def _beside(each: pl.DataFrame, field: str) -> pl.DataFrame:
    """What stands beside digits, each once: `known` where it may be the currency of the row, `foreign` where not."""
    pairs = each.select("before", "after", "coin").unique(maintain_order=True)
    known: list[bool] = []
    foreign: list[str | None] = []
    for before, after, coin in pairs.iter_rows():
        signs = [sign for sign in (before, after) if sign]
        fits = [may_be(sign, coin) if field in MONEY else None for sign in signs]
        known.append(all(fits))
        other = [sign for sign, fit in zip(signs, fits, strict=True) if fit is False]
        foreign.append(other[0] if other and None not in fits else None)
    return pairs.with_columns(
        pl.Series("known", known, dtype=pl.Boolean), pl.Series("foreign", foreign, dtype=pl.String)
    )


def _under(body: pl.Expr, mark: Mark) -> pl.Expr:
    """Digits and marks as plain text under a decimal mark; null where they do not read so.

    Thousands stand in groups of three, with one kind of mark throughout.
    """
    other = "," if mark == "." else r"\."
    groups = "|".join(rf"[1-9][0-9]{{0,2}}(?:{thousand}[0-9]{{3}})+" for thousand in (other, " ", "'"))
    if mark == ".":
        groups += r"|[1-9][0-9]?(?:,[0-9]{2})+,[0-9]{3}"  # lakh and crore, as on the Indian subcontinent
    good = body.str.contains(rf"^(?:[0-9]{{1,15}}|{groups})(?:{'[.]' if mark == '.' else ','}[0-9]+)?$")
    plain = body.str.replace_all(rf"[ '{other}]", "")
    return pl.when(good).then(plain if mark == "." else plain.str.replace(",", ".", literal=True))


_OPEN = pl.col("point") != pl.col("comma")
"""Reads under either mark, as two different numbers. (Null where it reads under one at most.)"""


def _evidence(each: pl.DataFrame) -> set[Mark]:
    """The marks that some text of a column speaks for."""
    there = each.select(
        (pl.col("point").is_not_null() & pl.col("comma").is_null()).any().alias("."),
        (pl.col("comma").is_not_null() & pl.col("point").is_null()).any().alias(","),
    )
    return {mark for mark in MARKS if there[mark].item()}


def _mark(forms: Forms, marks: set[Mark], elsewhere: set[Mark]) -> Mark:
    """The decimal mark of a column: by its own texts, by the file's other columns, by the digits of the currency."""
    each = forms.frame
    if len(marks) > 1:
        only = each.select(
            pl.col("rows").filter(pl.col(name).is_not_null()).sum().alias(name) for name in ("point", "comma")
        )
        return "," if only["comma"].item() > only["point"].item() else "."
    undecided = each.filter(_OPEN)
    for settled in (marks, elsewhere):
        if len(settled) == 1:
            return next(iter(settled))
    if undecided.height == 0:
        return "."
    possible = [
        mark
        for mark, name in zip(MARKS, ("point", "comma"), strict=True)
        if _allowed(undecided, name, money=forms.money)
    ]
    if len(possible) == 2:
        possible = _by_neighbours(each, undecided)
    if len(possible) == 1:
        return possible[0]
    text, point, comma = undecided.select("text", "point", "comma").row(0)
    raise AmbiguousFormat(
        f'the column of {forms.field} can be read two ways ("{text}" is {point} or {comma}): add to the description'
        f' the line decimal = "." or decimal = "," under [amounts]'
    )


def _allowed(undecided: pl.DataFrame, name: str, *, money: bool) -> bool:
    """Whether the currency has the digits for every open text under a mark; one without decimals shows none at all."""
    fraction = pl.col(name).str.extract(r"\.([0-9]+)$").fill_null("")
    needed = fraction.str.strip_chars_end("0").str.len_bytes()
    shown = pl.when(pl.lit(money) & (pl.col("digits") == 0)).then(fraction.str.len_bytes()).otherwise(needed)
    return bool(undecided.select((shown <= pl.col("digits")).all()).item())


def _by_neighbours(each: pl.DataFrame, undecided: pl.DataFrame) -> list[Mark]:
    """Of a column such as 85, 1,500, 920: who writes 85 without decimals means a thousand by 1,500.

    Only where the currency has no three digits of its own, every open text has the same mark, and no number of four
    digits stands there without one.
    """
    bare = each.filter(pl.col("body").str.contains("^[0-9]+$"))["body"].str.strip_chars_start("0").str.len_bytes()
    grouped = undecided["comma"].str.contains(".", literal=True).unique().to_list()
    if (undecided["digits"] >= 3).any() or not (bare > 0).any() or (bare > 3).any() or len(grouped) > 1:
        return []
    # Where the comma's reading has decimals the texts hold commas, and these part thousands.
    return ["."] if grouped == [True] else [","]


def _read(forms: Forms, mark: Mark, *, mixed: bool) -> pl.DataFrame:
    """Each text of a column under its settled mark: text, coin, plain, odd."""
    name, other = ("point", "comma") if mark == "." else ("comma", "point")
    field, shown = forms.field, pl.col("text").str.slice(0, 80)
    unsure = _OPEN.fill_null(False) & pl.lit(mixed)
    first = pl.col("body").str.replace(r"^([0-9]+)[.,' ]([0-9]+).*$", "${1}.${2}")
    last = (
        pl.col("body")
        .str.replace(r"[.,' ]([0-9]+)$", "~${1}")
        .str.replace_all("[.,' ]", "")
        .str.replace("~", ".", literal=True)
    )
    several = pl.col("known").fill_null(False) & pl.col("body").str.contains(r"^[0-9]+([.,' ][0-9]+){2,}$")
    either = "its column has numbers with either decimal mark"
    misfit = f"does not fit its column, in which the decimal mark is the {'point' if mark == '.' else 'comma'}"
    odd = (
        pl.when(unsure).then(pl.format(f'{field} "{{}}" could be {{}} or {{}}: {either}', shown, "point", "comma"))
        .when(pl.col(name).is_not_null()).then(pl.lit(None, pl.String))
        .when(pl.col("foreign").is_not_null())
        .then(pl.format(f'{field} "{{}}" is in {{}}, where the machine takes {{}}', shown, "foreign", "coin"))
        .when(pl.col(other).is_not_null()).then(pl.format(f'{field} "{{}}" {misfit}', shown))
        .when(several).then(pl.format(f'{field} "{{}}" reads neither as {{}} nor as {{}}', shown, first, last))
    )  # fmt: skip
    good = pl.when(~unsure).then(name)
    return forms.frame.select("text", "coin", good.alias("plain"), odd.alias("odd"))
