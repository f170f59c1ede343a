"""From figures to findings: what each kind's rule hands over, and how all of it becomes the findings frame."""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from string import Formatter
from typing import Concatenate, Final, NamedTuple, ParamSpec

import polars as pl

from recon.findings.catalogue.kind import Kind
from recon.findings.catalogue.run_kinds import RUN_KINDS
from recon.model.border import guard
from recon.model.frames import FINDINGS, Frame
from recon.model.spelling import DAY_AND_CLOCK, local_text, money_by_machine
from recon.model.words import EVIDENCE_SHOWN, SEVERITIES


class Draft(NamedTuple):
    """What one rule found.

    rows: one row a finding, with `n` (its number within the draft), any of the columns of the findings frame, the
    columns that its kind's id is made of, and a text column for each {name} in the kind's words. A column `severity`
    overrides the kind's. evidence: `n`, `file`, `row`, sorted as it is to be shown; row 0 stands for a whole file. A
    column `evidence_count` of `rows` says how many rows there are, where only the first of them are at hand.
    """

    kind: str
    rows: Frame
    evidence: Frame


NOTHING: Final = Draft("", pl.DataFrame(), pl.DataFrame())
"""What a rule hands over that found nothing."""

_Rest = ParamSpec("_Rest")


def if_any(rule: Callable[Concatenate[Frame, _Rest], Draft]) -> Callable[Concatenate[Frame, _Rest], Draft]:
    """A rule that finds nothing where its first frame has no rows.

    Most rules of most runs find nothing, and each would ask polars a dozen times before it said so.
    """

    @wraps(rule)
    def asked(frame: Frame, /, *rest: _Rest.args, **named: _Rest.kwargs) -> Draft:
        return rule(frame, *rest, **named) if frame.height else NOTHING

    return asked


class Speller(NamedTuple):
    """How figures are spelled in sentences: money in each machine's digits, times in its zone, files by their path."""

    paths: Sequence[str]
    zones: dict[str, str]
    digits: dict[str, int]
    zone: str
    default_digits: int

    def money(self, minor: pl.Expr) -> pl.Expr:
        """An amount as text; null stays null. The frame needs a `machine` column."""
        return money_by_machine(minor, self.digits, self.default_digits)

    def local(self, frame: Frame, **names: str) -> Frame:
        """Add text columns with local times: local(frame, opened="opened_at")."""
        copied = frame.with_columns(pl.col(source).alias(name) for name, source in names.items())
        return local_text(copied, list(names), self.zones, self.zone, DAY_AND_CLOCK)

    def path(self, file: pl.Expr) -> pl.Expr:
        """A file number as its path."""
        numbered = dict(enumerate(self.paths))
        return (
            file.replace_strict(numbered, default=None, return_dtype=pl.String) if numbered else pl.lit(None, pl.String)
        )


def how_many(count: pl.Expr, one: str, many: str | None = None) -> pl.Expr:
    """`1 vend`, `3 vends`."""
    noun = pl.when(count == 1).then(pl.lit(one)).otherwise(pl.lit(many or f"{one}s"))
    return pl.concat_str(count.cast(pl.String), pl.lit(" "), noun)


def numbered(frame: Frame) -> Frame:
    """Give the rows of a draft their numbers."""
    return frame.select(pl.int_range(pl.len(), dtype=pl.Int64).alias("n"), pl.all())


def evidence_of(frame: Frame) -> Frame:
    """The columns of evidence, in the order in which the rows stand."""
    return frame.select(pl.col("n").cast(pl.Int64), pl.col("file").cast(pl.Int32), pl.col("row").cast(pl.Int64))


def compile_findings(drafts: Iterable[Draft]) -> Frame:
    """All findings, worst first: by severity, money at stake, kind, machine, label, time and id."""
    return in_order([_compiled(draft) for draft in drafts if draft.rows.height])


def in_order(parts: Sequence[Frame]) -> Frame:
    """Findings from several frames, worst first."""
    if not parts:
        return FINDINGS.empty()
    whole = pl.concat(parts) if len(parts) > 1 else parts[0]
    if whole.height < 2:
        return guard(whole, FINDINGS)
    ordered = whole.sort(
        pl.col("severity").to_physical(),
        -pl.col("amount").fill_null(0).abs(),
        -pl.col("units").fill_null(0).abs(),
        "kind",
        "machine",
        "label",
        "bus",
        "opened_at",
        "id",
        nulls_last=True,
    )
    return guard(ordered, FINDINGS)


def _compiled(draft: Draft) -> Frame:
    kind = RUN_KINDS[draft.kind]
    rows = draft.rows
    there = set(rows.columns)
    filled = rows.with_columns(
        pl.lit(None, FINDINGS.schema[name]).alias(name)
        for name in ("machine", "label", "bus", "product", "opened_at", "closed_at", "units", "amount")
        if name not in there
    )
    severity = pl.col("severity") if "severity" in there else pl.lit(kind.severity)
    filled = filled.with_columns(
        pl.lit(kind.code).alias("kind"),
        severity.cast(pl.Enum(SEVERITIES)).alias("severity"),
        said(kind.words).alias("message"),
        said(kind.advice).alias("advice"),
    )
    filled = filled.with_columns(pl.Series("id", identities(kind, filled), dtype=pl.String))
    proof = draft.evidence.group_by("n", maintain_order=True).agg(
        pl.struct("file", "row").head(EVIDENCE_SHOWN).alias("evidence"), pl.len().cast(pl.Int64).alias("at_hand")
    )
    joined = filled.join(proof, on="n", how="left", maintain_order="left")
    return joined.with_columns(
        pl.col("evidence").fill_null(pl.lit([], FINDINGS.schema["evidence"])),
        pl.coalesce("evidence_count" if "evidence_count" in there else "at_hand", pl.lit(0)).alias("evidence_count"),
        # What was decided is not known here: recon.ledger.decisions settles it.
        pl.lit("open").alias("state"),
        pl.lit(None, pl.Int64).alias("decision"),
        pl.lit(False).alias("changed_since"),
    ).select(pl.col(name).cast(dtype) for name, dtype in FINDINGS.schema.items())


def said(words: str) -> pl.Expr:
    """The sentence of a template such as "{machine} {label}: short {size}", from columns of those names; null reads as
    nothing.

    A name without a column raises: a sentence with a hole in it is a fault. Control characters that came from a file
    are replaced, so that no file steers the terminal or breaks a line.
    """
    parts: list[pl.Expr] = []
    for literal, name, _, _ in Formatter().parse(words):
        if literal:
            parts.append(pl.lit(literal))
        if name is not None:
            parts.append(pl.col(name).cast(pl.String).fill_null("").str.replace_all(r"\p{C}", "?"))
    return pl.concat_str(parts)


def identities(kind: Kind, frame: Frame) -> list[str]:
    """The ids of findings: twelve hexadecimal digits of a SHA-256 over the kind and what the finding is about, and
    nothing else.

    Two findings may be about the same thing: a statement with two payouts of one day and no references. The first by
    its `message` has the plain id, the others are numbered behind it: their order in the files decides nothing.
    """
    told = [_told(name, frame.schema[name]) for name in kind.about]
    about = frame.select(pl.concat_str(pl.lit(f"{kind.code}\n"), *told).alias("about"), "message")
    nth = pl.col("message").rank("ordinal").over("about")
    again = pl.when(nth > 1).then(pl.format("again={}\n", nth)).otherwise(pl.lit(""))
    texts = about.select(pl.col("about") + again).to_series().to_list()
    return [hashlib.sha256(text.encode()).hexdigest()[:12] for text in texts]


def _told(name: str, dtype: pl.DataType) -> pl.Expr:
    """`name=length:text`, so that no two different things are ever spelled alike; an empty field is `name=-`."""
    value = pl.col(name)
    if isinstance(dtype, pl.Datetime):
        text = value.dt.to_string("%Y-%m-%dT%H:%M:%S.%6fZ")
    elif isinstance(dtype, pl.Date):
        text = value.dt.to_string("%Y-%m-%d")
    else:
        text = value.cast(pl.String)
    told = pl.format(f"{name}={{}}:{{}}\n", text.str.len_bytes(), text)
    return pl.when(value.is_null()).then(pl.lit(f"{name}=-\n")).otherwise(told)
