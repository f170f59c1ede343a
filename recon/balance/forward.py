"""What a machine hands on to the next run, and what it may not: the rows that findings may still ask for are kept, and
where some lack or a price may yet change, all vends of the machine are wanted again.
"""

import polars as pl

from recon.balance.carried import Carried
from recon.balance.money import Money
from recon.balance.running import may_breach
from recon.balance.settled import Settled, may_differ
from recon.balance.stock import Stock
from recon.match.states import Layouts
from recon.match.unmapped import sold_meanwhile
from recon.model.border import guard
from recon.model.carried_frames import CARDS, LOOSE, MOVED, STRAYS
from recon.model.frames import Frame

_MAY_CHANGE = ("neighbours", "range")
"""Where a price comes from that later vends may settle otherwise."""


def to_carry(
    carried: Carried, money: Money, stock: Stock, settled: Settled, strays: Frame, hours: Frame, layouts: Layouts,
    past_vends: Frame,
) -> Carried:
    """What of the past of some machines is to be carried forward.

    carried: what was before; its `until` holds from now on. strays: as from recon.match.unmapped.stray_vends.
    past_vends: those that came to be past (machine, slot, bus, label, time, priced): a machine with one that has
    neither number nor label, or whose price may yet change, is left out.
    """
    undefined = pl.col("slot").is_null() & pl.col("bus").is_null() & pl.col("label").is_null()
    left_out = past_vends.filter(undefined | pl.col("priced").is_in(_MAY_CHANGE))["machine"].unique()
    every = carried._replace(
        sold=settled.sold,
        moved=_asked_for(stock, carried.until, layouts),
        cashed=money.cash.cashed,
        loose=guard(money.loose.filter("past").select(LOOSE.names), LOOSE),
        card_days=money.days.past,
        cards=guard(money.cards.filter("past").select(CARDS.names), CARDS),
        totals=money.past_totals,
        hours=hours,
        filled=money.odd.past_filled,
        differing=money.odd.past_differing,
        strays=guard(strays.filter("past").select(STRAYS.names), STRAYS),
        meanwhile=sold_meanwhile(strays, past_vends.select("slot", "time"), carried.meanwhile, layouts.slots),
        settled=settled.settled,
        told=settled.told,
        restated=settled.restated,
    )
    slots = layouts.slots.filter(pl.col("machine").is_in(left_out.implode()))["slot"]
    return every.without(left_out, slots) if left_out.len() else every


def _asked_for(stock: Stock, until: Frame, layouts: Layouts) -> Frame:
    """Of the past vends those whose window a finding may speak of: one that does not agree, may pass below nothing or
    above what fits, or to which further vends may come; and those before any count."""
    ends = layouts.slots.join(until.select("machine", "until"), on="machine", how="inner").select("slot", "until")
    spans = stock.spans.join(ends, on="slot", how="inner")
    open_ = pl.col("next_time").is_null() | (pl.col("next_time") > pl.col("until"))
    asked = spans.filter(open_ | may_differ() | may_breach(layouts)).select("slot", pl.col("time").alias("opened_at"))
    inside = stock.moved.filter(pl.col("opened_at").is_not_null()).join(asked, on=["slot", "opened_at"], how="semi")
    return guard(pl.concat([stock.moved.filter(pl.col("opened_at").is_null()), inside]), MOVED)


def wanting(carried: Carried, priced: Frame, stock: Stock, money: Money, layouts: Layouts) -> tuple[str, ...]:
    """Machines of which something was carried, though a finding asks for vends that were not kept, or a price for all
    vends."""
    if carried.totals.height == 0:
        return ()
    unpriced = priced.select("machine", "priced").filter(pl.col("priced").is_in(_MAY_CHANGE))
    windows = stock.spans.filter(may_differ() | may_breach(layouts)).select("slot", "mark", "events")
    kept = stock.moves.filter(pl.col("rank") == 2).group_by("window").agg(pl.len().cast(pl.Int64).alias("kept"))
    lacking = windows.join(kept, left_on="mark", right_on="window", how="left").filter(
        pl.col("kept").fill_null(0) != pl.col("events")
    )
    days = money.cards.group_by("machine", "day").agg(pl.len().cast(pl.Int64).alias("kept"))
    unpaid = money.days.unpaid.join(days, on=["machine", "day"], how="left").filter(
        pl.col("kept").fill_null(0) != pl.col("rows")
    )
    of_slots = lacking.join(layouts.slots, on="slot", how="inner")
    named = pl.concat([part.select("machine") for part in (unpriced, of_slots, unpaid)])
    return tuple(sorted(set(named.join(carried.totals, on="machine", how="semi")["machine"].to_list())))
