"""Files that were taken in once and now say something else, or are gone."""

import polars as pl

from recon.findings.draft import Draft, Speller, evidence_of, how_many, if_any, numbered
from recon.model.frames import Frame


def history_findings(changes: Frame, spell: Speller) -> list[Draft]:
    """changes: frame `file_changes`."""
    if changes.height == 0:
        return []
    told = changes.with_columns(
        pl.col("name").alias("_name"),
        pl.col("taken_at").dt.convert_time_zone(spell.zone).dt.to_string("%Y-%m-%d %H:%M").alias("when"),
        pl.col("was").alias("detail"),
        pl.col("entry").cast(pl.String),
    )
    return [
        _changed(told.filter(pl.col("file").is_not_null())),
        _gone(told.filter(pl.col("file").is_null())),
    ]


@if_any
def _changed(changes: Frame) -> Draft:
    gone, added = how_many(pl.col("gone"), "line"), how_many(pl.col("added"), "line")
    rows = numbered(changes).with_columns(
        pl.when(pl.col("gone").is_null())
        .then(pl.lit("it cannot be read to compare"))
        .when(pl.col("gone") == 0)
        .then(pl.format("all of its lines are there, and {} more", added))
        .otherwise(pl.format("{} of it gone or changed, {} new", gone, added))
        .alias("difference"),
        pl.when(pl.col("gone") == 0).then(pl.lit("note")).otherwise(pl.lit("warning")).alias("severity"),
    )
    lines = rows.select("n", "file", pl.col("lines").alias("row")).explode("row", empty_as_null=True, keep_nulls=True)
    return Draft("file-changed", rows.with_columns(pl.col("_name").alias("file")), evidence_of(lines.fill_null(0)))


@if_any
def _gone(changes: Frame) -> Draft:
    rows = numbered(changes).with_columns(pl.col("_name").alias("file"))
    return Draft("file-gone", rows, pl.DataFrame(schema={"n": pl.Int64, "file": pl.Int32, "row": pl.Int64}))
