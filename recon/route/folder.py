"""A whole route folder: read_route gives its settings, layouts, products and sources, and what is wrong with
them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from pydantic import ValidationError

from recon.model.currencies import EXPONENTS
from recon.model.errors import ReconError, SettingsError
from recon.model.layout import Change, Layout, Product, Slot
from recon.model.problem import Problem
from recon.model.settings import Settings
from recon.route.amounts import amount_fault
from recon.route.faults import bad_value, faults, shown
from recon.route.files import listed, read_toml
from recon.route.layout_blocks import Blocks
from recon.route.layouts import LayoutFile, amounts_of, read_layout, without_doubles
from recon.route.products import FILE as PRODUCTS
from recon.route.products import read_products
from recon.route.sources import SourceFile, read_source

SETTINGS = "route.toml"

__all__ = [
    "SETTINGS",
    "LayoutFile",
    "Parts",
    "Route",
    "SourceFile",
    "read_lone_layout",
    "read_parts",
    "read_route",
    "read_settings",
]


@dataclass(frozen=True)
class Parts:
    """What a folder holds, whether or not it makes a route.

    settings: None where route.toml cannot be used or is not there. layouts, sources: sorted by file, without
    those that cannot be used. products: by id; has_products says whether there is a products.csv. problems:
    by file, line, column.
    """

    root: Path
    settings: Settings | None
    layouts: tuple[LayoutFile, ...] = ()
    products: Mapping[str, Product] = field(default_factory=dict)
    has_products: bool = False
    sources: tuple[SourceFile, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Route(Parts):
    """A route folder whose route.toml can be used."""

    settings: Settings

    @cached_property
    def _by_machine(self) -> dict[str, LayoutFile]:
        return {found.layout.machine: found for found in self.layouts}

    def layout_of(self, machine: str) -> Layout | None:
        """The machine's layout; None where it has none."""
        found = self._by_machine.get(machine)
        return None if found is None else found.layout

    def zone_of(self, machine: str) -> str:
        """The machine's IANA time zone: its layout's, else the route's."""
        layout = self.layout_of(machine)
        return (layout and layout.timezone) or self.settings.timezone

    def currency_of(self, machine: str) -> str:
        """The machine's ISO 4217 code: its layout's, else the route's."""
        layout = self.layout_of(machine)
        return (layout and layout.currency) or self.settings.currency

    def exponent_of(self, machine: str) -> int:
        """Decimal digits of the machine's currency."""
        return EXPONENTS[self.currency_of(machine)]


def read_route(root: Path) -> Route:
    """Read a route folder. Problems with layouts, products and sources are collected, and the files concerned
    left out.

    Raises ReconError where there is no such folder or no route.toml in it, SettingsError where route.toml
    itself cannot be used.
    """
    parts = read_parts(root)
    _usable(parts.settings, parts.problems)
    return Route(**{name: getattr(parts, name) for name in Parts.__dataclass_fields__})


def read_settings(root: Path) -> Settings:
    """Read route.toml alone. Raises as read_route does."""
    _refuse_no_route(root)
    return _usable(*_read_settings(root))


def _usable(settings: Settings | None, problems: Sequence[Problem]) -> Settings:
    if settings is None:
        raise SettingsError([problem for problem in problems if problem.place.file == SETTINGS])
    return settings


def read_parts(root: Path) -> Parts:
    """Read everything that can be read, route.toml usable or not, so that a check tells all at once.

    Raises ReconError where there is no such folder or no route.toml in it.
    """
    _refuse_no_route(root)
    settings, problems = _read_settings(root)
    currency = None if settings is None else settings.currency
    layouts, more = _read_layouts(root, currency)
    problems += more
    products: Mapping[str, Product] = {}
    has_products = (root / PRODUCTS).exists()
    if has_products:
        products, more = read_products(root, currency)
        problems += more
    sources = []
    for file in listed(root, "sources", (".toml",)):
        source, more = read_source(root, file)
        problems += more
        if source is not None:
            sources.append(source)
    return Parts(
        root,
        settings,
        tuple(layouts),
        products,
        has_products,
        tuple(sources),
        tuple(sorted(problems, key=by_place)),
    )


def _refuse_no_route(root: Path) -> None:
    if not root.is_dir():
        raise ReconError(
            f"{root} is not a folder. Name a route folder, or draft one with: recon draft route {root}"
        )
    if not (root / SETTINGS).exists():
        raise ReconError(
            f"{root} has no {SETTINGS}, so it is no route folder. Draft one with: recon draft route FOLDER"
        )


def read_lone_layout(path: Path) -> Parts:
    """A layout file outside any route folder: currency and time zone of the route are not known."""
    found, problems = read_layout(path.parent, path.name)
    layouts: tuple[LayoutFile, ...] = ()
    if found is not None:
        problems += (wrong := amounts_of(found, found.layout.currency))
        layouts = () if wrong else (found,)
    return Parts(path.parent, None, layouts, problems=tuple(sorted(problems, key=by_place)))


def by_place(problem: Problem) -> tuple[str, int, int, str, str]:
    """The order in which problems are told: file, line, column, kind."""
    place = problem.place
    return place.file, place.line or 0, place.column or 0, problem.kind, problem.label or ""


def _read_settings(root: Path) -> tuple[Settings | None, list[Problem]]:
    toml = read_toml(root, SETTINGS)
    if isinstance(toml, Problem):
        return None, [toml]
    data, find = toml
    try:
        settings = Settings.model_validate(data)
    except ValidationError as error:
        return None, faults(Settings, data, error, find)
    problems = []
    for table, keys in (("tolerance", ("cash",)), ("cards", ("per_vend", "monthly", "reader_cost"))):
        for key in keys:
            amount = getattr(getattr(settings, table), key)
            expected = amount_fault(amount, settings.currency)
            if expected is not None and key in data.get(table, {}):
                problems.append(bad_value(find((table, key)), key, shown(amount), expected))
    return (None if problems else settings), problems


def _read_layouts(root: Path, currency: str | None) -> tuple[list[LayoutFile], list[Problem]]:
    found: list[LayoutFile] = []
    problems: list[Problem] = []
    blocks, fitting = Blocks(), dict[str | None, dict[int, Slot | Change]]()
    for file in listed(root, "layouts", (".toml", ".csv")):
        layout_file, more = read_layout(root, file, blocks)
        if layout_file is not None:
            coin = layout_file.layout.currency or currency
            more = more + amounts_of(layout_file, coin, fitting.setdefault(coin, {}))
        problems += more
        if layout_file is not None and not more:
            found.append(layout_file)
    layouts, doubles = without_doubles(found)
    return layouts, problems + doubles
