"""The lines behind the stock of slots: counts, loads, removals and vends, with the units after each.

Worked out for all slots asked for at once, from the rows that the run used and those that it left out.
"""

from dataclasses import dataclass

import polars as pl

from recon.ledger.trace_corrected import with_corrections
from recon.ledger.trace_lines import (
    LINES,
    RANK,
    Figures,
    Terms,
    must_agree,
    outside,
    place_text,
    repeats,
    shaped,
    sides,
    vend_lines,
)
from recon.match.asof import in_force
from recon.match.slots import place
from recon.match.states import Layouts
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation

_FIGURES = ("opening", "loaded", "removed", "vended", "expected")


def slot_figures(done: Reconciliation, terms: Terms, slots: Frame) -> Figures:
    """The stock windows of some slots with the lines behind them.

    slots: rows of the frame `slots`. Heads: window, slot, machine, label, product, nth (0: before the first count),
    kind (`closed`, `open` since the last count, `early` before the first one), opened_at, closed_at, opening, loaded,
    removed, vended, expected (units; of an open window: what ought to be there now), counted, variance, variance_low,
    variance_high, retail_value, cost_value (null unless closed), state (the layout at its opening); sorted by slot and
    time. Only windows that the reconciliation shows; an open one only where it shows all up to the run.
    """
    own = slots.select("slot", "machine", "label")
    lines = _numbered(_gathered(done, terms, own), terms)
    marks = lines.filter("mark").select("slot", "nth", pl.col("time").alias("at"), "figure")
    lines = _bounded(lines, marks, terms)
    sums = _sums(lines)
    heads = _heads(sums, own, done)
    beyond = outside(lines, "slot", terms.near, late="before the opening count", early="after the closing count")
    whole = pl.concat([lines, _closing(lines, sums), *beyond])
    ordered = whole.join(heads.select("slot", "nth", "window"), on=["slot", "nth"], how="inner")
    ordered = ordered.join(own, on="slot", how="left").sort(
        "window", "time", "rank", "file", "row", maintain_order=True
    )
    return with_corrections(Figures(heads, shaped(ordered)), done)


@dataclass(frozen=True, slots=True)
class SlotTrace:
    """One slot's figures. figures: what slot_figures returns, of this slot alone. states: its rows of the frame
    `states`."""

    machine: str
    label: str
    figures: Figures
    states: Frame


def slot_traces(done: Reconciliation, terms: Terms, slots: Frame | None = None) -> dict[tuple[str, str], SlotTrace]:
    """The trace of many slots, worked out together: `slot_traces(done, Terms.of(settings))[machine, label]`.

    slots: which rows of the frame `slots`; by default all. Pure: reads no file. The original text of lines comes from
    recon.ledger.trace_originals.original_texts, for those that are to be shown.
    """
    wanted = done.frames["slots"] if slots is None else slots
    every = slot_figures(done, terms, wanted)
    heads = every.heads.partition_by("slot", as_dict=True, maintain_order=True)
    by_window = every.lines.join(every.heads.select("window", "slot"), on="window", how="left", maintain_order="left")
    lines = by_window.partition_by("slot", as_dict=True, maintain_order=True, include_key=False)
    states = done.frames["states"].partition_by("slot", as_dict=True, maintain_order=True)
    return {
        (machine, label): SlotTrace(
            machine,
            label,
            Figures(heads.get((slot,), every.heads.clear()), lines.get((slot,), every.lines.clear())),
            states.get((slot,), done.frames["states"].clear()),
        )
        for slot, machine, label in wanted.select("slot", "machine", "label").iter_rows()
    }


def slot_trace(done: Reconciliation, terms: Terms, machine: str, label: str) -> SlotTrace | None:
    """The trace of one slot; None where no layout has it. For many slots `slot_traces` is far cheaper."""
    slots = done.frames["slots"].filter((pl.col("machine") == machine) & (pl.col("label") == label))
    return slot_traces(done, terms, slots).get((machine, label))


def _gathered(done: Reconciliation, terms: Terms, own: Frame) -> Frame:
    """Every line of the slots, in no order, with `slot`, `rank` and `mark` (a count that closes and opens windows)."""
    machines = own["machine"].unique().to_list()
    here = pl.col("machine").is_in(machines)
    laid = Layouts(*(done.frames[name].filter(here) for name in ("machines", "slots", "states")))

    def placed(name: str) -> Frame:
        return place(done.frames[name].filter(here), laid).join(own.select("slot"), on="slot", how="semi")

    counted = _count_lines(placed("counts"), terms, done.paths)
    slips = _moves(placed("loads").with_columns(pl.coalesce("reason", "note").alias("note")))
    vends = _vends(done.frames["priced"].filter(here & pl.col("slot").is_in(own["slot"].to_list())))
    used = [part for part in (*counted, *slips, vends) if part.height]
    again = [_again(done, pl.concat(used, how="diagonal"), machines)] if used else []
    changes = laid.states.join(own.select("slot"), on="slot", how="semi").select(
        "slot", "state", "bus", pl.col("starts").alias("time"), pl.lit("layout").alias("what"),
        pl.lit(RANK["layout"]).alias("rank"), pl.lit(False).alias("in_figure"),
    )  # fmt: skip
    whole = pl.concat([_EMPTY, *used, *again, changes.filter(pl.col("time") <= done.now)], how="diagonal_relaxed")
    return whole.with_columns(pl.col("mark").fill_null(False))


_EMPTY = LINES.empty().drop("window", "machine", "label").with_columns(
    pl.lit(None, pl.Int32).alias("slot"), pl.lit(None, pl.Int32).alias("rank"), pl.lit(None, pl.Boolean).alias("mark"),
    pl.col("what", "side").cast(pl.String),
)  # fmt: skip


def _again(done: Reconciliation, sources: Frame, machines: list[str]) -> Frame:
    notices = done.frames["notices"].filter(pl.col("machine").is_in(machines))
    rows = sources.unique(["file", "row"], keep="first", maintain_order=True)
    return repeats(notices, rows, done.paths).with_columns(
        pl.lit(None, pl.Int64).alias("change"), pl.lit(False).alias("mark")
    )


def _count_lines(placed: Frame, terms: Terms, paths: list[str]) -> list[Frame]:
    """Counts, and the loads and removals of their sheets. Of several counts of one moment the last is the one."""
    ordered = placed.sort("slot", "time", "file", "row").with_row_index("at").with_columns(pl.col("at").cast(pl.Int64))
    filled = pl.when(pl.col("counted").is_not_null())
    ordered = ordered.with_columns(
        filled.then("at").max().over("slot", "time").alias("last"),
    )
    final = ordered.filter(pl.col("at") == pl.col("last")).select(
        pl.col("at").alias("last"),
        pl.col("counted").alias("final"),
        place_text(paths, "file", "row").alias("where"),
    )
    ordered = ordered.join(final, on="last", how="left", maintain_order="left").with_columns(
        (pl.col("at") == pl.col("last")).fill_null(False).alias("mark"),
        # A line left blank, and filled in by a later sheet for the same moment, was put right with its loads.
        ((pl.col("at") == pl.col("last")) | (pl.col("counted").is_null() & (pl.col("at") > pl.col("last"))))
        .fill_null(pl.col("last").is_null())
        .alias("holds"),
        pl.col("counted").alias("figure"),
        _written(pl.col("counter"), pl.col("note")).alias("note"),
        pl.format("a later sheet gives this visit otherwise: counted {}, {}", "final", "where").alias("later"),
    )
    counts = ordered.select(
        "slot", "time", "file", "row", "figure", "note", "mark", "bus",
        pl.lit("count").alias("what"),
        pl.lit(terms.count_rank).alias("rank"),
        pl.col("mark").alias("in_figure"),
        pl.when("mark").then(None).when("holds").then(pl.lit("left blank: not counted, the window stays open"))
        .otherwise("later").alias("why"),
    )  # fmt: skip
    return [counts, *_moves(ordered)]


def _written(counter: pl.Expr, note: pl.Expr) -> pl.Expr:
    return pl.concat_str(pl.format("by {}", counter), note, separator=", ", ignore_nulls=True).replace("", None)


def _moves(rows: Frame) -> list[Frame]:
    """Removals and loads of sheets (with `holds` and `later`) or slips."""
    there = "holds" in rows.columns
    holds = pl.col("holds") if there else pl.lit(True)
    why = pl.when(holds).then(None).otherwise(pl.col("later") if there else pl.lit(None))
    return [
        rows.filter(pl.col(units) > 0).select(
            "slot", "time", "file", "row", "note", "bus",
            pl.lit(what).alias("what"),
            pl.lit(RANK[what]).alias("rank"),
            pl.when(holds).then(pl.col(units) * sign).alias("change"),
            holds.alias("in_figure"),
            why.cast(pl.String).alias("why"),
        )
        for what, units, sign in (("removal", "removed", -1), ("load", "loaded", 1))
    ]  # fmt: skip


def _vends(vends: Frame) -> Frame:
    took = pl.col("units") > 0
    doubt = pl.when(pl.col("outcome") == "refunded").then(pl.lit("refunded: it may never have dropped"))
    return vend_lines(vends).select(
        "slot", "time", "file", "row", "what", "rank", "bus", "state", "tender", "outcome", "quantity", "priced",
        "least", "most", "note",
        pl.when(took).then(-pl.col("units")).alias("change"),
        took.alias("in_figure"),
        pl.when(took).then(doubt).otherwise("left_out").alias("why"),
    )  # fmt: skip


def _numbered(lines: Frame, terms: Terms) -> Frame:
    """In order, with `nth` (how many counts came before, the line's own included) and the balance after each line."""
    # Other counts of a moment stand behind the one that holds: they are of the window which that one opens.
    ordered = lines.sort(
        "slot", "time", "rank", ~pl.col("mark"), "file", "row", nulls_last=True, maintain_order=True
    )
    ordered = ordered.with_columns(pl.col("mark").cum_sum().over("slot").cast(pl.Int64).alias("nth"))
    sure = pl.when(pl.col("in_figure")).then(pl.col("change").fill_null(0)).otherwise(0)
    start = pl.when("mark").then("figure").otherwise(0)
    balance = (start + sure).cum_sum().over("slot", "nth")
    return ordered.with_columns(
        pl.when((pl.col("nth") > 0) & (pl.col("in_figure") | (pl.col("what") == "layout")))
        .then(balance)
        .alias("balance")
    )


def _bounded(lines: Frame, marks: Frame, terms: Terms) -> Frame:
    """Add opened_at and closed_at of each line's window, and on which other side a vend near one of them may lie."""
    opens = marks.select("slot", "nth", pl.col("at").alias("opened_at"))
    closes = marks.select("slot", pl.col("nth") - 1, pl.col("at").alias("closed_at"), pl.col("figure").alias("counted"))
    joined = lines.join(opens, on=["slot", "nth"], how="left", maintain_order="left").join(
        closes, on=["slot", "nth"], how="left", maintain_order="left"
    )
    sold = (pl.col("what") == "vend") & pl.col("in_figure")
    near_open = (sold & (pl.col("time") - pl.col("opened_at") <= terms.near)).fill_null(False)
    near_close = (sold & (pl.col("closed_at") - pl.col("time") <= terms.near)).fill_null(False)
    return joined.with_columns(
        near_open.alias("near_open"), near_close.alias("near_close"), sides(near_open, near_close).alias("side")
    )


def _closing(lines: Frame, sums: Frame) -> Frame:
    """For each closed window the count that closes it, with the units that were expected by then, and the other counts
    of that moment."""
    of_visit = (pl.col("what") == "count") & (pl.col("time") == pl.col("opened_at"))
    closing = lines.filter(of_visit).with_columns(pl.col("nth") - 1).drop("balance")
    expected = sums.select("slot", "nth", pl.when(pl.col("nth") > 0).then("expected").alias("balance"))
    joined = closing.join(expected, on=["slot", "nth"], how="left")
    return joined.with_columns(pl.when("mark").then("balance").alias("balance")).select(lines.columns)


def _sums(lines: Frame) -> Frame:
    """What the lines of each window come to."""
    moved = pl.when("in_figure").then(pl.col("change").fill_null(0)).otherwise(0)
    at_open = (pl.col("time") == pl.col("opened_at")).fill_null(False)

    def of(what: str, when: pl.Expr) -> pl.Expr:
        return pl.when((pl.col("what") == what) & when).then(moved).otherwise(0).sum().cast(pl.Int64)

    counted = pl.when("mark").then("figure").otherwise(0).sum()
    return lines.group_by("slot", "nth", maintain_order=True).agg(
        (counted + of("load", at_open) + of("removal", at_open)).cast(pl.Int64).alias("opening"),
        of("load", ~at_open).alias("loaded"),
        (-of("removal", ~at_open)).alias("removed"),
        (-of("vend", pl.lit(True))).alias("vended"),
        pl.col("balance").drop_nulls().last().alias("expected"),
        pl.col("opened_at", "closed_at", "counted").max(),
        pl.col("time").min().alias("first_line"),
        (pl.col("what") == "layout").all().alias("layout_alone"),
    )


def _heads(sums: Frame, own: Frame, done: Reconciliation) -> Frame:
    sums = sums.join(own, on="slot", how="left")
    early = pl.col("nth") == 0
    sums = sums.with_columns(
        pl.when(early).then(pl.lit("early")).when(pl.col("closed_at").is_null()).then(pl.lit("open"))
        .otherwise(pl.lit("closed")).alias("kind"),
        *(pl.when(~early).then(name).alias(name) for name in ("opening", "expected")),
        (pl.col("counted") - pl.col("expected")).alias("variance"),
    ).with_columns(
        pl.when(early).then(None).otherwise("counted").alias("counted"),
        pl.when(early).then(None).otherwise("variance").alias("variance"),
    )  # fmt: skip
    told = done.frames["stock"].select(
        "slot", "opened_at", "product", "variance_low", "variance_high", "retail_value", "cost_value",
        *(pl.col(name).alias(f"told_{name}") for name in (*_FIGURES, "counted", "variance")),
        pl.lit(True).alias("shown"),
    )  # fmt: skip
    joined = sums.join(told, on=["slot", "opened_at"], how="left")
    shown = joined.filter(_is_shown(done))
    closed = shown.filter(pl.col("kind") == "closed")
    for name in (*_FIGURES, "counted", "variance"):
        must_agree(closed, name, f"told_{name}", "stock window")
    return _with_layout(shown, done).sort("slot", "nth").with_row_index("window").select(
        pl.col("window").cast(pl.Int64), "slot", "machine", "label", "product", "nth", "kind", "opened_at", "closed_at",
        *_FIGURES, "counted", "variance", "variance_low", "variance_high", "retail_value", "cost_value", "state",
    )  # fmt: skip


def _is_shown(done: Reconciliation) -> pl.Expr:
    since, kind = done.since, pl.col("kind")
    begun = (pl.col("first_line") <= done.until) & ~pl.col("layout_alone")
    early = (kind == "early") & begun
    if since is not None:
        early &= (pl.col("closed_at") > since).fill_null(True)
    now = (kind == "open") & pl.lit(done.until >= done.now)
    return pl.col("shown").fill_null(False) | early | now


def _with_layout(heads: Frame, done: Reconciliation) -> Frame:
    """The state of the layout at a window's opening (of an early one: at its first line); the product of one that no
    count closed is that state's."""
    history = done.frames["states"].select("slot", "state", "starts", pl.col("product").alias("laid"))
    at = heads.with_columns(pl.coalesce("opened_at", "first_line").alias("look_at"))
    held = in_force(at, history, key="slot", at="look_at", since="starts", tie="state")
    own = pl.when(pl.col("kind") == "closed").then("product").otherwise("laid")
    return held.with_columns(own.alias("product"))
