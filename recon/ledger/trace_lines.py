"""What a trace is made of: figures, each with the lines behind it in time order and the balance after each.

A figure is one stock window, one collection or one payout. Its lines stand in the order in which things count as having
happened (the table on top of recon/balance/windows.py), and are worked out anew from the rows: that they end at the
figure which the run told is checked here, and a trace that does not is a fault of recon's own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from recon.balance.windows import reaching
from recon.model.errors import FrameError
from recon.model.frames import TIME, Column, Frame, FrameSpec
from recon.model.settings import Settings

WHAT = pl.Enum(["layout", "count", "removal", "load", "vend", "collection", "fees", "payout", "row"])
SIDE = pl.Enum(["before", "after", "either"])

LINES = FrameSpec(
    "trace lines", "one line of a trace",
    (
        Column("window", pl.Int64, "number of the figure, into the frame of figures"),
        Column("time", TIME, "moment, UTC; empty where the line has none", nullable=True),
        Column("what", WHAT, "what happened"),
        Column("change", pl.Int64, "what it adds to the balance, units or minor units", nullable=True),
        Column("balance", pl.Int64, "the balance after it; empty for a line outside the figure", nullable=True),
        Column("in_figure", pl.Boolean, "whether the line is part of the figure"),
        Column("why", pl.String, "why it is not, or why it is in doubt", nullable=True),
        Column("side", SIDE, "of a vend near a count: where it may belong instead", nullable=True),
        Column("figure", pl.Int64, "what was counted (units), collected or paid (minor units)", nullable=True),
        Column("tubes", pl.Int64, "coins left in the changer after a collection, minor units", nullable=True),
        Column("machine", pl.String, "machine id", nullable=True),
        Column("label", pl.String, "selection label", nullable=True),
        Column("bus", pl.Int32, "bus item number", nullable=True),
        Column("state", pl.Int32, "state of the layout that held, into the states frame", nullable=True),
        Column("tender", pl.String, "how a vend was paid", nullable=True),
        Column("outcome", pl.String, "what came of it", nullable=True),
        Column("quantity", pl.Int64, "units of a vend", nullable=True),
        Column("priced", pl.String, "how a vend got its price, as in the frame priced", nullable=True),
        Column("least", pl.Int64, "least that can have been paid for it, minor units", nullable=True),
        Column("most", pl.Int64, "most that can have been paid for it, minor units", nullable=True),
        Column("note", pl.String, "what the sheet says beside it, or the log's reference", nullable=True),
        Column("entry", pl.Int64, "entry of the ledger that put the figure right", nullable=True),
        Column("file", pl.Int32, "number of the input file; empty where no row stands behind the line", nullable=True),
        Column("row", pl.Int64, "its line", nullable=True),
    ),
    sorted_by=(),
)  # fmt: skip
"""The lines of all figures, figure by figure, each in the order in which things happened."""

RANK = {"layout": 0, "removal": 2, "load": 3, "vend": 5, "fees": 6, "payout": 7}
"""Which of several lines of one moment comes first; a count or collection stands at COUNT_FIRST or COUNT_LAST."""
COUNT_FIRST, COUNT_LAST = 1, 4


@dataclass(frozen=True, slots=True)
class Terms:
    """What of the settings decides about lines. near: how close to a count a vend may belong to its other side.
    count_first: a sheet's count stands before its loads. test_vends: `returned` or `consumed`."""

    near: timedelta
    count_first: bool
    test_vends: str

    @classmethod
    def of(cls, settings: Settings) -> "Terms":
        return cls(
            timedelta(minutes=settings.tolerance.boundary_minutes),
            settings.stock.count_when == "before-load",
            settings.stock.test_vends,
        )

    @property
    def count_rank(self) -> int:
        return COUNT_FIRST if self.count_first else COUNT_LAST


@dataclass(frozen=True, slots=True)
class Figures:
    """heads: one row a figure, numbered by `window`. lines: LINES, those of each figure together, in `heads`' order."""

    heads: Frame
    lines: Frame

    def only(self, keep: pl.Expr) -> "Figures":
        """The figures whose heads fulfil `keep`."""
        heads = self.heads.filter(keep)
        return Figures(heads, self.lines.join(heads.select("window"), on="window", how="semi", maintain_order="left"))


def shaped(frame: Frame, spec: FrameSpec = LINES) -> Frame:
    """The columns of the spec, in their types; those that the frame lacks are null."""
    there = set(frame.columns)
    return frame.select(
        (pl.col(name) if name in there else pl.lit(None)).cast(dtype).alias(name) for name, dtype in spec.schema.items()
    )


def place_text(paths: Sequence[str], file: str, row: str) -> pl.Expr:
    """`inbox/sales-39.csv:17`, from columns with a file number and a line."""
    numbered = dict(enumerate(paths))
    path = (
        pl.col(file).replace_strict(numbered, default=None, return_dtype=pl.String)
        if numbered
        else pl.lit(None, pl.String)
    )
    return pl.format("{}:{}", path, pl.col(row))


def vend_lines(vends: Frame) -> Frame:
    """What every line of a vend says, from rows of the frame `priced`. What it changes, and whether it counts, is left
    to the figure; `left_out` says why it would not."""
    return vends.with_columns(
        pl.lit("vend").alias("what"),
        pl.lit(RANK["vend"]).alias("rank"),
        pl.col("tender", "outcome", "priced").cast(pl.String),
        (pl.col("paid_low") * pl.col("quantity")).alias("least"),
        (pl.col("paid_high") * pl.col("quantity")).alias("most"),
        pl.col("reference").alias("note"),
        left_out(pl.col("outcome").cast(pl.String), pl.col("tender").cast(pl.String)).alias("left_out"),
    )


def left_out(outcome: pl.Expr, tender: pl.Expr) -> pl.Expr:
    """Why a vend took no unit."""
    return (
        pl.when(outcome == "failed")
        .then(pl.lit("failed: nothing dropped, nothing was charged"))
        .when(outcome == "cancelled")
        .then(pl.lit("cancelled: nothing dropped"))
        .when(tender == "test")
        .then(pl.lit("test vend: the unit was put back"))
        .otherwise(pl.lit("took no unit"))
    )


def repeats(notices: Frame, sources: Frame, paths: Sequence[str]) -> Frame:
    """Rows that other rows stand for: repeated in a later export, or an older state of the same vend.

    sources: the rows that count, with `file`, `row` and whatever the lines of their repeats take from them. Returns
    those columns, with the repeat's own file and row, and `why`.
    """
    told = notices.filter(
        pl.col("kind").is_in(["duplicate-row", "vend-changed"])
        & pl.col("row").is_not_null()
        & pl.col("other_row").is_not_null()
    ).select("kind", "file", "row", "other_file", "other_row", "detail", pl.col("time").alias("own_time"))
    joined = told.join(sources, left_on=["other_file", "other_row"], right_on=["file", "row"], how="inner")
    where = place_text(paths, "other_file", "other_row")
    return joined.with_columns(
        pl.coalesce("own_time", "time").alias("time"),
        pl.when(pl.col("kind") == "vend-changed")
        .then(pl.format("an older state of the vend of {}: {}", where, "detail"))
        .otherwise(pl.format("the same as {}: counts once", where))
        .alias("why"),
        pl.lit(False).alias("in_figure"),
    ).drop("kind", "other_file", "other_row", "detail", "own_time")


def outside(lines: Frame, key: str, near: timedelta, *, late: str, early: str) -> list[Frame]:
    """For each window the vends of others that may belong to it: they are what its range is made of.

    lines: of all windows, with `key`, `nth`, `mark` (opens window `nth`), `near_open` and `near_close`. late, early:
    what stands behind the time from such a vend to the count or collection between, before the window and after it.
    """
    marks = lines.filter("mark").select(key, pl.col("nth").alias("mark"), "time")
    marks = marks.with_columns(pl.col("time").shift(-1).over(key, order_by="mark").alias("next_time"))
    counted = lines.with_columns(pl.col("nth").alias("window"), (pl.col("nth") + 1).alias("next_window"))
    parts = []
    sides = (("after", 0, late), ("before", 1, early))
    for part, (side, opens, words) in zip(reaching(counted, marks, key, near), sides, strict=True):
        between = marks.select(key, (pl.col("mark") - opens).alias("reached"), pl.col("time").alias("between"))
        told = part.join(between, on=[key, "reached"], how="left", maintain_order="left").with_columns(
            pl.format(f"{{}} {words}: may belong here", span_text(pl.col("between") - pl.col("time"))).alias("why"),
            pl.col("reached").alias("nth"),
            pl.lit(side).cast(SIDE).alias("side"),
            pl.lit(False).alias("in_figure"),
            pl.lit(None, pl.Int64).alias("balance"),
        )
        parts.append(told.select(lines.columns))
    return parts


def span_text(span: pl.Expr) -> pl.Expr:
    """A time between two moments: `4 min 10 s`, `25 s`."""
    seconds = span.dt.total_seconds().abs()
    minutes, rest = seconds // 60, seconds % 60
    return (
        pl.when(minutes == 0)
        .then(pl.format("{} s", rest))
        .when(rest == 0)
        .then(pl.format("{} min", minutes))
        .otherwise(pl.format("{} min {} s", minutes, rest))
    )


def sides(near_open: pl.Expr, near_close: pl.Expr) -> pl.Expr:
    """On which other side of a mark a line may lie."""
    return (
        pl.when(near_open & near_close)
        .then(pl.lit("either"))
        .when(near_open)
        .then(pl.lit("before"))
        .when(near_close)
        .then(pl.lit("after"))
        .cast(SIDE)
    )


def must_agree(heads: Frame, worked_out: str, told: str, what: str) -> None:
    """Raises FrameError where the lines of a figure do not come to what the run told of it."""
    wrong = heads.filter(pl.col(worked_out).ne_missing(pl.col(told)))
    if wrong.height:
        first = wrong.row(0, named=True)
        raise FrameError(
            f"the lines of a {what} come to {first[worked_out]} where the run says {first[told]}: {first}"
        )
