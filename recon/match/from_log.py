"""What counts, prices and the log say of an unmapped number; columns throughout, objects for what was found only."""

from collections.abc import Mapping, Sequence

import polars as pl

from recon.match.asof import in_force
from recon.match.evidence import MOST_UNITS, POINTS, POINTS_A_UNIT, Evidence, Stray
from recon.match.states import Layouts
from recon.model.frames import Frame

Found = Mapping[tuple[str, int], Sequence[tuple[str, Evidence]]]
"""By machine and number: labels, each with what speaks for or against it."""


def _vends(asked: Frame) -> Frame:
    """One row a vend: machine, bus, time, units, price, tender."""
    return asked.select("machine", "bus", "each").explode("each", empty_as_null=False).unnest("each")


def shortages(asked: Frame, windows: Frame) -> Found:
    """Slots that logged nothing in the windows into which the number's vends fall, each short by as many as vended."""
    slot = ["machine", "guess"]
    every = windows.select(
        "machine", pl.col("label").alias("guess"), "vended", "variance",
        pl.col("opened_at").alias("since"), pl.col("closed_at").alias("until"),
    )  # fmt: skip
    # Most slots are short in no silent window: they need no looking at.
    short = every.filter((pl.col("vended") == 0) & (pl.col("variance") < 0)).select(slot).unique()
    each = _inside(asked, every.join(short, on=slot, how="semi")).filter(pl.col("vends") > 0)
    agrees = (pl.col("vended") == 0) & (pl.col("variance") == -pl.col("units")) & (pl.col("units") > 0)
    whole = each.group_by("machine", "bus", "guess").agg(
        agrees.all().alias("agrees"), pl.col("units", "vends").sum(), pl.col("since").min(), pl.col("until").max()
    )
    found: dict[tuple[str, int], list[tuple[str, Evidence]]] = {}
    rows = whole.filter("agrees").sort("machine", "bus", "guess")
    for row in rows.iter_rows(named=True):
        points = POINTS["short-by-as-many"] + POINTS_A_UNIT * min(row["units"], MOST_UNITS)
        figures = {"units": row["units"], "inside": row["vends"]}
        evidence = Evidence("short-by-as-many", points, row["since"], row["until"], figures)
        found.setdefault((row["machine"], row["bus"]), []).append((row["guess"], evidence))
    return found


def _inside(asked: Frame, windows: Frame) -> Frame:
    """Each window of a machine with each of its numbers: `units` and `vends` of the number in [since, until).

    By running sums looked up at both ends: joining vends to windows would make a row of each pair of them.
    """
    numbers = asked.select("machine", "bus").join(windows.select("machine").unique(), on="machine", how="semi")
    numbers = numbers.with_row_index("key").with_columns(pl.col("key").cast(pl.Int32))
    vends = _vends(asked.join(numbers, on=["machine", "bus"], how="semi")).join(numbers, on=["machine", "bus"])
    sums = vends.sort("key", "time").select(
        "key",
        # A vend at the moment of a count belongs to the window that the count opens: it is before what comes later.
        (pl.col("time") + pl.duration(microseconds=1)).alias("after"),
        pl.col("units").cum_sum().over("key").alias("units"),
        pl.int_range(1, pl.len() + 1, dtype=pl.Int64).over("key").alias("vends"),
    )
    pairs = numbers.join(windows, on="machine", how="inner")
    for end in ("since", "until"):
        there = in_force(pairs.select("key", end).unique(), sums, key="key", at=end, since="after", tie="vends")
        up_to = there.select(
            "key", end, *(pl.col(name).fill_null(0).alias(f"{name}_{end}") for name in sums.columns[2:])
        )
        pairs = pairs.join(up_to, on=["key", end], how="left")
    return pairs.with_columns(
        (pl.col(f"{name}_until") - pl.col(f"{name}_since")).alias(name) for name in sums.columns[2:]
    )


def prices(asked: Frame, layouts: Layouts) -> Found:
    """Slots in use that alone ask the prices logged with the number, and slots that ask none of them.

    Cash is held against `price`, cards against `card_price` (else `price`), as they stood when the vends were made.
    """
    tender = pl.col("tender")
    logged = _vends(asked).filter(pl.col("price").is_not_null() & tender.is_in(["cash", "card"]))
    told = logged.group_by("machine", "bus", "tender", "price").agg(
        pl.len().cast(pl.Int64).alias("vends"), pl.col("time").min().alias("first"), pl.col("time").max().alias("last")
    )
    total = told.group_by("machine", "bus").agg(pl.col("vends").sum().alias("priced"))
    asks = layouts.states.filter(pl.col("in_use") & pl.col("price").is_not_null()).select(
        "machine", pl.col("label").alias("guess"), "starts", "ends",
        pl.col("price").alias("cash"), pl.coalesce("card_price", "price").alias("card"),
    )  # fmt: skip
    asked_then = (
        told.join(asks, on="machine", how="inner")
        .filter((pl.col("starts") <= pl.col("last")) & (pl.col("ends").is_null() | (pl.col("ends") > pl.col("first"))))
        .with_columns((pl.when(tender == "cash").then("cash").otherwise("card") == pl.col("price")).alias("fits"))
        .group_by("machine", "bus", "tender", "price", "guess")
        .agg(pl.col("fits").any(), pl.col("vends").first())
    )
    same = ["machine", "bus", "tender", "price"]
    alone = pl.col("fits") & (pl.col("fits").sum().over(same) == 1)
    each = (
        asked_then.with_columns(alone.alias("alone"))
        .group_by("machine", "bus", "guess")
        .agg(
            (pl.col("vends") * pl.col("fits")).sum().alias("fit"),
            (pl.col("vends") * pl.col("alone")).sum().alias("alone"),
            pl.col("price").filter("alone").unique().sort().alias("own"),
            pl.col("price").unique().sort().alias("logged"),
        )
        .join(total, on=["machine", "bus"])
    )
    found: dict[tuple[str, int], list[tuple[str, Evidence]]] = {}
    rows = each.filter((pl.col("alone") * 2 > pl.col("priced")) | (pl.col("fit") == 0)).sort("machine", "bus", "guess")
    for row in rows.iter_rows(named=True):
        figures = {"fit": row["alone"], "priced": row["priced"]}
        if row["fit"]:
            points = POINTS["price-of-its-own"] * row["alone"] // row["priced"]
            evidence = Evidence("price-of-its-own", points, figures=figures, amounts=tuple(row["own"]))
        else:
            evidence = Evidence(
                "asks-another-price", POINTS["asks-another-price"], figures=figures, amounts=tuple(row["logged"])
            )
        found.setdefault((row["machine"], row["bus"]), []).append((row["guess"], evidence))
    return found


def meanwhile(pairs: Sequence[tuple[Stray, str]], matched: Frame, layouts: Layouts) -> list[Evidence]:
    """Return for each pair of a number and a label: what the label's slot logged under its own number meanwhile."""
    if not pairs:
        return []
    asked = pl.DataFrame(
        [(at, stray.machine, stray.bus, label, stray.opened, stray.closed) for at, (stray, label) in enumerate(pairs)],
        schema={
            "at": pl.Int64, "machine": pl.String, "bus": pl.Int32, "label": pl.String,
            "since": pl.Datetime("us", "UTC"), "until": pl.Datetime("us", "UTC"),
        },
        orient="row",
    ).join(layouts.slots, on=["machine", "label"], how="left")  # fmt: skip
    own = matched.select("slot", "time").join(asked.select("slot"), on="slot", how="semi")
    sold = (
        own.join(asked.select("at", "slot", "since", "until"), on="slot", how="inner")
        .filter(pl.col("time").is_between("since", "until"))
        .group_by("at")
        .len()
    )
    counts = dict(sold.iter_rows())
    return [_meanwhile(counts.get(at, 0), stray) for at, (stray, _) in enumerate(pairs)]


def _meanwhile(sold: int, stray: Stray) -> Evidence:
    if sold:
        return Evidence("sold-meanwhile", POINTS["sold-meanwhile"], stray.opened, stray.closed, {"sold": sold})
    return Evidence("logged-nothing", POINTS["logged-nothing"], stray.opened, stray.closed)
