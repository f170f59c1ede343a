"""What was paid for each vend: as logged, else from the layout, else from the slot's own vends, else a range.

A cash vend often comes without a price, for the payment device is told of it only after the fact and prices are set in
the machine. A filled price is marked as such; one that cannot be filled stays a range, and nothing pretends otherwise.
"""

import polars as pl

from recon.match.asof import in_force, next_after
from recon.match.states import Layouts
from recon.model.border import guard
from recon.model.frames import PRICED, PRICED_VENDS, Frame
from recon.model.words import DROPPED_OUTCOMES, PAID_TENDERS


def price_vends(
    matched: Frame, layouts: Layouts, *, test_vends: str, currency: str, top: Frame | None = None
) -> Frame:
    """Give every vend the least and most that can have been paid for one unit, and say where that comes from.

    matched: vends with their slot and state. test_vends: `returned` (a test vend leaves no gap) or `consumed`.
    currency: of the route, and so of machines without a layout. top: what dearest returns, where these are not all
    machines.
    Returns the frame `priced`. A price is missing where it is empty or FFFFh, and where it is 0 on a cash vend of a
    slot that is not free.
    """
    by_card = (pl.col("tender") == "card").alias("by_card")
    vends = matched.with_columns(_of_states(matched["state"], matched.select(by_card)["by_card"], layouts.states))
    needs = pl.col("tender").is_in(PAID_TENDERS) & pl.col("outcome").is_in(DROPPED_OUTCOMES)
    free_slot = (pl.col("layout_price") == 0).fill_null(False)
    zero_cash = (pl.col("price") == 0) & (pl.col("tender") == "cash") & ~free_slot
    left = pl.col("outcome").is_in(DROPPED_OUTCOMES)
    if test_vends == "returned":
        left &= pl.col("tender") != "test"
    vends = vends.with_columns(
        needs.alias("needs"),
        pl.when(~zero_cash.fill_null(False)).then("price").alias("logged"),
        pl.when(left).then("quantity").otherwise(0).alias("units"),
        (pl.col("tender").is_in(PAID_TENDERS) & (pl.col("outcome") == "vended")).alias("stayed_paid"),
    ).with_columns(
        pl.when(~pl.col("needs"))
        .then(pl.lit("none", PRICED))
        .when(pl.col("logged").is_not_null())
        .then(pl.lit("log", PRICED))
        .when(pl.col("layout_price").is_not_null())
        .then(pl.lit("layout", PRICED))
        .alias("priced"),
        pl.when("needs").then(pl.coalesce("logged", "layout_price")).otherwise(0).alias("paid_low"),
    )
    vends = _fill_from_neighbours(vends.with_columns(pl.col("paid_low").alias("paid_high")), layouts, currency, top)
    return guard(vends.select(PRICED_VENDS.names), PRICED_VENDS, is_sorted=True)


def _of_states(state: pl.Series, by_card: pl.Series, states: Frame) -> list[pl.Series]:
    """Look up what the layout says of vends: product, unit_cost, layout_price. state: of each vend; by_card: how it was
    paid.

    A state's number is its place in a table.
    """
    size = int(states["state"].max()) + 1 if states.height else 1  # type: ignore[arg-type]
    held = states.select(
        "state", "product", "unit_cost", cash="price", card=pl.coalesce("card_price", "price")
    )
    held = pl.select(state=pl.int_range(size, dtype=pl.Int32)).join(held, on="state", how="left", maintain_order="left")
    # Two prices of a state stand side by side: what cash pays, what a card pays.
    prices = held.select(pl.concat_list("cash", "card").list.explode()).to_series()
    return [
        held["product"].gather(state),
        held["unit_cost"].gather(state),
        prices.gather(state.cast(pl.Int64) * 2 + by_card.cast(pl.Int64)).alias("layout_price"),
    ]


_ALIKE = ["slot", "product", "term", "tender"]
"""What vends have in common whose prices speak for each other."""


def _fill_from_neighbours(vends: Frame, layouts: Layouts, currency: str, top: Frame | None) -> Frame:
    """Fill what neither log nor layout prices from the nearest two priced vends of the same slot, product and tender,
    between which the layout changed neither price of the slot.

    The nearest are the one before and the one after, or the two nearest on the one side that has any. Where they agree
    their price is taken; where they do not, they are the range. Without two of them the range is that of the
    machine's own prices, and without those the range is open from 0 to the route's highest price in its currency.
    """
    if vends["priced"].null_count() == 0:
        return vends
    unpriced = vends["priced"].is_null()
    missing = vends.filter(unpriced)
    terms = _price_terms(layouts)
    columns = [*_ALIKE, "time", "file", "row"]
    known = vends.filter((pl.col("priced") == "log") & pl.col("state").is_not_null())
    known = known.join(terms, on="state", how="left").select(*columns, pl.col("logged").alias("near"))
    keys = known.select(_ALIKE).unique(maintain_order=True).with_row_index("key")
    keys = keys.with_columns(pl.col("key").cast(pl.Int32))
    history = known.join(keys, on=_ALIKE).sort("key", "time", "file", "row").with_row_index("nth")
    history = history.select(
        "key",
        "nth",
        pl.col("time").alias("since"),
        "near",
        pl.col("near").shift(1).over("key").alias("second_before"),
        pl.col("near").shift(-1).over("key").alias("second_after"),
    )
    keyed = missing.join(terms, on="state", how="left").select("machine", *columns).join(keys, on=_ALIKE, how="left")
    ranged = _bounds(keyed, history).join(_machine_range(vends, layouts), on="machine", how="left")
    top = dearest(vends, layouts, currency, "logged") if top is None else top
    ranged = _in_currency(ranged, layouts, currency).join(top, on="currency", how="left")
    two = pl.col("one").is_not_null() & pl.col("other").is_not_null()
    agree = two & (pl.col("one") == pl.col("other"))
    low, high = pl.min_horizontal("one", "other"), pl.max_horizontal("one", "other")
    settled = ranged.select(
        "file",
        "row",
        pl.when(agree).then(pl.lit("neighbours")).otherwise(pl.lit("range")).cast(PRICED).alias("priced_new"),
        pl.when(two).then(low).otherwise(pl.coalesce("cheapest", pl.lit(0))).alias("low_new"),
        pl.when(two).then(high).otherwise(pl.coalesce("dearest", "top", pl.lit(0, pl.Int64))).alias("high_new"),
    )
    at = unpriced.arg_true()
    settled = missing.select("file", "row").join(settled, on=["file", "row"], how="left", maintain_order="left")
    filled = {"priced": "priced_new", "paid_low": "low_new", "paid_high": "high_new"}
    return vends.with_columns(vends[name].scatter(at, settled[new]) for name, new in filled.items())


def _price_terms(layouts: Layouts) -> Frame:
    """state and `term`: how often the layout had changed a price of the slot by then. Any other change leaves what was
    paid before it worth as much as what is paid after.
    """
    prices = pl.struct("price", "card_price")
    changed = prices.ne_missing(prices.shift(1)).over("slot")
    return layouts.states.sort("slot", "starts", "state").select(
        "state", changed.cast(pl.Int64).cum_sum().over("slot").alias("term")
    )


def _in_currency(rows: Frame, layouts: Layouts, currency: str) -> Frame:
    """Add the currency of each row's machine; one without a layout has the route's."""
    own = rows.join(layouts.machines.select("machine", "currency"), on="machine", how="left", maintain_order="left")
    return own.with_columns(pl.col("currency").fill_null(currency))


def _bounds(keyed: Frame, history: Frame) -> Frame:
    """For each vend the nearest two prices: `one` and `other`, null where there are fewer than two."""
    strangers = keyed.filter(pl.col("key").is_null()).select("file", "row", "machine")
    asking = keyed.filter(pl.col("key").is_not_null())
    before = in_force(asking, history, key="key", at="time", since="since", tie="nth").select(
        "file", "row", "machine", pl.col("near").alias("before"), "second_before", pl.col("nth").alias("nth_before")
    )
    after = next_after(asking, history, key="key", at="time", since="since", tie="nth").select(
        "file", "row", pl.col("near").alias("after"), "second_after", pl.col("nth").alias("nth_after")
    )
    pair = before.join(after, on=["file", "row"], how="left")
    one = pl.coalesce("before", "after")
    other = (
        pl.when(pl.col("before").is_null())
        .then("second_after")
        .when(pl.col("after").is_null())
        .then("second_before")
        # Found from both sides, a vend of the same moment is still one: it agrees with itself, which proves nothing.
        .when(pl.col("nth_before") == pl.col("nth_after"))
        .then(pl.coalesce("second_after", "second_before"))
        .otherwise("after")
    )
    none = [pl.lit(None, pl.Int64).alias(name) for name in ("one", "other")]
    return pl.concat(
        [
            pair.select("file", "row", "machine", one.alias("one"), other.alias("other")),
            strangers.select("file", "row", "machine", *none),
        ]
    )


def _machine_range(vends: Frame, layouts: Layouts) -> Frame:
    """Cheapest and dearest price of each machine, by its layout and by its priced vends."""
    prices = _every_price(vends.filter(pl.col("priced") == "log"), layouts.states.filter("in_use"))
    return prices.group_by("machine").agg(
        pl.col("price").min().alias("cheapest"), pl.col("price").max().alias("dearest")
    )


def dearest(vends: Frame, layouts: Layouts, currency: str, logged: str = "price") -> Frame:
    """`top`: the highest price in each `currency`, by layouts and logs. Yen are not held against cents.

    currency: of machines without a layout. logged: the column of `vends` with what the log says.
    """
    prices = _in_currency(_every_price(vends, layouts.states, logged), layouts, currency)
    return prices.group_by("currency").agg(pl.col("price").max().alias("top"))


def _every_price(vends: Frame, states: Frame, logged: str = "logged") -> Frame:
    """machine, price: all prices of these states and all that were logged."""
    return pl.concat(
        [
            states.select("machine", "price"),
            states.select("machine", pl.col("card_price").alias("price")),
            vends.select("machine", pl.col(logged).alias("price")),
        ]
    ).drop_nulls()
