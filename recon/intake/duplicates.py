"""The same row met twice: counted once, and said.

Vends with a reference are one vend a reference and machine. One that comes back in another state (refunded since) is
still one, in its newest state; the same reference with other content is two vends, and remarked. Rows without a
reference count as often as the file that has them most often: two real vends in one second survive, and an overlap of
two exports does not double. A count told again is one count, and a collection told again with all its rows is one.
"""

from collections.abc import Callable

import polars as pl

from recon.model.border import ordered
from recon.model.frames import BY_KIND, NOTICES, Frame
from recon.model.words import FileKind

_NOT_CONTENT = ("file", "row")


def part_duplicates(
    frame: Frame, kind: FileKind, reach: Callable[[], Frame] | None = None
) -> tuple[Frame, Frame]:
    """Part the rows of all files of one kind, in any order, into those that count and remarks on the others.

    reach: gives `file`, and up to when it goes (`reach`), where `frame` lacks some vends of these files.
    Returns (kept, notices), in no certain order: kept has the columns of `frame`; notices has one `duplicate-row` a row
    left out, with the row that stands for it, and one `reference-reused` a vend whose reference another vend already
    had.
    """
    content = [column.name for column in BY_KIND[kind].columns if column.name not in _NOT_CONTENT]
    if kind == "vends":
        return _vends(frame, content, reach)
    in_files = ordered(frame, ("file", "row"))
    if kind == "cash":
        return _cash(in_files, content)
    if kind == "counts":
        return _counts(in_files, content)
    return _multiset(in_files, content)


def _vends(frame: Frame, content: list[str], reach: Callable[[], Frame] | None) -> tuple[Frame, Frame]:
    named = frame["reference"].is_not_null()
    referred = ordered(frame.filter(named), ("file", "row"))
    kept_one, repeats_one = _by_content(referred, content)
    kept_one, changed = _newest_states(
        kept_one, lambda: _last_told(referred, _reach(frame) if reach is None else reach(), content), content
    )
    kept_two, repeats_two = _multiset(ordered(frame.filter(~named), ("file", "row")), content)
    return pl.concat([kept_one, kept_two]), pl.concat([repeats_one, repeats_two, changed, _reused(kept_one)])


def _collection() -> pl.Expr:
    """All that a file says of the collection to which a row belongs, in one text."""
    tubes = pl.col("tubes").cast(pl.String).fill_null("-")
    said = pl.format("{}:{}:{}", "collected", tubes, pl.col("note").fill_null("-"))
    return said.sort().str.join("\n").over("file", "machine", "time")


def _cash(frame: Frame, content: list[str]) -> tuple[Frame, Frame]:
    """The rows of a sheet add up to one collection, two bags of the same amount as well. A sheet that puts another
    right is told anew as a whole, and may repeat rows of it: a row is a repeat only where its whole collection is.
    """
    if not _alike(frame, ["machine", "time"]):
        return frame, NOTICES.empty()
    nth = pl.int_range(pl.len()).over("file", *content).alias("nth")
    marked = frame.with_columns(_collection().alias("whole"), nth)
    contested = (pl.col("whole").n_unique() > 1).over("machine", "time")
    kept, repeats = _last_of_contested(marked, [*content, "whole", "nth"], contested)
    return kept.drop("whole", "nth"), repeats


def _alike(frame: Frame, names: list[str]) -> bool:
    """Whether two rows may be alike in these columns. Where no two hashes are the same, no two rows are: hashes are
    compared in a fraction of the time."""
    return frame[names].hash_rows().n_unique() < frame.height


def _counts(frame: Frame, content: list[str]) -> tuple[Frame, Frame]:
    """A count told again is one count."""
    place = ["machine", "label", "bus", "time"]
    if not _alike(frame, place):
        return frame, NOTICES.empty()
    contested = (pl.struct(content).n_unique() > 1).over(place)
    return _last_of_contested(frame, content, contested)


def _last_of_contested(frame: Frame, content: list[str], contested: pl.Expr) -> tuple[Frame, Frame]:
    """Of what was told again the first telling is kept. Where another figure stands between, the last is: it put the
    figure right again, and would be lost as a repeat of the first.
    """
    parted = frame.with_columns(contested.alias("contested"))
    sure, repeats = _by_content(parted.filter(~pl.col("contested")).drop("contested"), content)
    open_, later = _by_content(parted.filter("contested").drop("contested"), content, last=True)
    return pl.concat([sure, open_]).sort("file", "row"), pl.concat([repeats, later])


def _by_content(frame: Frame, content: list[str], *, last: bool = False) -> tuple[Frame, Frame]:
    """Keep the first (or last) row of each content, and name for each other row the one that stands for it. Nulls are
    equal here: an empty cell is part of the content.
    """
    if frame.height == 0 or not _alike(frame, content):
        return frame, NOTICES.empty()
    stands = _standing_rows(frame, content, last=last)
    kept = pl.int_range(frame.height, eager=True) == stands
    if kept.all():
        return frame, NOTICES.empty()
    others = {"other_file": frame["file"].gather(stands), "other_row": frame["row"].gather(stands)}
    repeats = frame.with_columns(**others).filter(~kept)
    return frame.filter(kept), _notices(repeats, "duplicate-row")


def _standing_rows(frame: Frame, content: list[str], *, last: bool) -> pl.Series:
    """Return for each row the place of the first (or last) row with its content.

    Rows are put in order by a hash of their content, and each is compared with the row found. Where a hash is shared
    by chance, the contents themselves are grouped.
    """
    rows = frame.select(content)
    order = rows.hash_rows(seed=0).to_frame("hash").with_row_index("at").sort("hash", "at")
    stands = _end("at", last=last).over(pl.col("hash").rle_id())
    found = order.with_columns(stands.alias("stands")).sort("at")["stands"]
    if all(_alike_throughout(column, column.gather(found)) for column in rows.iter_columns()):
        return found.cast(pl.Int64)
    return rows.with_row_index("\0").select(_end("\0", last=last).over(content)).to_series().cast(pl.Int64)


def _alike_throughout(one: pl.Series, other: pl.Series) -> bool:
    """Tell whether two columns hold the same, empty cells included."""
    if one.null_count() == other.null_count() == 0:
        return bool((one == other).all())
    return bool(one.eq_missing(other).all())


def _end(name: str, *, last: bool) -> pl.Expr:
    return pl.col(name).last() if last else pl.col(name).first()


def _multiset(frame: Frame, content: list[str]) -> tuple[Frame, Frame]:
    if frame["file"].n_unique() <= 1:
        return frame, NOTICES.empty()
    nth = pl.int_range(pl.len()).over("file", *content).alias("nth")
    kept, repeats = _by_content(frame.with_columns(nth), [*content, "nth"])
    return kept.drop("nth", strict=False), repeats


def _reach(frame: Frame) -> Frame:
    return frame.group_by("file").agg(pl.col("time").max().alias("reach"))


def _last_told(referred: Frame, reach: Frame, content: list[str]) -> Frame:
    """Where each of the rows `referred` was told last: its content, with `reach` (up to when that export goes) and
    `last_file`, `last_row`. A state may come back after another, and is then newer than that."""
    told = referred.join(reach, on="file", how="left").sort("reach", "file", "row")
    told = told.unique(content, keep="last", maintain_order=True)
    return told.select(*content, "reach", pl.col("file").alias("last_file"), pl.col("row").alias("last_row"))


def _newest_states(kept: Frame, last_told: Callable[[], Frame], content: list[str]) -> tuple[Frame, Frame]:
    """A vend whose outcome or price changed from one export to the next is one vend, in its newest state.

    Rows of one machine and reference are states of one vend where number, label, tender and quantity are the same, and
    outcomes differ or the moment is the same. The newest is the one of the export that reaches furthest in time (if two
    reach equally far, the refunded one); it keeps the moment of the first. The others are told as `vend-changed`.
    last_told: gives where each content was told last, by _last_told.
    """
    key = ["machine", "reference"]
    if not _alike(kept, key):
        return kept, NOTICES.empty()
    again = pl.struct(key).is_duplicated()
    same = [*key, "bus", "label", "tender", "quantity"]
    rivals = (
        kept.filter(again)
        .join(last_told(), on=content, how="left", nulls_equal=True)
        .with_columns(
            (pl.col("outcome").n_unique() == pl.len()).over(same).alias("outcomes_differ"),
            (pl.col("time").n_unique() == 1).over(same).alias("one_moment"),
        )
    )
    several = (pl.col("outcomes_differ") | pl.col("one_moment")) & (pl.len().over(same) > 1)
    # Of two exports that reach equally far neither is the newer: money given back counts then, and the higher price.
    # What a file is called decides nothing.
    states = rivals.filter(several).sort(
        *same, "reach", pl.col("outcome").to_physical(), "price", "time", "file", "row", nulls_last=False
    )
    if states.height == 0:
        return kept, NOTICES.empty()
    first = pl.col("time").min().over(same).alias("time")
    last = states.with_columns(first).unique(same, keep="last", maintain_order=True)
    new = last.select(
        *same, pl.col("outcome").alias("now"), pl.col("last_file").alias("other_file"),
        pl.col("last_row").alias("other_row"),
    )  # fmt: skip
    older = states.join(last.select("file", "row"), on=["file", "row"], how="anti")
    told = older.join(new, on=same, how="left", nulls_equal=True, maintain_order="left").with_columns(
        pl.when(pl.col("outcome") == pl.col("now"))
        .then(pl.format('reference "{}" has another price than before', "reference"))
        .otherwise(
            pl.format(
                'reference "{}" was {} and is {}',
                "reference",
                pl.col("outcome").cast(pl.String),
                pl.col("now").cast(pl.String),
            )
        )
        .alias("detail")
    )
    rest = kept.join(states.select("file", "row"), on=["file", "row"], how="anti")
    return pl.concat([rest, last.select(kept.columns)]).sort("file", "row"), _notices(told, "vend-changed")


def _reused(kept: Frame) -> Frame:
    """Vends that share machine and reference with an earlier one, yet differ from it."""
    key = ["machine", "reference"]
    again = kept.filter(~pl.struct(key).is_first_distinct()) if _alike(kept, key) else kept.clear()
    if again.height == 0:
        return NOTICES.empty()
    firsts = kept.unique(key, keep="first", maintain_order=True)
    others = firsts.select(*key, pl.col("file").alias("other_file"), pl.col("row").alias("other_row"))
    return _notices(again.join(others, on=key, how="left", maintain_order="left"), "reference-reused")


def _notices(frame: Frame, kind: str) -> Frame:
    there = set(frame.columns)
    detail = (
        pl.col("detail")
        if "detail" in there
        else pl.col("reference").fill_null("")
        if "reference" in there
        else pl.lit("")
    )
    columns = {
        "kind": pl.lit(kind),
        "machine": pl.col("machine"),
        "time": pl.col("time") if "time" in there else pl.lit(None),
        "detail": detail,
    }
    return frame.select(
        columns.get(name, pl.col(name) if name in there else pl.lit(None)).cast(dtype).alias(name)
        for name, dtype in NOTICES.schema.items()
    )
