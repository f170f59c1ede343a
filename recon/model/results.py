"""The results as types: the same that results.json holds, for scripts and notebooks.

Money is an exact Decimal in the currency's own digits, times carry the machine's offset.
"""

from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from recon.model.words import FileKind, Severity, State


class _Record(BaseModel):
    # Built when first used: a run that prints text never does, and building takes longer than reading a small inbox.
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, defer_build=True)


class InputFile(_Record):
    """One file of the inbox; rows = accepted + duplicate + rejected, always."""

    file: str
    sha256: str | None
    kind: FileKind | None
    source: str | None
    rows: int
    accepted: int
    duplicate: int
    rejected: int


class StockWindow(_Record):
    """One slot from one count to the next; units, and money with the sign of the variance."""

    machine: str
    label: str
    product: str | None
    opened_at: datetime
    closed_at: datetime
    opening: int
    loaded: int
    removed: int
    vended: int
    expected: int
    counted: int
    variance: int
    variance_low: int
    variance_high: int
    retail_value: Decimal | None
    cost_value: Decimal | None


class CashWindow(_Record):
    """One machine from one collection to the next; expected and over_short are None where its log holds no cash at
    all."""

    machine: str
    opened_at: datetime
    closed_at: datetime
    vends: int
    unpriced_vends: int
    expected: Decimal | None
    expected_low: Decimal | None
    expected_high: Decimal | None
    collected: Decimal
    tube_change: Decimal | None
    over_short: Decimal | None


class Payout(_Record):
    """One payment by the card processor beside the card vends of its days; expectations are None where it names no
    days."""

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


class MachineSummary(_Record):
    """One machine over the windows shown; shrink_units is negative, shrink_retail and shrink_cost are amounts lost."""

    machine: str
    vends: int
    unmapped_vends: int
    sales: Decimal
    cash_sales: Decimal
    card_sales: Decimal
    fees: Decimal
    cost_of_goods: Decimal
    shrink_units: int
    shrink_retail: Decimal
    shrink_cost: Decimal
    margin: Decimal


class Evidence(_Record):
    """A row behind a finding; row None stands for the whole file."""

    file: str
    row: int | None


class Finding(_Record):
    """One thing to look at; `id` stays the same when the run is repeated."""

    id: str
    kind: str
    severity: Severity
    machine: str | None
    label: str | None
    bus: int | None
    product: str | None
    opened_at: datetime | None
    closed_at: datetime | None
    units: int | None
    amount: Decimal | None
    message: str
    advice: str
    evidence: list[Evidence]
    evidence_count: int
    state: State
    decision: int | None
    changed_since: bool


class Decision(_Record):
    """What someone decided about a finding; `entry` is its place in the ledger. units, amount: as they then were."""

    entry: int
    at: datetime
    finding: str
    kind: str
    machine: str | None
    label: str | None
    state: State
    by: str
    why: str
    message: str
    units: int | None
    amount: Decimal | None
    corrected: str | None
    attachment: str | None
    attachment_sha256: str | None
    standing: bool
    occurs: bool


class Results(_Record):
    """Everything that a run found."""

    format: Literal["recon-results/1"]
    route: str
    currency: str
    until: datetime
    inputs: list[InputFile]
    stock: list[StockWindow]
    cash: list[CashWindow]
    payouts: list[Payout]
    machines: list[MachineSummary]
    findings: list[Finding]
    decisions: list[Decision]
