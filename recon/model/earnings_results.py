"""What `recon money --format json` prints, as types. What each key means stands in recon.model.asked_frames.

Money is an exact Decimal in the currency's own digits.
"""

from datetime import datetime
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Sums(_Record):
    vends: int
    units: int
    sales: Decimal
    open_sales: Decimal
    cash_sales: Decimal
    card_sales: Decimal
    prepaid_sales: Decimal
    fees: Decimal
    cost_of_goods: Decimal
    uncosted_units: int
    shrink_units: int
    shrink_retail: Decimal
    shrink_cost: Decimal
    margin: Decimal


class MachineMoney(_Sums):
    """One machine; its figures are those of results.json for the same time."""

    machine: str
    currency: str
    """ISO 4217 code of its amounts."""
    card_vends: int
    starts: datetime | None
    ends: datetime | None
    months: float
    sales_per_month: Decimal | None
    margin_per_month: Decimal | None


class SlotMoney(_Sums):
    """One slot; null for vends whose number no slot has. The slots of a machine add up to it."""

    machine: str
    label: str | None


class ProductMoney(_Sums):
    """One product in one machine. The products of a machine add up to it."""

    machine: str
    product: str | None


class Reader(_Record):
    """What a machine's card reader costs and brings in a month, at one assumed share of new card sales."""

    machine: str
    extra_percent: float
    card_sales: Decimal
    goods: Decimal
    markup: Decimal
    fees: Decimal
    monthly: Decimal
    gain: Decimal
    reader_cost: Decimal
    payback_months: float | None
    break_even_percent: float | None


class EarningsResults(_Record):
    """What each machine, slot and product brought."""

    format: Literal["recon-money/1"]
    route: str
    currency: str
    """ISO 4217 code of the route."""
    since: datetime | None
    """Only what happened from then on; null: from the beginning."""
    until: datetime
    """Only what happened until then."""
    card_percent: Decimal
    """Of each card vend, by route.toml."""
    card_per_vend: Decimal
    """On each card vend, by route.toml."""
    machines: list[MachineMoney]
    slots: list[SlotMoney]
    products: list[ProductMoney]
    readers: list[Reader]
