"""A machine's layout as written: its slots, and the dated changes made to them."""

from datetime import date, datetime, time
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from recon.model.settings import STRICT, Amount, Currency, WholeNumber, Zone

MACHINE_ID = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"
"""A machine's id names files and folders too, so it is letters, digits, point, dash and underline, and starts with a
letter or digit."""


def _as_text(value: object) -> object:
    """`label = 110` means the label "110": labels and trays are always text."""
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    return value.strip() if isinstance(value, str) else value


def _local(value: object) -> object:
    """A local moment; a bare date means its midnight. An offset has no place: the machine's zone says it."""
    if isinstance(value, str):
        value = datetime.fromisoformat(value.strip())
    if isinstance(value, date) and not isinstance(value, datetime):
        return datetime.combine(value, time())
    if not isinstance(value, datetime):
        # A bare number would be read as seconds since 1970.
        raise ValueError("a date and time is written 2026-08-03T07:00:00")
    if value.tzinfo is not None:
        raise ValueError("give the local time of the machine, without an offset")
    return value


Label = Annotated[str, BeforeValidator(_as_text), Field(min_length=1, max_length=64)]
LocalTime = Annotated[datetime, BeforeValidator(_local)]
Units = Annotated[WholeNumber, Field(ge=0, le=100_000)]
Number = Annotated[WholeNumber, Field(ge=-(10**12), le=10**12)]
"""A bus number or what makes one. Wide, so that the checks can say what is wrong with it, yet never absurd."""


class Offset(BaseModel):
    """`{ offset = k }`: the label as a decimal number plus k."""

    model_config = STRICT
    offset: Number


class Grid(BaseModel):
    """`{ grid = w, first = f }`: row and column of the label, w numbers to a row, f for the first slot."""

    model_config = STRICT
    grid: Annotated[Number, Field(ge=1)]
    first: Number


class Sequence(BaseModel):
    """`{ sequence = f }`: f for the first slot of the file, each slot taking `pitch` numbers."""

    model_config = STRICT
    sequence: Number


class ColumnGrid(BaseModel):
    """`{ column-grid = h, first = f }`: as Grid, but column by column: h numbers to a column, f for the first slot."""

    model_config = STRICT
    column_grid: Annotated[Number, Field(ge=1, alias="column-grid")]
    first: Number


Numbering = Literal["same", "zero-based", "hex-label", "ascii-pair"] | Offset | Grid | ColumnGrid | Sequence
"""The rule that gives the bus number where a slot names none."""


class Slot(BaseModel):
    """One place in a machine that sells one product. Without a product it is out of use."""

    model_config = STRICT
    label: Label
    bus: Number | None = None
    tray: Label | None = None
    pitch: Annotated[WholeNumber, Field(ge=1, le=2)] = 1
    product: Annotated[str, Field(min_length=1)] | None = None
    price: Amount | None = None
    card_price: Amount | None = None
    capacity: Annotated[Units, Field(ge=1)] | None = None
    par: Units | None = None


class Change(BaseModel):
    """What changed at one slot at one local time. Only what is named changes; `retire` puts the slot out of use, a
    later change that names a product puts it back."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    start: Annotated[LocalTime, Field(alias="from")]
    label: Label
    bus: Number | None = None
    tray: Label | None = None
    pitch: Annotated[WholeNumber, Field(ge=1, le=2)] | None = None
    product: Annotated[str, Field(min_length=1)] | None = None
    price: Amount | None = None
    card_price: Amount | None = None
    capacity: Annotated[Units, Field(ge=1)] | None = None
    par: Units | None = None
    retire: bool = False


class Layout(BaseModel):
    """All slots of one machine, with the dated changes made to it."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    machine: Annotated[str, Field(pattern=f"^{MACHINE_ID}$")]
    site: str | None = None
    timezone: Zone | None = None
    currency: Currency | None = None
    numbering: Numbering | None = None
    price_step: Annotated[Amount, Field(gt=0)] | None = None
    effective: LocalTime
    slots: Annotated[tuple[Slot, ...], Field(alias="slot")] = ()
    changes: Annotated[tuple[Change, ...], Field(alias="change")] = ()


class Product(BaseModel):
    """A line of products.csv. `unit_cost` may have up to four digits below the minor unit (a case price over its
    units). `shelf_days`: days for which it can be sold once it is in the machine."""

    model_config = STRICT
    id: Annotated[str, Field(min_length=1)]
    name: str | None = None
    unit_cost: Amount | None = None
    case_size: Annotated[WholeNumber, Field(ge=1)] | None = None
    category: str | None = None
    shelf_days: Annotated[WholeNumber, Field(ge=1)] | None = None
