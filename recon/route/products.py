"""products.csv: what is sold, what it costs, how it is packed."""

from collections.abc import Mapping
from pathlib import Path

from pydantic import ValidationError

from recon.model.layout import Product
from recon.model.problem import Problem
from recon.route.amounts import COST_DIGITS, amount_fault
from recon.route.faults import bad_value, keys_of, shown
from recon.route.files import read_text
from recon.route.table import Table, read_table

FILE = "products.csv"
_EXPECTED = {
    "id": "the product's id, in every row",
    "name": "a text",
    "unit_cost": "an amount such as 0.625, not negative",
    "case_size": "a whole number above 0",
    "category": "a text",
    "shelf_days": "a whole number above 0",
}


def read_products(root: Path, currency: str | None) -> tuple[Mapping[str, Product], list[Problem]]:
    """Read products.csv. A product with a bad value stays known, without that value; so do its other values.

    currency: the route's; a unit cost may have four digits more than it. None: not known.
    """
    text = read_text(root, FILE)
    if isinstance(text, Problem):
        return {}, [text]
    table = read_table(FILE, text, keys_of(Product), required=("id",))
    problems = list(table.problems)
    products: dict[str, Product] = {}
    lines: dict[str, int] = {}
    for row, cells in enumerate(table.rows):
        known = cells.get("id")
        if known is None:
            if "id" in table.columns:
                problems.append(bad_value(table.place(row, "id"), "id", "nothing", _EXPECTED["id"]))
        elif known in products:
            expected = f"each id once; it stands in line {lines[known]} already"
            problems.append(bad_value(table.place(row, "id"), "id", shown(known), expected))
        else:
            lines[known] = table.lines[row]
            products[known] = _product(table, row, cells, currency, problems)
    return products, problems


def _product(
    table: Table, row: int, cells: Mapping[str, str], currency: str | None, problems: list[Problem]
) -> Product:
    try:
        product = Product.model_validate(cells)
    except ValidationError as error:
        wrong = {str(entry["loc"][0]) for entry in error.errors(include_url=False)}
        for key in sorted(wrong):
            problems.append(bad_value(table.place(row, key), key, shown(cells[key]), _EXPECTED[key]))
        return Product.model_validate({key: cell for key, cell in cells.items() if key not in wrong})
    expected = None if product.unit_cost is None else amount_fault(product.unit_cost, currency, COST_DIGITS)
    if expected is not None:
        place = table.place(row, "unit_cost")
        problems.append(bad_value(place, "unit_cost", shown(cells["unit_cost"]), expected))
    return product
