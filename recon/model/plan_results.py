"""What `recon plan --format json` prints, as types. What each key means stands in recon.model.asked_frames."""

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PlanVisit(_Record):
    """One machine and its next visit."""

    machine: str
    site: str | None
    last_visit: datetime | None
    gap_days: float
    gap_basis: Literal["machine", "route", "assumed", "given"]
    gaps: int
    next_visit: datetime
    until: datetime
    log_end: datetime | None
    slots: int
    uncounted: int
    carry: int


class PlanSlot(_Record):
    """One slot in use, and what to bring for it."""

    machine: str
    label: str
    tray: str
    product: str
    name: str | None
    swap: bool
    capacity: int | None
    par: int | None
    counted_at: datetime | None
    units: int | None
    units_low: int | None
    units_high: int | None
    unmapped: int
    known_at: datetime | None
    rate: float | None
    basis: Literal["own", "machine-product", "route-product", "machine", "none"]
    units_then: float | None
    empty_chance: float | None
    empty_at: datetime | None
    mean: float | None
    aim: float | None
    level: int | None
    capped: bool
    carry: int | None
    short_chance: float | None
    short_at: datetime | None
    lasts_days: float | None
    shelf_days: int | None
    stale_units: float | None
    outlasts: bool
    per_visit: float | None
    windows: int
    full: int
    emptied: int
    advice: Literal["keep", "widen", "move", "drop"]
    sells_at: str | None


class VanLine(_Record):
    """One product to take along, for all machines together."""

    product: str
    name: str | None
    slots: int
    units: int
    case_size: int | None
    cases: int | None
    leftover: int | None


class PlanResults(_Record):
    """The load list of the next visits."""

    format: Literal["recon-plan/1"]
    route: str
    at: datetime
    """The moment of the run."""
    fill: Literal["par", "demand", "worth"]
    """What slots are filled to: par; what lasts with `chance`; the same, but for products with a shelf life what earns
    most."""
    chance: float
    """Chance of not running short that is aimed at, where slots are not filled to par."""
    long_days: float
    """Days of stock from which a slot without a shelf life is pointed out."""
    widen_share: float
    """Share of the windows opened at par that ran empty from which a slot is to be widened."""
    slow: float
    """Units sold from one visit to the next below which a slot is to be moved or dropped."""
    least_windows: int
    """Windows needed for either."""
    machines: list[PlanVisit]
    slots: list[PlanSlot]
    van: list[VanLine]
