"""What `recon trace --format json` prints, as types.

Money is an exact Decimal in the currency's own digits, times carry the machine's offset.
"""

from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from recon.model.results import Evidence as Evidence
from recon.model.results import Finding
from recon.model.words import Outcome, Tender


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class TracedTarget(_Record):
    """What was asked about."""

    text: str
    kind: Literal["slot", "machine", "finding", "collection", "payout"]
    machine: str | None
    label: str | None


class TracedLayout(_Record):
    """One slot as it stood from `starts` (inclusive) to `ends` (exclusive; None: still)."""

    state: int
    """Its number, by which lines name it."""
    machine: str
    label: str
    starts: datetime
    ends: datetime | None
    in_use: bool
    bus: int | None
    product: str | None
    price: Decimal | None
    card_price: Decimal | None
    capacity: int | None
    file: str | None
    """The layout file."""
    row: int | None
    """The line of the slot or change there that set it."""


class TracedLine(_Record):
    """One line, without its figures: what happened, and the row that says so."""

    time: datetime | None
    what: Literal["layout", "count", "removal", "load", "vend", "collection", "fees", "payout", "row"]
    in_figure: bool
    """Whether the line is part of the figure."""
    why: str | None
    """Why it is not; of one that is, why it is in doubt."""
    side: Literal["before", "after", "either"] | None
    """A vend near a count or collection: it may have happened before the one that opens the window, after the one that
    closes it, or either."""
    machine: str | None
    label: str | None
    bus: int | None
    state: int | None
    """The layout that held."""
    tender: Tender | None
    outcome: Outcome | None
    quantity: int | None
    priced: Literal["log", "layout", "neighbours", "range", "none"] | None
    """How a vend got its price: as logged, from the layout, from the slot's nearest vends, only as a range; or none was
    needed."""
    least: Decimal | None
    """Least that can have been paid for the vend."""
    most: Decimal | None
    note: str | None
    """What the sheet says beside it, or the log's reference."""
    entry: int | None
    """The entry of the ledger that put the figure right."""
    file: str | None
    row: int | None
    text: str | None
    """The row as it stands in its file."""


class UnitsLine(TracedLine):
    """A line of a stock window; units."""

    change: int | None
    balance: int | None
    """After it. Of the closing count: what was expected."""
    figure: int | None
    """What was counted."""


class MoneyLine(TracedLine):
    """A line of a collection or payout."""

    change: Decimal | None
    balance: Decimal | None
    """After it. Of the closing collection: what was expected."""
    figure: Decimal | None
    """What was collected or paid."""
    tubes: Decimal | None
    """Coins left in the changer after a collection."""


class TracedStock(_Record):
    """One slot from one count to the next. kind: `early` before its first count, `open` since its last."""

    machine: str
    label: str
    product: str | None
    kind: Literal["early", "closed", "open"]
    opened_at: datetime | None
    closed_at: datetime | None
    opening: int | None
    loaded: int
    removed: int
    vended: int
    expected: int | None
    """Of an open window: what ought to be in the slot now."""
    counted: int | None
    variance: int | None
    variance_low: int | None
    variance_high: int | None
    retail_value: Decimal | None
    cost_value: Decimal | None
    state: int | None
    """The layout that held at its opening."""
    lines: list[UnitsLine]


class TracedCash(_Record):
    """One machine from one collection to the next."""

    machine: str
    kind: Literal["early", "closed", "open"]
    opened_at: datetime | None
    closed_at: datetime | None
    vends: int | None
    unpriced_vends: int | None
    expected: Decimal | None
    expected_low: Decimal | None
    expected_high: Decimal | None
    collected: Decimal | None
    tube_change: Decimal | None
    over_short: Decimal | None
    lines: list[MoneyLine]


class TracedPayout(_Record):
    """One payment by the card processor."""

    reference: str | None
    paid_on: date
    from_: date | None = Field(alias="from")
    to: date | None
    machine: str | None
    vends: int | None
    gross_expected: Decimal | None
    gross: Decimal | None
    fees_expected: Decimal | None
    fees: Decimal | None
    net_expected: Decimal | None
    net: Decimal
    over_short: Decimal | None
    lines: list[MoneyLine]


class TraceResults(_Record):
    """Every line behind what was asked about, in the order in which things count as having happened."""

    format: Literal["recon-trace/1"]
    route: str
    currency: str
    until: datetime
    target: TracedTarget
    finding: Finding | None
    stock: list[TracedStock]
    cash: list[TracedCash]
    payouts: list[TracedPayout]
    rows: list[UnitsLine]
    """Rows in no figure: of no slot, rejected, or the evidence of a finding about files."""
    untold: int
    """Rejected rows of which nobody can say whether they belong here."""
    more: int
    """Rows behind the finding that are not among these: it keeps its first ones alone."""
    layouts: list[TracedLayout]
