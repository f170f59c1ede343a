"""route.toml as typed settings. Amounts stay exact decimals here; whoever computes turns them into minor units."""

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from recon.model.currencies import EXPONENTS
from recon.model.money import exact
from recon.model.zones import known_zone


def _plain_decimal(value: object) -> object:
    """Quoted or not, a number is read as the decimal that was written (TOML floats arrive as Decimal)."""
    if isinstance(value, bool):
        raise ValueError("true and false are not amounts")
    if isinstance(value, str):
        return exact(value)
    return value


def _not_bool(value: object) -> object:
    if isinstance(value, bool):
        raise ValueError("true and false are not numbers")
    return value


def _currency(value: str) -> str:
    if value not in EXPONENTS:
        raise ValueError(f"{value} is not a currency code of ISO 4217 with a minor unit, such as CAD")
    return value


def _zone(value: str) -> str:
    if not known_zone(value):
        raise ValueError(f"{value} is not a time zone of the IANA list, such as America/Halifax")
    return value


Amount = Annotated[Decimal, BeforeValidator(_plain_decimal), Field(ge=0)]
"""An amount of money or a percentage, not negative, exactly as written."""

WholeNumber = Annotated[int, BeforeValidator(_not_bool)]
"""An integer; true and false do not pass for 1 and 0."""

Currency = Annotated[str, AfterValidator(_currency)]
Zone = Annotated[str, AfterValidator(_zone)]

STRICT = ConfigDict(extra="forbid", frozen=True)


class Tolerance(BaseModel):
    """How much may differ before it is a finding."""

    model_config = STRICT
    units: Annotated[WholeNumber, Field(ge=0)] = 0
    """A slot within plus or minus this many units agrees."""
    cash: Amount = Decimal("1.00")
    """A collection or payout within plus or minus this amount agrees."""
    boundary_minutes: Annotated[WholeNumber, Field(ge=0, le=1440)] = 10
    """A vend this near a count or collection may belong on either side of it."""


class Cards(BaseModel):
    """What taking cards costs."""

    model_config = STRICT
    percent: Annotated[Amount, Field(le=100)] = Decimal("5.95")
    """Of each card vend."""
    per_vend: Amount = Decimal("0.00")
    monthly: Amount = Decimal("7.95")
    """Per machine."""
    reader_cost: Amount = Decimal("299.00")
    """Per machine, once."""


class Stock(BaseModel):
    """How the person counts and tests."""

    model_config = STRICT
    count_when: Literal["before-load", "after-load"] = "before-load"
    """Whether a sheet's count stands before or after its loads and removals."""
    test_vends: Literal["returned", "consumed"] = "returned"
    """Whether test vends are put back or gone."""


class Settings(BaseModel):
    """route.toml. Every key but name, currency and timezone has a default."""

    model_config = STRICT
    name: Annotated[str, Field(min_length=1)]
    currency: Currency
    timezone: Zone
    tolerance: Tolerance = Tolerance()
    cards: Cards = Cards()
    stock: Stock = Stock()

    @property
    def exponent(self) -> int:
        """Decimal digits of the route's currency."""
        return EXPONENTS[self.currency]
