"""The frames in which a run hands on what the vends of closed books came to, so that the next need not reckon them.

They hold what came of the vends of each machine before a moment of its own (`until`): sums where sums are all that is
asked of them later, rows where a finding may want to show them. Slots and files have the numbers of the run that holds
them. They keep the rules of recon.model.frames.
"""

from typing import Final

import polars as pl

from recon.model.frames import NOTICES, PRICED, TENDER, TIME, Column, FrameSpec

_SLOT = Column("slot", pl.Int32, "slot number, into the slots frame")
_MACHINE = Column("machine", pl.String, "machine id")
_TIME = Column("time", TIME, "moment, UTC")
_FILE = Column("file", pl.Int32, "number of the input file")
_ROW = Column("row", pl.Int64, "line of that file")
_OPENED = Column("opened_at", TIME, "moment of the count or collection that opens the window, UTC")
_LABEL = Column("label", pl.String, "label of the slot", nullable=True)
_EVIDENCE = (
    Column("count", pl.Int64, "vends"),
    Column("product", pl.String, "product of the last of them", nullable=True),
    Column("opened_at", TIME, "moment of the first, UTC"),
    Column("closed_at", TIME, "moment of the last, UTC"),
    Column("evidence", pl.List(pl.Struct({"file": pl.Int32, "row": pl.Int64})), "the first of their rows"),
)

UNTIL = FrameSpec(
    "until", "one machine of which something is carried forward",
    (
        _MACHINE,
        Column("until", TIME, "the vends before this moment are carried, UTC"),
        Column("first_collection", TIME, "its first collection when its loose cash was last kept, UTC", nullable=True),
        Column("last_collection", TIME, "its last collection then, UTC", nullable=True),
        Column("key", pl.String, "hash of all of its layout that a vend's price and slot hang on"),
    ),
    sorted_by=("machine",), unique=("machine",),
)  # fmt: skip

SOLD = FrameSpec(
    "sold", "one stock window with what was sold in it",
    (
        _SLOT, _OPENED,
        Column("vended", pl.Int64, "units sold"),
        Column("undecided", pl.Int64, "of these, units of vends near a count and of refunded ones"),
        Column("events", pl.Int64, "vends"),
        Column("late", pl.Int64, "units of other windows that may have been sold in this one, before its end"),
        Column("early", pl.Int64, "units of other windows that may have been sold in this one, after its start"),
        Column("last_vend", TIME, "moment of its last vend, UTC", nullable=True),
    ),
    sorted_by=("slot", "opened_at"), unique=("slot", "opened_at"),
)  # fmt: skip

MOVED = FrameSpec(
    "moved", "one vend of a stock window that a finding may speak of, or of none",
    (
        _SLOT,
        Column("opened_at", TIME, "moment of the count that opens its window, UTC; empty: before any", nullable=True),
        _TIME, _FILE, _ROW,
        Column("units", pl.Int64, "units that left the slot"),
        Column("undecided", pl.Boolean, "whether it may belong to another window, or never dropped"),
    ),
    sorted_by=("slot", "time", "file", "row"),
)  # fmt: skip

CASHED = FrameSpec(
    "cashed", "one cash window with what was paid in it",
    (
        _MACHINE, _OPENED,
        Column("vends", pl.Int64, "cash vends that stayed paid"),
        Column("unpriced_vends", pl.Int64, "of these, vends of which only a range is known"),
        Column("low", pl.Int64, "least that was paid for them, minor units"),
        Column("high", pl.Int64, "most that was paid for them, minor units"),
        Column("doubt", pl.Int64, "of the least, money of vends near a collection"),
        Column("refunds", pl.Int64, "money given back, perhaps from elsewhere"),
        Column("before", pl.Int64, "money of vends of the next window that may belong here"),
        Column("after", pl.Int64, "money of vends of the window before that may belong here"),
    ),
    sorted_by=("machine", "opened_at"), unique=("machine", "opened_at"),
)  # fmt: skip

LOOSE = FrameSpec(
    "loose", "one paid cash vend before the first collection of its machine or after the last",
    (
        _MACHINE, _TIME, _FILE, _ROW,
        Column("paid_low", pl.Int64, "least that was paid for one unit, minor units"),
        Column("quantity", pl.Int64, "units"),
    ),
    sorted_by=("machine", "time", "file", "row"),
)  # fmt: skip

CARD_DAYS = FrameSpec(
    "card_days", "one machine and day of the route on which cards were used",
    (
        _MACHINE,
        Column("day", pl.Date, "day in the route's zone"),
        Column("vends", pl.Int64, "units of card vends that stayed paid"),
        Column("low", pl.Int64, "least that was paid for them, minor units"),
        Column("high", pl.Int64, "most that was paid for them, minor units"),
        Column("first_time", TIME, "moment of the first, UTC"),
        Column("last_time", TIME, "moment of the last, UTC"),
        Column("rows", pl.Int64, "rows of them"),
    ),
    sorted_by=("machine", "day"), unique=("machine", "day"),
)  # fmt: skip

CARDS = FrameSpec(
    "cards", "one card vend of a day that no payout covers",
    (_MACHINE, Column("day", pl.Date, "day in the route's zone"), _TIME, _FILE, _ROW),
    sorted_by=("machine", "time", "file", "row"),
)  # fmt: skip

TOTALS = FrameSpec(
    "totals", "one machine with the sums of its vends",
    (
        _MACHINE,
        Column("first", TIME, "moment of the first vend, UTC"),
        Column("last", TIME, "moment of the last, UTC"),
        Column("vends", pl.Int64, "vends"),
        Column("unmapped_vends", pl.Int64, "of these, vends whose number no slot had"),
        Column("sales", pl.Int64, "money of vends that stayed paid, minor units"),
        Column("cash_sales", pl.Int64, "of this by cash"),
        Column("card_sales", pl.Int64, "of this by card"),
        Column("card_vends", pl.Int64, "units of card vends that stayed paid"),
        Column("cost_parts", pl.Int64, "cost of the units that left, ten-thousandths of a minor unit"),
        Column("logs_cash", pl.Boolean, "whether any was paid by cash"),
        Column("top", pl.Int64, "highest price logged, minor units", nullable=True),
        Column("longest", pl.Int64, "bytes of its longest reference; of past vends alone", nullable=True),
        Column("greatest", pl.String, "of its longest references the greatest; of past vends alone", nullable=True),
    ),
    sorted_by=("machine",), unique=("machine",),
)  # fmt: skip

HOURS = FrameSpec(
    "hours", "one machine in one file, with its vends by the hour of its clock",
    (_FILE, _MACHINE, *(Column(f"at_{hour:02}", pl.Int64, f"vends in hour {hour}") for hour in range(24))),
    sorted_by=("file", "machine"), unique=("file", "machine"),
)  # fmt: skip

FILLED = FrameSpec(
    "filled", "the vends of one slot and tender whose price was filled from one source",
    (
        _MACHINE, _LABEL,
        Column("tender", TENDER, "how they were paid"),
        Column("priced", PRICED, "where their price comes from"),
        *_EVIDENCE,
        Column("prices", pl.List(pl.Int64), "the prices filled in, minor units, as they came"),
    ),
    sorted_by=("machine", "label", "tender", "priced"), unique=("machine", "label", "tender", "priced"),
)  # fmt: skip

DIFFERING = FrameSpec(
    "differing", "the vends of one slot and tender logged at one price where the layout asks another",
    (
        _MACHINE, _LABEL,
        Column("tender", TENDER, "how they were paid"),
        Column("price", pl.Int64, "price logged, minor units"),
        Column("layout_price", pl.Int64, "price asked, minor units"),
        *_EVIDENCE,
        Column("amount", pl.Int64, "what was paid more than asked, minor units"),
    ),
    sorted_by=("machine", "label", "tender", "price", "layout_price"),
    unique=("machine", "label", "tender", "price", "layout_price"),
)  # fmt: skip

STRAYS = FrameSpec(
    "strays", "one vend whose number or label no slot had",
    (
        _MACHINE,
        Column("bus", pl.Int32, "number logged", nullable=True),
        Column("label", pl.String, "label logged, where no number was", nullable=True),
        _TIME, _FILE, _ROW,
        Column("units", pl.Int64, "units, where they dropped"),
        Column("price", pl.Int64, "price logged, minor units", nullable=True),
        Column("tender", TENDER, "how it was paid"),
    ),
    sorted_by=("machine", "time", "file", "row"),
)  # fmt: skip

MEANWHILE = FrameSpec(
    "meanwhile", "one slot of a machine with a number that no slot had, and what it sold while that number vended",
    (
        _MACHINE, Column("bus", pl.Int32, "that number"), _SLOT,
        Column("closed", TIME, "moment of the last carried vend of that number, UTC"),
        Column("since", pl.Int64, "carried vends of the slot since the first of that number"),
        Column("inside", pl.Int64, "of these, vends not after the last of that number"),
    ),
    sorted_by=("machine", "bus", "slot"), unique=("machine", "bus", "slot"),
)  # fmt: skip

SEEN = FrameSpec(
    "seen", "one machine in one file of vends, repeats included",
    (
        _MACHINE, _FILE,
        Column("first", TIME, "moment of its first row there, UTC"),
        Column("last", TIME, "moment of its last, UTC"),
        Column("rows", pl.Int64, "its rows there"),
    ),
    sorted_by=("machine", "file"), unique=("machine", "file"),
)  # fmt: skip

SETTLED = FrameSpec(
    "settled", "one slot whose windows up to a count of it are settled",
    (
        _SLOT,
        Column("since", TIME, "moment of that count, UTC"),
        Column("first_count", TIME, "moment of its first count, UTC"),
        Column("windows", pl.Int64, "settled windows that are left out: nobody asks for more of them than their line"),
        Column("events", pl.Int64, "vends in those of them that had something to sell"),
        Column("exposure", pl.Int64, "seconds for which these could sell and the log tells of it"),
    ),
    sorted_by=("slot",), unique=("slot",),
)  # fmt: skip

TOLD = FrameSpec(
    "told", "one settled window that is worked out again all the same, since a finding may speak of it",
    (_SLOT, _OPENED, Column("closed_at", TIME, "moment of the count that closes it, UTC")),
    sorted_by=("slot", "opened_at"), unique=("slot", "opened_at"),
)  # fmt: skip

RESTATED = FrameSpec(
    "restated", "one count that a later sheet put right, from before the last settled count of its slot",
    (
        _SLOT, _TIME,
        Column("counted", pl.Int64, "what it says"),
        _FILE, _ROW,
        Column("final", pl.Int64, "what counts"),
        Column("final_file", pl.Int32, "number of the file that says so"),
        Column("final_row", pl.Int64, "line of that file"),
    ),
    sorted_by=("slot", "time", "file", "row"), unique=("file", "row"),
)  # fmt: skip

SPELLED = FrameSpec(
    "spelled", "where the settled windows of one slot stand in results.json of the run that carried them forward",
    (
        _SLOT,
        Column("start", pl.Int64, "bytes before them"),
        Column("size", pl.Int64, "bytes of them, all lines from the first line break on"),
    ),
    sorted_by=("slot",), unique=("slot",),
)  # fmt: skip

SHEETS = FrameSpec(
    "sheets", "one machine in one file of counts or loads",
    (_MACHINE, _FILE), sorted_by=("machine", "file"), unique=("machine", "file"),
)  # fmt: skip

COLLECTED = FrameSpec(
    "collected", "one collection that decided to which window carried vends belong",
    (_MACHINE, _TIME), sorted_by=("machine", "time"), unique=("machine", "time"),
)  # fmt: skip

REPEATED = FrameSpec(
    "repeated", "one remark on a carried vend that is another state of one, or has its reference", NOTICES.columns,
    sorted_by=NOTICES.sorted_by,
)  # fmt: skip

DOUBLED = FrameSpec(
    "doubled", "the carried vends of one machine in one file for which rows of another stand",
    (
        _MACHINE, _FILE,
        Column("other_file", pl.Int32, "number of the file with these rows"),
        Column("count", pl.Int64, "rows left out"),
        Column("rows", pl.List(pl.Int64), "the first of their lines"),
    ),
    sorted_by=("machine", "file", "other_file"), unique=("machine", "file", "other_file"),
)  # fmt: skip

CARRIED: Final[tuple[FrameSpec, ...]] = (
    UNTIL, SOLD, MOVED, CASHED, LOOSE, CARD_DAYS, CARDS, TOTALS, HOURS, FILLED, DIFFERING, STRAYS, MEANWHILE,
    SEEN, SHEETS, COLLECTED, REPEATED, DOUBLED, SETTLED, TOLD, RESTATED, SPELLED,
)  # fmt: skip
