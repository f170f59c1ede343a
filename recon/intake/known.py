"""What the route folder tells the intake: zones, currencies and labels of the machines that have a layout."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import polars as pl

from recon.intake.table import FEW_ROWS
from recon.intake.values import Parsed
from recon.model.currencies import EXPONENTS
from recon.model.layout import Layout
from recon.route.folder import Route


@dataclass(frozen=True)
class Known:
    """The route as far as reading a row needs it."""

    route: Route

    @property
    def _layouts(self) -> list[Layout]:
        return [entry.layout for entry in self.route.layouts]

    @cached_property
    def zones(self) -> dict[str, str]:
        """Machine to IANA zone."""
        default = self.route.settings.timezone
        return {layout.machine: layout.timezone or default for layout in self._layouts}

    @cached_property
    def digits(self) -> dict[str, int]:
        """Machine to decimal digits of its currency."""
        return {machine: EXPONENTS[currency] for machine, currency in self.currencies.items()}

    @cached_property
    def currencies(self) -> dict[str, str]:
        """Machine to the ISO 4217 code of its currency."""
        default = self.route.settings.currency
        return {layout.machine: layout.currency or default for layout in self._layouts}

    def currency_of(self, machine: pl.Expr) -> pl.Expr:
        """The currency of each machine; the route's for one without a layout."""
        default = self.route.settings.currency
        if all(code == default for code in self.currencies.values()):
            return pl.lit(default)
        return machine.replace_strict(self.currencies, default=default, return_dtype=pl.String)

    @property
    def one_currency(self) -> bool:
        """Whether all machines take money of the same number of digits."""
        return set(self.digits.values()) <= {self.default_digits}

    @property
    def default_digits(self) -> int:
        return self.route.settings.exponent

    @cached_property
    def labels(self) -> dict[str, list[str]]:
        """Machine to the labels of its layout."""
        return {layout.machine: [slot.label for slot in layout.slots] for layout in self._layouts}

    def zones_of(self, machines: pl.Series) -> pl.Series:
        """The zone of each machine; the route's for one without a layout."""
        default = self.route.settings.timezone
        if all(name == default for name in self.zones.values()):
            return pl.Series([default]).new_from_index(0, machines.len())
        if machines.len() <= FEW_ROWS:
            return pl.Series([self.zones.get(machine, default) for machine in machines], dtype=pl.String)
        return machines.replace_strict(self.zones, default=default, return_dtype=pl.String)

    def money(self, read: Callable[[int], Parsed], machine: pl.Expr) -> Parsed:
        """Read an amount with the digits of each row's machine; `read` makes the reader for a number of digits."""
        value, reason = read(self.default_digits)
        for other in sorted(set(self.digits.values()) - {self.default_digits}):
            here = machine.is_in([name for name, count in self.digits.items() if count == other])
            parsed = read(other)
            value = pl.when(here).then(parsed.value).otherwise(value)
            reason = pl.when(here).then(parsed.reason).otherwise(reason)
        return Parsed(value, reason)
