"""The frames made only when they are asked for: demand and load list (`recon plan`), money per machine (`recon money`).

They keep the rules of recon.model.frames. Rates, chances and expected units are floats; units and money never are.
"""

import polars as pl

from recon.model.frames import TIME, Column, FrameSpec

BASIS = pl.Enum(["own", "machine-product", "route-product", "machine", "none"])
"""Whose sales a rate comes from: the slot's own; all slots of its machine with its product; all slots of the route with
its product; all slots of its machine; nobody's, so that there is no rate."""

GAP = pl.Enum(["machine", "route", "assumed", "given"])
"""Where the time between two visits comes from: the median of the machine's own; of the route's; nothing to go by;
the command line."""

ADVICE = pl.Enum(["keep", "widen", "move", "drop"])

_SLOT = Column("slot", pl.Int32, "slot number, into the slots frame")
_MACHINE = Column("machine", pl.String, "machine id")
_LABEL = Column("label", pl.String, "selection label")
_PRODUCT = Column("product", pl.String, "product id")
_RATE = Column("rate", pl.Float64, "units sold in an hour open for sale; empty where nobody's sales tell", nullable=True)

DEMAND = FrameSpec(
    "demand", "one slot in use, as it stands, and how fast it sells",
    (
        _SLOT, _MACHINE, _LABEL, _PRODUCT,
        Column("since", TIME, "since when it holds this product, UTC"),
        Column("units", pl.Int64, "units it sold in the time looked at"),
        Column("open_seconds", pl.Int64, "of that time, how long it was in use and had something to sell"),
        Column("empty_seconds", pl.Int64, "how long it was in use and empty: left out of the rate"),
        Column("windows", pl.Int64, "stock windows that a count closed"),
        Column("full", pl.Int64, "of these, windows that opened at par or more"),
        Column("emptied", pl.Int64, "of the full ones, windows in which it was empty at some time"),
        _RATE,
        Column("basis", BASIS, "whose sales the rate comes from"),
        Column("basis_units", pl.Int64, "units behind the rate"),
        Column("basis_seconds", pl.Int64, "seconds open for sale behind the rate"),
    ),
    sorted_by=("slot",), unique=("slot",),
)  # fmt: skip

PLAN_SLOTS = FrameSpec(
    "plan_slots", "one slot in use, and what to bring for it",
    (
        _SLOT, _MACHINE, _LABEL,
        Column("tray", pl.String, "its tray"),
        _PRODUCT,
        Column("name", pl.String, "what people call the product", nullable=True),
        Column("swap", pl.Boolean, "whether the layout gives it this product only after the last count: take out what is left"),
        Column("capacity", pl.Int64, "units that fit", nullable=True),
        Column("par", pl.Int64, "units that it is filled up to", nullable=True),
        Column("counted_at", TIME, "its last count, UTC", nullable=True),
        Column("units", pl.Int64, "units in it when last known: last count, plus loads, less removals and vends; empty: never counted", nullable=True),
        Column("units_low", pl.Int64, "the same with every vend near the last count taken from it", nullable=True),
        Column("units_high", pl.Int64, "the same with every vend near the last count, and every refunded one, left in it", nullable=True),
        Column("unmapped", pl.Int64, "units that its machine vended since then from numbers that no slot has: some may be its own"),
        Column("known_at", TIME, "as of when: the end of its machine's log, or its last count if that is later, UTC", nullable=True),
        _RATE,
        Column("basis", BASIS, "whose sales the rate comes from"),
        Column("units_then", pl.Float64, "units expected in it at the next visit", nullable=True),
        Column("empty_chance", pl.Float64, "chance that it is empty at the next visit", nullable=True),
        Column("empty_at", TIME, "when it sells its last unit at this rate, if that is before the next visit, UTC", nullable=True),
        Column("mean", pl.Float64, "units expected to be asked for from that visit to the one after", nullable=True),
        Column("aim", pl.Float64, "chance of not running short that the level was made for; empty where it is filled to par", nullable=True),
        Column("level", pl.Int64, "units to fill it up to", nullable=True),
        Column("capped", pl.Boolean, "whether it does not hold what that chance asks for"),
        Column("carry", pl.Int64, "units to bring: the level less the units expected then, rounded up", nullable=True),
        Column("short_chance", pl.Float64, "chance that more is asked for than it then holds, before the visit after: the level, or what is in it if that is more", nullable=True),
        Column("short_at", TIME, "when that is sold at this rate, if that is before the visit after, UTC", nullable=True),
        Column("lasts_days", pl.Float64, "days that it lasts at this rate; empty where nothing sells", nullable=True),
        Column("shelf_days", pl.Int64, "days for which the product can be sold", nullable=True),
        Column("stale_units", pl.Float64, "units of it expected to be unsold after these days", nullable=True),
        Column("outlasts", pl.Boolean, "without shelf days: whether it outlasts the days asked about"),
        Column("per_visit", pl.Float64, "units it would sell from one visit to the next, if never empty", nullable=True),
        Column("windows", pl.Int64, "stock windows that a count closed"),
        Column("full", pl.Int64, "of these, windows that opened at par or more"),
        Column("emptied", pl.Int64, "of the full ones, windows in which it was empty at some time"),
        Column("advice", ADVICE, "whether the slot is to be kept as it is"),
        Column("sells_at", pl.String, "for `move`: machine and label of the slot in which the product sells best", nullable=True),
    ),
    sorted_by=("slot",), unique=("slot",),
)  # fmt: skip

PLAN_VISITS = FrameSpec(
    "plan_visits", "one machine and its next visit",
    (
        _MACHINE,
        Column("site", pl.String, "where it stands", nullable=True),
        Column("last_visit", TIME, "the last time it was counted or loaded, UTC", nullable=True),
        Column("gap_days", pl.Float64, "days from one visit to the next; a median is rounded up"),
        Column("gap_basis", GAP, "where these come from"),
        Column("gaps", pl.Int64, "gaps between past visits behind the median"),
        Column("next_visit", TIME, "the visit to load for, UTC"),
        Column("until", TIME, "the visit after that, which the load is to last for, UTC"),
        Column("log_end", TIME, "end of its log, UTC", nullable=True),
        Column("slots", pl.Int64, "slots in use"),
        Column("uncounted", pl.Int64, "of these, slots never counted: what to bring for them is not known"),
        Column("carry", pl.Int64, "units to bring for the others"),
    ),
    sorted_by=("machine",), unique=("machine",),
)  # fmt: skip

PLAN_VAN = FrameSpec(
    "plan_van", "one product to take along",
    (
        _PRODUCT,
        Column("name", pl.String, "what people call it", nullable=True),
        Column("slots", pl.Int64, "slots that it is for"),
        Column("units", pl.Int64, "units to bring"),
        Column("case_size", pl.Int64, "units in a case", nullable=True),
        Column("cases", pl.Int64, "whole cases that hold them; empty where the case size is not known", nullable=True),
        Column("leftover", pl.Int64, "units of these cases that stay on the van", nullable=True),
    ),
    sorted_by=("product",), unique=("product",),
)  # fmt: skip

_SALES = (
    Column("vends", pl.Int64, "vends that stayed paid"),
    Column("units", pl.Int64, "units that left"),
    Column("sales", pl.Int64, "money of vends that stayed paid, a range taken at its low end, minor units"),
    Column("open_sales", pl.Int64, "what the sales would be more if every such range were taken at its high end"),
    Column("cash_sales", pl.Int64, "sales by cash"),
    Column("card_sales", pl.Int64, "sales by card"),
    Column("prepaid_sales", pl.Int64, "sales by prepaid value"),
    Column("fees", pl.Int64, "percent and per-vend fees of the card vends"),
    Column("cost_of_goods", pl.Int64, "cost of the units that left"),
    Column("uncosted_units", pl.Int64, "units that left without a known unit cost: they cost nothing in these figures"),
    Column("shrink_units", pl.Int64, "sum of the negative variances, never netted against overs"),
    Column("shrink_retail", pl.Int64, "their retail value, as an amount lost (positive)"),
    Column("shrink_cost", pl.Int64, "their cost, as an amount lost (positive)"),
    Column("margin", pl.Int64, "sales - fees - cost_of_goods - shrink_cost"),
)

EARNINGS = FrameSpec(
    "earnings", "one product in one slot of one machine",
    (
        _MACHINE,
        Column("slot", pl.Int32, "slot number; empty: vends whose number no slot has", nullable=True),
        Column("label", pl.String, "selection label", nullable=True),
        Column("product", pl.String, "product id", nullable=True),
        *_SALES,
    ),
    sorted_by=("machine", "slot", "product"), unique=("machine", "slot", "product"),
)  # fmt: skip

MACHINE_EARNINGS = FrameSpec(
    "machine_earnings", "one machine: the sums of its rows in `earnings`",
    (
        _MACHINE,
        *_SALES,
        Column("card_vends", pl.Int64, "units paid by card"),
        Column("starts", TIME, "start of the time that the log shows, UTC", nullable=True),
        Column("ends", TIME, "end of the time that the log shows, UTC", nullable=True),
        Column("months", pl.Float64, "that time in months of 365.25 / 12 days"),
        Column("sales_per_month", pl.Int64, "sales / months, minor units; empty where the log shows less than a day", nullable=True),
        Column("margin_per_month", pl.Int64, "margin / months, minor units", nullable=True),
    ),
    sorted_by=("machine",), unique=("machine",),
)  # fmt: skip

READERS = FrameSpec(
    "readers", "one machine: what its card reader costs and brings in a month, at one share of new card sales",
    (
        _MACHINE,
        Column("extra_percent", pl.Float64, "assumed: percent of the card sales that cash would not have made"),
        Column("card_sales", pl.Int64, "card sales in a month, minor units"),
        Column("goods", pl.Int64, "cost of what was sold by card in a month"),
        Column("markup", pl.Int64, "what cards paid above the cash price, in a month"),
        Column("fees", pl.Int64, "percent and per-vend fees in a month"),
        Column("monthly", pl.Int64, "the reader's monthly fee"),
        Column("gain", pl.Int64, "extra x (card_sales - goods) + (1 - extra) x markup - fees - monthly"),
        Column("reader_cost", pl.Int64, "price of the reader"),
        Column("payback_months", pl.Float64, "reader_cost / gain; empty: never, for there is no gain", nullable=True),
        Column("break_even_percent", pl.Float64, "the share from which there is a gain; empty: none up to 100 %", nullable=True),
    ),
    sorted_by=("machine", "extra_percent"), unique=("machine", "extra_percent"),
)  # fmt: skip

ASKED: tuple[FrameSpec, ...] = (
    DEMAND, PLAN_SLOTS, PLAN_VISITS, PLAN_VAN, EARNINGS, MACHINE_EARNINGS, READERS,
)  # fmt: skip
