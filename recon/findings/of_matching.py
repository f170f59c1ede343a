"""Findings about vends: which slot they came from, and what was paid for them."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import polars as pl

from recon.balance.odd_prices import OddPrices
from recon.findings.draft import NOTHING, Draft, Speller, evidence_of, how_many, if_any, numbered
from recon.match.states import Layouts
from recon.model.frames import Frame

if TYPE_CHECKING:
    from recon.match.explained import Explanation


_MANY = 3000
"""Names from which on polars finds the different ones faster than Python."""


def unknown_machines(placed: dict[str, Frame], layouts: Layouts, spell: Speller) -> Draft:
    """Rows of any kind that name a machine without a layout. placed: frames with machine, file and row, by kind."""
    strange = _strange([frame for frame in placed.values() if frame.height], layouts)
    if strange.height == 0:
        return NOTHING
    strange = strange.sort("machine", "file", "row")
    groups = numbered(strange.group_by("machine", maintain_order=True).agg(how_many(pl.len(), "row").alias("rows")))
    near = [_near(machine, layouts) for machine in groups["machine"].to_list()]
    groups = groups.with_columns(pl.Series("near", near, dtype=pl.String))
    return Draft(
        "unknown-machine",
        groups,
        evidence_of(strange.join(groups.select("n", "machine"), on="machine").sort("n", "file", "row")),
    )


def _strange(parts: list[Frame], layouts: Layouts) -> Frame:
    """The rows that name a machine without a layout. Most files name none: the names are looked at before the rows."""
    known = set(layouts.machines["machine"].to_list())
    named = {name for part in parts for name in _each(part["machine"]) if name is not None}
    unknown = sorted(named - known)
    if not unknown:
        return layouts.machines.clear()
    own = pl.col("machine").is_in(unknown)
    return pl.concat([part.filter(own).select("machine", "file", "row") for part in parts])


def _each(names: pl.Series) -> list[str | None]:
    """Return the names, each once where they are many."""
    return (names if names.len() < _MANY else names.unique()).to_list()


def _near(machine: str, layouts: Layouts) -> str:
    import difflib

    close = difflib.get_close_matches(machine, layouts.machines["machine"].to_list(), n=1)
    return f" (the nearest is {close[0]})" if close else ""


@if_any
def zones(suspects: Frame, spell: Speller) -> Draft:
    """Exports whose times seem to be in another zone."""
    hours = pl.col("offset")
    sign = pl.when(hours > 0).then(pl.lit("+")).otherwise(pl.lit("-"))
    rows = numbered(suspects).with_columns(
        pl.format("{}{}", sign, hours.abs()).alias("offset"),
        how_many(pl.col("vends"), "vend").alias("vends"),
        (pl.col("night") * 100).round(0).cast(pl.Int64).alias("night"),
        *((pl.col(name) * 100).round(0).cast(pl.Int64).alias(name) for name in ("fit", "fit_now")),
    )
    proof = evidence_of(rows.select("n", "file", pl.lit(0).alias("row")))
    return Draft("zone-suspect", rows.with_columns(spell.path(pl.col("file")).alias("file")), proof)


@if_any
def unmapped(
    numbers: Frame, explained: "Sequence[Explanation]", strays: Frame, spell: Speller, layouts: Layouts
) -> Draft:
    """Numbers that no slot had, each with the likeliest slot and all that speaks for it. numbers, strays: as from
    unmapped_numbers and stray_vends."""
    known = numbers.drop("each").join(layouts.machines.select("machine"), on="machine", how="semi")
    said = list(_said(explained, spell))
    told = pl.DataFrame(said, schema={"machine": pl.String, "bus": pl.Int32, "guess": pl.String}, orient="row")
    rows = numbered(known.join(told, on=["machine", "bus"], how="left", maintain_order="left"))
    rows = spell.local(rows, opened="opened_at", closed="closed_at")
    has_number = pl.col("bus").is_not_null()
    named = pl.when(has_number).then(pl.format("number {}", "bus")).otherwise(pl.format("label {}", "label"))
    rows = rows.with_columns(
        named.alias("named"),
        how_many(pl.col("vends"), "time").alias("vends"),
        pl.col("guess").fill_null("No slot is likelier than another."),
        (-pl.col("units")).alias("units"),
    )
    proof = strays.join(rows.select("n", "machine", "bus", "label"), on=["machine", "bus", "label"], nulls_equal=True)
    return Draft("unmapped-number", rows, evidence_of(proof.sort("n", "time", "file", "row")))


def _said(explained: "Sequence[Explanation]", spell: Speller) -> Iterator[tuple[str, int, str]]:
    if explained:
        from recon.findings.likeliest import said_of

        yield from ((one.machine, one.bus, said_of(one, spell)) for one in explained)


def without_slot(counts: Frame, loads: Frame, layouts: Layouts, spell: Speller) -> Draft:
    """Counts and loads by a number that no slot had at their time. counts, loads: with their slots."""
    if counts["slot"].null_count() == 0 and loads["slot"].null_count() == 0:
        return NOTHING
    columns = ("machine", "bus", "time", "file", "row")
    lost = pl.concat([frame.filter(pl.col("slot").is_null()).select(columns) for frame in (counts, loads)])
    lost = lost.filter(pl.col("bus").is_not_null()).join(layouts.machines.select("machine"), on="machine", how="semi")
    if lost.height == 0:
        return NOTHING
    groups = (
        lost.sort(columns)
        .group_by("machine", "bus", maintain_order=True)
        .agg(
            how_many(pl.len(), "row").alias("rows"),
            pl.col("time").min().alias("opened_at"),
            pl.col("time").max().alias("closed_at"),
        )
    )
    rows = spell.local(numbered(groups), opened="opened_at", closed="closed_at")
    proof = lost.join(rows.select("n", "machine", "bus"), on=["machine", "bus"]).sort("n", "time", "file", "row")
    return Draft("number-without-slot", rows, evidence_of(proof))


def undefined(priced: Frame, layouts: Layouts, spell: Speller) -> Draft:
    """Vends with neither number nor label, machine by machine."""
    none = priced.filter(pl.col("slot").is_null() & pl.col("bus").is_null() & pl.col("label").is_null())
    if none.height == 0:
        return NOTHING
    none = none.join(layouts.machines.select("machine"), on="machine", how="semi").sort(
        "machine", "time", "file", "row"
    )
    groups = none.group_by("machine", maintain_order=True).agg(
        how_many(pl.len(), "vend").alias("vends"),
        (-pl.col("units").sum()).alias("units"),
        pl.col("time").min().alias("opened_at"),
        pl.col("time").max().alias("closed_at"),
        (pl.col("paid_low") * pl.col("quantity")).sum().alias("low"),
        (pl.col("paid_high") * pl.col("quantity")).sum().alias("high"),
    )
    rows = spell.local(numbered(groups), opened="opened_at", closed="closed_at").with_columns(
        _span(spell).alias("worth")
    )
    proof = none.join(rows.select("n", "machine"), on="machine").sort("n", "time", "file", "row")
    return Draft("undefined-number", rows, evidence_of(proof))


def _span(spell: Speller) -> pl.Expr:
    """`3.50`, or `between 3.50 and 5.00` where only a range is known."""
    low, high = spell.money(pl.col("low")), spell.money(pl.col("high"))
    return pl.when(pl.col("low") == pl.col("high")).then(low).otherwise(pl.format("between {} and {}", low, high))


@if_any
def silent(silences: Frame, windows: Frame, spell: Speller) -> Draft:
    """Stocked slots that sold nothing where they ought to have."""
    short = windows.select("slot", "opened_at", "variance", "product")
    rows = silences.join(short, on=["slot", "opened_at"], how="left", maintain_order="left")
    rows = spell.local(numbered(rows), opened="opened_at", closed="closed_at").with_columns(
        pl.col("closed").fill_null("now"),
        pl.col("expected_vends").round(1).cast(pl.String),
        pl.when(pl.col("variance") < 0)
        .then(pl.format(" It is short {} all the same.", -pl.col("variance")))
        .otherwise(pl.lit(""))
        .alias("also"),
    )
    return Draft("silent-slot", rows, evidence_of(rows))


def price_findings(odd: OddPrices, spell: Speller) -> Iterator[Draft]:
    """Prices that were filled, that could not be, and that differ from the layout's."""
    yield _filled(odd.filled, spell)
    yield _unpriced(odd.open, spell)
    yield _differing(odd.differing, spell)


def _told_groups(groups: Frame, spell: Speller) -> tuple[Frame, Frame]:
    """Groups of vends as rows of a draft, and the first of their rows as evidence."""
    rows = spell.local(numbered(groups), opened="opened_at", closed="closed_at").with_columns(
        how_many(pl.col("count"), "vend").alias("vends"),
        pl.col("count").alias("evidence_count"),
        pl.col("tender").cast(pl.String),
    )
    proof = rows.select("n", "evidence").explode("evidence", empty_as_null=False).unnest("evidence")
    return rows.drop("evidence"), evidence_of(proof)


def _grouped(vends: Frame, keys: list[str], spell: Speller, *more: pl.Expr) -> tuple[Frame, Frame]:
    """Vends by `keys`, each group a row with its span of time, and the vends of each as evidence."""
    ordered = vends.sort(*keys, "time", "file", "row", nulls_last=True)
    groups = ordered.group_by(keys, maintain_order=True).agg(
        pl.len().alias("count"),
        pl.col("product").last(),
        pl.col("time").min().alias("opened_at"),
        pl.col("time").max().alias("closed_at"),
        *more,
    )
    rows = spell.local(numbered(groups), opened="opened_at", closed="closed_at")
    rows = rows.with_columns(how_many(pl.col("count"), "vend").alias("vends"))
    proof = ordered.join(rows.select("n", *keys), on=keys, nulls_equal=True, how="inner").sort(
        "n", "time", "file", "row"
    )
    return rows, evidence_of(proof)


@if_any
def _filled(groups: Frame, spell: Speller) -> Draft:
    rows, proof = _told_groups(groups, spell)
    source = (
        pl.when(pl.col("priced") == "layout")
        .then(pl.lit("the layout"))
        .otherwise(pl.lit("the slot's nearest priced vends"))
    )
    each = rows.select("n", "machine", "prices").explode("prices", empty_as_null=False)
    told = each.group_by("n", maintain_order=True).agg(spell.money(pl.col("prices")).str.join(" and ").alias("prices"))
    rows = rows.drop("prices").join(told, on="n", how="left", maintain_order="left")
    return Draft("missing-price", rows.with_columns(source.alias("filled_from")), proof)


@if_any
def _unpriced(vends: Frame, spell: Speller) -> Draft:
    """By slot; where there is none, by the number, else by the label that the log names."""
    strange = pl.col("label").is_null()
    told = vends.with_columns(
        pl.col("tender").cast(pl.String),
        pl.when(strange).then("bus").alias("bus"),
        pl.when(strange & pl.col("bus").is_null()).then("logged_label").otherwise("label").alias("label"),
        (strange & pl.col("bus").is_null()).alias("by_label"),
    )
    sums = [(pl.col(f"paid_{side}") * pl.col("quantity")).sum().alias(side) for side in ("low", "high")]
    rows, proof = _grouped(told, ["machine", "label", "bus", "by_label", "tender"], spell, *sums)
    named = (
        pl.when(pl.col("bus").is_not_null())
        .then(pl.format("number {}", "bus"))
        .when(pl.col("label").is_null())
        .then(pl.lit("without a number"))
        .when("by_label")
        .then(pl.format("label {}", "label"))
        .otherwise(pl.col("label"))
    )
    return Draft("unpriced-vend", rows.with_columns(named.alias("named"), _span(spell).alias("worth")), proof)


@if_any
def _differing(groups: Frame, spell: Speller) -> Draft:
    rows, proof = _told_groups(groups, spell)
    rows = rows.with_columns(
        spell.money(pl.col("price")).alias("logged"),
        spell.money(pl.col("layout_price")).alias("asked"),
        spell.money(pl.col("amount")).alias("difference"),
    )
    return Draft("price-differs", rows, proof)
