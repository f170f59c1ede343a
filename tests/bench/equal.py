"""Are the figures of a peer those of recon, window by window? A benchmark of jobs that differ would compare nothing."""

import json
from pathlib import Path

import polars as pl


def hold_against(results: Path, peer: Path) -> str:
    """Compare results.json with what a peer wrote; returns the totals in a line.

    Raises SystemExit with the first window that differs.
    """
    told = json.loads(results.read_text(encoding="utf-8"))
    stock = _closed(told["stock"], "vended").select("machine", "label", "closed", pl.col("vended").alias("figure"))
    cash = _closed(told["cash"], "expected").select(
        "machine", "closed", pl.col("expected").str.replace(".", "", literal=True).cast(pl.Int64).alias("figure")
    )
    totals = []
    for name, ours in (("stock", stock), ("cash", cash)):
        theirs = pl.read_parquet(peer / f"{name}.parquet").select(ours.columns).cast(ours.schema)
        key = ours.columns[:-1]
        both = ours.join(theirs, on=key, how="full", suffix="_peer")
        differ = both.filter(pl.col("figure").ne_missing(pl.col("figure_peer")))
        if differ.height or ours.height != theirs.height or ours.height == 0:
            raise SystemExit(
                f"{name}: {differ.height} of {ours.height} windows differ from {peer.name}: {differ.head(3)}"
            )
        totals.append(f"{ours.height} {name} windows, {ours['figure'].sum()}")
    return f"{totals[0]} units; {totals[1]} cents"


def hold_scans_against(one: Path, other: Path) -> str:
    """Compare what both scans wrote; returns the number of rows. Raises SystemExit where they differ."""
    frames = [pl.read_parquet(folder / "vends.parquet") for folder in (one, other)]
    if not frames[0].equals(frames[1]):
        raise SystemExit(f"the tables of {one.name} and {other.name} differ: {frames[0]} {frames[1]}")
    return f"{frames[0].height} rows"


def _closed(windows: list[dict[str, object]], figure: str) -> pl.DataFrame:
    names = [name for name in ("machine", "label", "closed_at", figure) if name in windows[0]]
    frame = pl.DataFrame({name: [window[name] for window in windows] for name in names})
    moment = pl.col("closed_at").str.to_datetime("%+", time_unit="us", time_zone="UTC")
    return frame.with_columns(moment.dt.epoch("us").alias("closed"))
