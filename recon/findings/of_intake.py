"""Findings about the files: what could not be read or used, what was said twice."""

from collections.abc import Iterator

import polars as pl

from recon.findings.draft import Draft, Speller, evidence_of, how_many, if_any, numbered
from recon.intake.take_in import Intake
from recon.model.frames import Frame

WHICH = 8
"""Lines that a sentence names."""


def intake_findings(intake: Intake, spell: Speller) -> Iterator[Draft]:
    """Every remark of the intake and every rejected row, as drafts."""
    parts = intake.notices.partition_by("kind", maintain_order=True, as_dict=True)
    none = intake.notices.clear()
    notices = {str(kind): part for (kind,), part in parts.items()}
    for kind in ("unreadable-file", "unknown-format", "no-rows", "encoding-assumed"):
        yield _whole_files(notices.get(kind, none), kind, spell)
    yield _passed(notices.get("lines-passed-over", none), spell)
    yield _mended(notices.get("row-mended", none), spell)
    yield _rows(notices.get("card-number-present", none), "card-number-present", spell)
    if intake.rejects.height or "future-time" in notices:
        yield from _rejects(intake, spell)
    yield _repeats(notices.get("duplicate-row", none), spell)
    yield _changed(notices.get("vend-changed", none), spell)
    yield _repaired(notices.get("label-repaired", none), spell)
    yield _reused(notices.get("reference-reused", none), spell)
    for kind in ("ambiguous-time", "nonexistent-time"):
        yield _clocks(notices.get(kind, none), kind, spell)


@if_any
def _repaired(notices: Frame, spell: Speller) -> Draft:
    """One finding for each file, machine and label that was mended: `label "7" read as 07`."""
    groups = notices.group_by("file", "machine", "detail", maintain_order=True).agg(
        how_many(pl.len(), "row").alias("rows")
    )
    rows = numbered(groups).with_columns(pl.col("detail").str.extract(r"(?s) read as (.*)$").alias("label"))
    proof = notices.join(rows.select("n", "file", "machine", "detail"), on=["file", "machine", "detail"]).sort(
        "n", "row"
    )
    return Draft("label-repaired", rows.with_columns(spell.path(pl.col("file")).alias("file")), evidence_of(proof))


@if_any
def _whole_files(notices: Frame, kind: str, spell: Speller) -> Draft:
    rows = numbered(notices).rename({"file": "number"}).with_columns(spell.path(pl.col("number")).alias("file"))
    return Draft(
        kind, rows.drop("row"), evidence_of(rows.select("n", pl.col("number").alias("file"), pl.lit(0).alias("row")))
    )


@if_any
def _passed(notices: Frame, spell: Speller) -> Draft:
    """One finding a file: how many lines, which, and the first; then the sheets."""
    lines = pl.col("row").is_not_null()
    groups = (
        notices.sort("file", "row", nulls_last=True)
        .group_by("file", maintain_order=True)
        .agg(
            how_many(lines.sum(), "line is no row and was", "lines are no rows and were").alias("many"),
            lines.sum().alias("count"),
            pl.col("detail").filter(lines).first().alias("first"),
            pl.col("row").drop_nulls().head(WHICH).cast(pl.String).str.join(", ").alias("which"),
            pl.col("detail").filter(~lines).str.join(", ").alias("sheets"),
        )
    )
    more = (
        pl.when(pl.col("count") > WHICH).then(pl.format(" and {} more", pl.col("count") - WHICH)).otherwise(pl.lit(""))
    )
    said = pl.when(pl.col("count") > 0).then(
        pl.format('{} passed over ({}{}), the first "{}"', "many", "which", more, pl.col("first").str.slice(0, 80))
    )
    beside = pl.when(pl.col("sheets") != "").then(
        pl.format("{} passed over, for no description or names of ours fit", "sheets")
    )
    rows = numbered(groups.with_columns(pl.concat_str(said, beside, separator="; ", ignore_nulls=True).alias("passed")))
    proof = notices.with_columns(pl.col("row").fill_null(0)).join(rows.select("n", "file"), on="file").sort("n", "row")
    return Draft("lines-passed-over", rows.with_columns(spell.path(pl.col("file")).alias("file")), evidence_of(proof))


@if_any
def _mended(notices: Frame, spell: Speller) -> Draft:
    pairs = notices.group_by("file", "other_file", maintain_order=True).agg(how_many(pl.len(), "row").alias("rows"))
    rows = numbered(pairs).with_columns(spell.path(pl.col("other_file")).alias("other"))
    proof = notices.join(rows.select("n", "file", "other_file"), on=["file", "other_file"]).sort("n", "row")
    return Draft("row-mended", rows.with_columns(spell.path(pl.col("file")).alias("file")), evidence_of(proof))


def _rejects(intake: Intake, spell: Speller) -> Iterator[Draft]:
    """One finding a row; rows of a file that was not taken in at all are told by that file's finding."""
    told = intake.notices.filter(pl.col("kind").is_in(["unknown-format", "card-number-present"])).select("file")
    future = intake.notices.filter(pl.col("kind") == "future-time")
    mended = intake.notices.filter(pl.col("kind") == "row-mended")
    single = intake.rejects.join(told, on="file", how="anti")
    for other in (future, mended):
        single = single.join(other, on=["file", "row"], how="anti")
    future = future.join(mended, on=["file", "row"], how="anti")
    yield _rows(single.with_columns(pl.col("reason").alias("detail")), "rejected-row", spell)
    yield _rows(future, "future-time", spell)


@if_any
def _rows(frame: Frame, kind: str, spell: Speller) -> Draft:
    rows = numbered(frame)
    proof = evidence_of(rows)
    return Draft(kind, rows.with_columns(spell.path(pl.col("file")).alias("file")), proof)


@if_any
def _repeats(notices: Frame, spell: Speller) -> Draft:
    """Return one finding for each file and another that has the same rows."""
    pairs = notices.group_by("file", "other_file", maintain_order=True).agg(
        pl.col("row").count().cast(pl.Int64).alias("rows_count"),
        pl.col("row").null_count().cast(pl.Int64).alias("same"),
    )
    rows = numbered(pairs).with_columns(
        how_many(pl.col("rows_count"), "row").alias("rows"),
        pl.when(pl.col("same") > 0).then(pl.lit("warning")).otherwise(pl.lit("note")).alias("severity"),
        pl.when(pl.col("same") > 0)
        .then(pl.lit(" The two files are the same, byte for byte."))
        .otherwise(pl.lit(""))
        .alias("same_bytes"),
        spell.path(pl.col("other_file")).alias("other"),
        pl.col("rows_count").alias("evidence_count"),
    )
    lines = notices.filter(pl.col("row").is_not_null())
    proof = lines.join(rows.select("n", "file", "other_file"), on=["file", "other_file"]).sort("n", "row")
    return Draft("duplicate-row", rows.with_columns(spell.path(pl.col("file")).alias("file")), evidence_of(proof))


@if_any
def _changed(notices: Frame, spell: Speller) -> Draft:
    rows = numbered(notices).with_columns(
        pl.format("{}:{}", spell.path(pl.col("file")), "row").alias("first"),
        pl.format("{}:{}", spell.path(pl.col("other_file")), "other_row").alias("last"),
        pl.col("time").alias("opened_at"),
    )
    later = rows.select("n", pl.col("other_file").alias("file"), pl.col("other_row").alias("row"))
    return Draft(
        "vend-changed",
        rows,
        evidence_of(pl.concat([rows.select("n", "file", "row"), later]).sort("n", maintain_order=True)),
    )


@if_any
def _reused(notices: Frame, spell: Speller) -> Draft:
    first = notices.select(
        "machine",
        pl.col("detail").alias("reference"),
        pl.col("other_file").alias("file"),
        pl.col("other_row").alias("row"),
    )
    again = notices.select("machine", pl.col("detail").alias("reference"), "file", "row")
    every = pl.concat([first.unique(), again]).sort("machine", "reference", "file", "row")
    placed = every.with_columns(pl.format("{}:{}", spell.path(pl.col("file")), "row").alias("place"))
    rows = numbered(
        placed.group_by("machine", "reference", maintain_order=True).agg(
            how_many(pl.len(), "vend").alias("vends"), pl.col("place").head(4).str.join(", ").alias("places")
        )
    )
    return Draft(
        "reference-reused",
        rows,
        evidence_of(
            every.join(rows.select("n", "machine", "reference"), on=["machine", "reference"]).sort("n", "file", "row")
        ),
    )


@if_any
def _clocks(notices: Frame, kind: str, spell: Speller) -> Draft:
    groups = (
        notices.sort("file", "machine", "time", "row")
        .group_by("file", "machine", maintain_order=True)
        .agg(
            how_many(pl.len(), "row").alias("rows"),
            pl.col("detail").first().alias("when"),
            pl.col("time").min().alias("opened_at"),
            pl.col("time").max().alias("closed_at"),
        )
    )
    rows = numbered(groups)
    proof = notices.join(rows.select("n", "file", "machine"), on=["file", "machine"], nulls_equal=True).sort("n", "row")
    return Draft(kind, rows.with_columns(spell.path(pl.col("file")).alias("file")), evidence_of(proof))
