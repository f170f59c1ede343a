"""The frames that pass between stages: their columns, types and meaning, stated once.

From these the pandera schemas of the stage borders and the page docs/frames.md are made. Every frame is eager, sorted
by its `sorted_by` columns, and holds money in minor units (Int64) and times as Datetime("us", "UTC").
"""

import polars as pl

from recon.model.frame_spec import Column as Column
from recon.model.frame_spec import Frame as Frame
from recon.model.frame_spec import FrameSpec as FrameSpec
from recon.model.words import OUTCOMES, SEVERITIES, STATES_OF_FINDINGS, TENDERS

TIME = pl.Datetime("us", "UTC")
TENDER = pl.Enum(TENDERS)
OUTCOME = pl.Enum(OUTCOMES)
PRICED = pl.Enum(["log", "layout", "neighbours", "range", "none"])
"""How a vend got its price: as logged; from the layout at that time; from the slot's nearest priced vends, which agree;
only as a range; or none needed (free, test, token, or nothing was paid)."""

STATE = pl.Enum(STATES_OF_FINDINGS)

_FILE = Column("file", pl.Int32, "number of the input file, in the order of their paths")
_ROW = Column("row", pl.Int64, "line of that file, as an editor numbers it")
_MACHINE = Column("machine", pl.String, "machine id")
_TIME = Column("time", TIME, "moment, UTC")
_ZONE = Column("zone", pl.Categorical, "IANA zone in which the machine's times are shown")
_LABEL = Column("label", pl.String, "selection label", nullable=True)
_BUS = Column("bus", pl.Int32, "bus item number, 0 to 65534; empty where undefined or not given", nullable=True)
_SLOT = Column("slot", pl.Int32, "slot number, into the slots frame", nullable=True)
_NOTE = Column("note", pl.String, "what the sheet says beside it", nullable=True)

_PLACED = (_FILE, _ROW, _MACHINE, _ZONE, _TIME)

VENDS = FrameSpec(
    "vends", "one vend event",
    (
        *_PLACED, _BUS, _LABEL,
        Column("price", pl.Int64, "price of one unit as logged, minor units; empty where missing or FFFFh", nullable=True),
        Column("tender", TENDER, "how it was paid"),
        Column("outcome", OUTCOME, "what came of it"),
        Column("reference", pl.String, "the log's own reference", nullable=True),
        Column("quantity", pl.Int64, "units, 1 or more"),
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

COUNTS = FrameSpec(
    "counts", "one slot on one count sheet",
    (
        *_PLACED, _LABEL, _BUS,
        Column("counted", pl.Int64, "units seen; empty: not counted", nullable=True),
        Column("loaded", pl.Int64, "units put in at that visit"),
        Column("removed", pl.Int64, "units taken out unsold at that visit"),
        Column("counter", pl.String, "who counted", nullable=True),
        _NOTE,
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

LOADS = FrameSpec(
    "loads", "one line of a load slip",
    (
        *_PLACED, _LABEL, _BUS,
        Column("loaded", pl.Int64, "units put in"),
        Column("removed", pl.Int64, "units taken out unsold"),
        Column("reason", pl.String, "why units were taken out", nullable=True),
        _NOTE,
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

CASH = FrameSpec(
    "cash", "one collection",
    (
        *_PLACED,
        Column("collected", pl.Int64, "money taken from the machine, minor units"),
        Column("tubes", pl.Int64, "coins left in the changer afterwards, minor units", nullable=True),
        _NOTE,
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

PAYOUTS = FrameSpec(
    "payouts", "one payment by the card processor",
    (
        _FILE, _ROW,
        Column("paid_on", pl.Date, "day of the payment"),
        Column("from", pl.Date, "first day it covers, in the route's zone", nullable=True),
        Column("to", pl.Date, "last day it covers", nullable=True),
        Column("machine", pl.String, "machine it is for; empty: all of the route", nullable=True),
        Column("gross", pl.Int64, "card sales it states, minor units", nullable=True),
        Column("fees", pl.Int64, "fees it states, minor units", nullable=True),
        Column("net", pl.Int64, "money paid, minor units"),
        Column("reference", pl.String, "the statement's own reference", nullable=True),
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

TESTS = FrameSpec(
    "tests", "one test vend, in the order in which they were made",
    (
        _FILE, _ROW, _MACHINE, _ZONE,
        Column("time", TIME, "moment, UTC", nullable=True),
        Column("label", pl.String, "selection label keyed in"),
        _NOTE,
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

INPUTS = FrameSpec(
    "inputs", "one file found in inbox/",
    (
        _FILE,
        Column("path", pl.String, "path within the route folder; of a workbook with several sheets also the sheet"),
        Column("name", pl.String, "path of the file by itself"),
        Column("sheet", pl.String, "sheet of a workbook of several", nullable=True),
        Column("sha256", pl.String, "SHA-256 of its bytes, hex", nullable=True),
        Column("kind", pl.String, "vends, counts, loads, cash, payouts or tests; empty where it could not be told", nullable=True),
        Column("source", pl.String, "name of the description that spoke for it; empty: our own field names", nullable=True),
        Column("rows", pl.Int64, "rows read"),
        Column("accepted", pl.Int64, "rows used"),
        Column("duplicate", pl.Int64, "rows that other rows already gave"),
        Column("rejected", pl.Int64, "rows that could not be used"),
    ),
    sorted_by=("file",), unique=("file",),
)  # fmt: skip

REJECTS = FrameSpec(
    "rejects", "one row that could not be used",
    (
        _FILE, _ROW,
        Column("reason", pl.String, "why"),
        Column("text", pl.String, "the line as it stands in the file"),
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

NOTICES = FrameSpec(
    "notices", "one remark of the intake about a row or a file",
    (
        Column("kind", pl.String, "finding kind"),
        _FILE,
        Column("row", pl.Int64, "line of that file; empty: the whole file", nullable=True),
        Column("machine", pl.String, "machine id", nullable=True),
        Column("time", TIME, "moment, UTC", nullable=True),
        Column("other_file", pl.Int32, "the file this one repeats or contradicts", nullable=True),
        Column("other_row", pl.Int64, "its line", nullable=True),
        Column("detail", pl.String, "what was found and what was expected"),
    ),
    sorted_by=("file", "row", "kind"),
)  # fmt: skip

MACHINES = FrameSpec(
    "machines", "one machine with a layout",
    (
        _MACHINE,
        Column("site", pl.String, "where it stands", nullable=True),
        Column("zone", pl.String, "IANA zone of its times"),
        Column("currency", pl.String, "ISO 4217 code"),
        Column("digits", pl.Int64, "decimal digits of the currency"),
    ),
    sorted_by=("machine",), unique=("machine",),
)  # fmt: skip

SLOTS = FrameSpec(
    "slots", "one slot of a layout",
    (
        Column("slot", pl.Int32, "slot number: machines by id, slots in the order of the layout"),
        _MACHINE,
        Column("label", pl.String, "selection label"),
    ),
    sorted_by=("slot",), unique=("slot",),
)  # fmt: skip

STATES = FrameSpec(
    "states", "one slot as it stood from one layout change to the next",
    (
        Column("state", pl.Int32, "state number"),
        Column("slot", pl.Int32, "slot number"),
        _MACHINE,
        Column("label", pl.String, "selection label"),
        Column("starts", TIME, "from then on (inclusive)"),
        Column("ends", TIME, "until then (exclusive); empty: still", nullable=True),
        Column("in_use", pl.Boolean, "whether the slot sells: it has a product and is not retired"),
        _BUS,
        Column("product", pl.String, "product id", nullable=True),
        Column("price", pl.Int64, "what cash pays, minor units", nullable=True),
        Column("card_price", pl.Int64, "what a card pays, minor units", nullable=True),
        Column("capacity", pl.Int64, "units that fit", nullable=True),
        Column("unit_cost", pl.Int64, "cost of one unit, ten-thousandths of a minor unit", nullable=True),
        Column("par", pl.Int64, "units that the slot is filled up to", nullable=True),
        Column("tray", pl.String, "its tray; where the layout names none, the row that its label gives"),
        Column("pitch", pl.Int64, "numbers that its place takes: 2 on a double-width tray"),
        Column("product_name", pl.String, "the product's name; empty where products.csv gives none", nullable=True),
    ),
    sorted_by=("slot", "starts"), unique=("state",),
)  # fmt: skip

PRODUCTS = FrameSpec(
    "products", "one product of products.csv",
    (
        Column("product", pl.String, "product id"),
        Column("name", pl.String, "what people call it", nullable=True),
        Column("category", pl.String, "a word to group products by", nullable=True),
        Column("case_size", pl.Int64, "units in a case", nullable=True),
        Column("shelf_days", pl.Int64, "days for which it can be sold once it is in the machine", nullable=True),
    ),
    sorted_by=("product",), unique=("product",),
)  # fmt: skip

MATCHED = FrameSpec(
    "matched", "one vend with the slot that held its number at that time",
    (
        *VENDS.columns,
        _SLOT,
        Column("state", pl.Int32, "state of the slot at that time; empty where no slot had the number", nullable=True),
    ),
    sorted_by=("machine", "time", "file", "row"),
)  # fmt: skip

PRICED_VENDS = FrameSpec(
    "priced", "one vend with what was or may have been paid for one unit",
    (
        *MATCHED.columns,
        Column("product", pl.String, "product id by the layout at that time", nullable=True),
        Column("unit_cost", pl.Int64, "cost of one unit, ten-thousandths of a minor unit", nullable=True),
        Column("layout_price", pl.Int64, "what the layout asks for that tender at that time, minor units", nullable=True),
        Column("priced", PRICED, "where the price comes from"),
        Column("paid_low", pl.Int64, "least that can have been paid for one unit, minor units"),
        Column("paid_high", pl.Int64, "most that can have been paid for one unit, minor units"),
        Column("units", pl.Int64, "units that left the slot: 0 where nothing dropped or the unit was put back"),
        Column("stayed_paid", pl.Boolean, "whether the money was paid and kept"),
    ),
    sorted_by=("machine", "time", "file", "row"),
)  # fmt: skip

STOCK_WINDOWS = FrameSpec(
    "stock", "one stock window: one slot from one count to the next",
    (
        Column("slot", pl.Int32, "slot number"),
        _MACHINE,
        Column("label", pl.String, "selection label"),
        Column("product", pl.String, "product id", nullable=True),
        Column("opened_at", TIME, "moment of the count that opens it, UTC"),
        Column("closed_at", TIME, "moment of the count that closes it, UTC"),
        Column("opening", pl.Int64, "units at its start, after that visit's loads"),
        Column("loaded", pl.Int64, "units put in within it"),
        Column("removed", pl.Int64, "units taken out unsold within it"),
        Column("vended", pl.Int64, "units sold within it"),
        Column("expected", pl.Int64, "opening + loaded - removed - vended"),
        Column("counted", pl.Int64, "units seen at its end"),
        Column("variance", pl.Int64, "counted - expected; negative is short"),
        Column("variance_low", pl.Int64, "variance with every undecided vend put against us"),
        Column("variance_high", pl.Int64, "variance with every undecided vend put for us"),
        Column("price", pl.Int64, "retail price at its end, minor units", nullable=True),
        Column("unit_cost", pl.Int64, "cost of one unit, ten-thousandths of a minor unit", nullable=True),
        Column("retail_value", pl.Int64, "variance at retail, minor units", nullable=True),
        Column("cost_value", pl.Int64, "variance at cost, minor units", nullable=True),
        Column("open_file", pl.Int32, "file of the opening count"),
        Column("open_row", pl.Int64, "its line"),
        Column("close_file", pl.Int32, "file of the closing count"),
        Column("close_row", pl.Int64, "its line"),
    ),
    sorted_by=("slot", "opened_at"), unique=("slot", "opened_at"),
)  # fmt: skip

CASH_WINDOWS = FrameSpec(
    "cash_windows", "one cash window: one machine from one collection to the next",
    (
        _MACHINE,
        Column("opened_at", TIME, "moment of the collection before, UTC"),
        Column("closed_at", TIME, "moment of this collection, UTC"),
        Column("vends", pl.Int64, "cash vends that stayed paid"),
        Column("unpriced_vends", pl.Int64, "of these, vends of which only a range is known"),
        Column("expected", pl.Int64, "their money, a range taken at its low end; empty where the machine logs no cash", nullable=True),
        Column("expected_low", pl.Int64, "least that can be expected", nullable=True),
        Column("expected_high", pl.Int64, "most that can be expected", nullable=True),
        Column("unpriced_span", pl.Int64, "part of the range that comes from vends without a price"),
        Column("collected", pl.Int64, "money taken at this collection"),
        Column("tube_change", pl.Int64, "coins in the changer now less those at the collection before; empty where one was not noted", nullable=True),
        Column("over_short", pl.Int64, "collected + tube_change - expected; negative is short", nullable=True),
        Column("logs_cash", pl.Boolean, "whether the machine's log holds any cash vend at all"),
        Column("file", pl.Int32, "file of this collection"),
        Column("row", pl.Int64, "its line"),
        Column("open_file", pl.Int32, "file of the collection before"),
        Column("open_row", pl.Int64, "its line"),
    ),
    sorted_by=("machine", "opened_at"), unique=("machine", "opened_at"),
)  # fmt: skip

PAYOUT_CHECKS = FrameSpec(
    "payout_checks", "one payout beside the card vends that it covers",
    (
        *PAYOUTS.columns,
        Column("starts", TIME, "start of its first day, UTC", nullable=True),
        Column("ends", TIME, "end of its last day, UTC (exclusive)", nullable=True),
        Column("vends", pl.Int64, "card vends it covers that stayed paid", nullable=True),
        Column("gross_expected", pl.Int64, "their money, a range taken at its low end", nullable=True),
        Column("gross_high", pl.Int64, "their money, a range taken at its high end", nullable=True),
        Column("fees_expected", pl.Int64, "percent and per-vend fees of these, without the monthly fee", nullable=True),
        Column("fees_on_gross", pl.Int64, "the same on the gross that the statement gives", nullable=True),
        Column("monthly", pl.Int64, "monthly fees of the machines it covers, once"),
        Column("net_expected", pl.Int64, "gross_expected - fees_expected", nullable=True),
        Column("over_short", pl.Int64, "net - net_expected; negative is short", nullable=True),
    ),
    sorted_by=("file", "row"), unique=("file", "row"),
)  # fmt: skip

SUMMARIES = FrameSpec(
    "summaries", "one machine over the windows shown",
    (
        _MACHINE,
        Column("vends", pl.Int64, "vends logged"),
        Column("unmapped_vends", pl.Int64, "of these, vends whose number no slot had"),
        Column("sales", pl.Int64, "money of vends that stayed paid, by cash, card or prepaid, minor units"),
        Column("cash_sales", pl.Int64, "of these by cash"),
        Column("card_sales", pl.Int64, "of these by card"),
        Column("fees", pl.Int64, "percent and per-vend fees of the card vends"),
        Column("cost_of_goods", pl.Int64, "cost of the units that left"),
        Column("shrink_units", pl.Int64, "sum of the negative variances, never netted against overs"),
        Column("shrink_retail", pl.Int64, "their retail value, as an amount lost (positive)"),
        Column("shrink_cost", pl.Int64, "their cost, as an amount lost (positive)"),
        Column("margin", pl.Int64, "sales - fees - cost_of_goods - shrink_cost"),
    ),
    sorted_by=("machine",), unique=("machine",),
)  # fmt: skip

FINDINGS = FrameSpec(
    "findings", "one finding",
    (
        Column("id", pl.String, "derived from what it is about: the same on every run"),
        Column("kind", pl.String, "kind of the catalogue"),
        Column("severity", pl.Enum(SEVERITIES), "how much it weighs"),
        Column("machine", pl.String, "machine id", nullable=True),
        _LABEL, _BUS,
        Column("product", pl.String, "product id", nullable=True),
        Column("opened_at", TIME, "start of the time it speaks of, UTC", nullable=True),
        Column("closed_at", TIME, "end of the time it speaks of, UTC", nullable=True),
        Column("units", pl.Int64, "units at stake, negative is short", nullable=True),
        Column("amount", pl.Int64, "money at stake, minor units, negative is short", nullable=True),
        Column("message", pl.String, "the sentence"),
        Column("advice", pl.String, "what to do next"),
        Column("evidence", pl.List(pl.Struct({"file": pl.Int32, "row": pl.Int64})), "rows behind it, the first twenty; row 0: the whole file"),
        Column("evidence_count", pl.Int64, "how many rows there are"),
        Column("state", STATE, "what was decided about it; open where nothing was, or its figures changed since"),
        Column("decision", pl.Int64, "entry of the ledger that holds the last decision about it", nullable=True),
        Column("changed_since", pl.Boolean, "whether its figures are others than when that was decided"),
    ),
    sorted_by=(), unique=("id",),
)  # fmt: skip

DECISIONS = FrameSpec(
    "decisions", "one decision about a finding, as the ledger keeps it",
    (
        Column("entry", pl.Int64, "number of its entry in the ledger"),
        Column("at", TIME, "moment at which it was recorded, UTC"),
        Column("finding", pl.String, "id of the finding"),
        Column("kind", pl.String, "its kind"),
        Column("machine", pl.String, "its machine", nullable=True),
        _LABEL,
        Column("state", STATE, "what was decided; open: taken back"),
        Column("by", pl.String, "who decided"),
        Column("why", pl.String, "the reason given"),
        Column("message", pl.String, "the sentence of the finding when it was decided"),
        Column("units", pl.Int64, "units then at stake", nullable=True),
        Column("amount", pl.Int64, "money then at stake, minor units", nullable=True),
        Column("evidence_count", pl.Int64, "rows then behind it", nullable=True),
        Column("corrected", pl.String, "what was corrected, as file:row field from -> to", nullable=True),
        Column("attachment", pl.String, "name of the file kept with it", nullable=True),
        Column("attachment_sha256", pl.String, "hash of its content", nullable=True),
        Column("standing", pl.Boolean, "whether it is the last decision about that finding"),
        Column("occurs", pl.Boolean, "whether this run still finds it"),
    ),
    sorted_by=("entry",), unique=("entry",),
)  # fmt: skip

FILE_CHANGES = FrameSpec(
    "file_changes", "one content that was taken in once and is in the inbox no more",
    (
        Column("name", pl.String, "path of its file then"),
        Column("was", pl.String, "SHA-256 of that content, hex"),
        Column("entry", pl.Int64, "entry of the ledger that says it was taken in"),
        Column("taken_at", TIME, "moment of that, UTC"),
        Column("file", pl.Int32, "number of the input that has its name now; empty: gone", nullable=True),
        Column("gone", pl.Int64, "lines of it that the file no longer has", nullable=True),
        Column("added", pl.Int64, "lines that the file has besides", nullable=True),
        Column("lines", pl.List(pl.Int64), "numbers of the first of these", nullable=True),
    ),
    sorted_by=("entry",), unique=("name", "was"),
)  # fmt: skip

CORRECTIONS = FrameSpec(
    "corrections", "one figure that a decision put right",
    (
        _FILE, _ROW,
        Column("field", pl.String, "column of the frame of that file's kind"),
        Column("was", pl.Int64, "what the file says; units or minor units", nullable=True),
        Column("is", pl.Int64, "what is reckoned with instead"),
        Column("entry", pl.Int64, "entry of the ledger that says so"),
    ),
    sorted_by=("file", "row", "field"), unique=("file", "row", "field"),
)  # fmt: skip

BY_KIND: dict[str, FrameSpec] = {
    "vends": VENDS, "counts": COUNTS, "loads": LOADS, "cash": CASH, "payouts": PAYOUTS, "tests": TESTS,
}  # fmt: skip
"""The canonical frame of each kind of file."""

ALL: tuple[FrameSpec, ...] = (
    INPUTS, REJECTS, NOTICES, VENDS, COUNTS, LOADS, CASH, PAYOUTS, TESTS, MACHINES, SLOTS, STATES, PRODUCTS, MATCHED,
    PRICED_VENDS, STOCK_WINDOWS, CASH_WINDOWS, PAYOUT_CHECKS, SUMMARIES, FINDINGS, DECISIONS, CORRECTIONS, FILE_CHANGES,
)  # fmt: skip
