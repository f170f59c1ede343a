"""The rows of the tables of stock windows, for many machines at once."""

from collections.abc import Callable

import polars as pl

from recon.model.frames import Frame
from recon.model.spelling import DAY_AND_CLOCK, local_text
from recon.report.html.columns import Texts, by_machine, money_texts, one_text
from recon.report.html.spelling import Spelling, signed_units, units_text
from recon.report.pages import told

UNITS = ("opening", "loaded", "removed", "vended", "expected", "counted")
SHOWN = (
    "opened_at", "closed_at", "label", "product", "retail_value", "variance_low", "variance_high", "variance", *UNITS,
)  # fmt: skip
"""What a row shows of a window."""


def window_rows(spell: Spelling, windows: Frame, goods: Callable[[str | None], str]) -> dict[str, str]:
    """Return the markup of all windows of each machine: those of one visit under a row that says when it was.

    windows: machine and SHOWN; visit by visit. goods: the name of a product.
    """
    if windows.height == 0:
        return {}
    units = Texts([windows[name] for name in UNITS], units_text)
    signed = Texts([windows[name] for name in ("variance", "variance_low", "variance_high")], signed_units)
    labels = Texts([windows["label"]], told)
    products = Texts([windows["product"]], lambda product: told(goods(product)))
    low, high, off = pl.col("variance_low"), pl.col("variance_high"), pl.col("variance") != 0
    spread = pl.concat_str(signed.of("variance_low"), pl.lit(" to "), signed.of("variance_high"))
    worth = money_texts(spell, windows, ["retail_value"], signed=True)["retail_value"]
    cells = [
        *map(units.of, UNITS), signed.of("variance"), pl.when(low == high).then(pl.lit("")).otherwise(spread),
        pl.when(off).then(worth).otherwise(pl.lit("")),
    ]  # fmt: skip
    begin = pl.when(off).then(pl.lit(' class="off"')).otherwise(pl.lit(""))
    text = pl.concat_str(
        pl.lit("<tr"), begin, pl.lit('><th scope="row" class="name">'), labels.of("label"),
        pl.lit('<td class="words">'), products.of("product"), pl.lit("<td>"), pl.concat_str(cells, separator="<td>"),
    )  # fmt: skip
    done, times = spell.done, ("closed_at", "opened_at")
    visits = one_text(windows.select("machine", *times, text=text), "machine", *times)
    visits = local_text(visits, [*times], done.zones, done.zone, DAY_AND_CLOCK)
    head = '<tbody><tr><th colspan="11" scope="rowgroup">counted {}, since {}\n{}'
    return by_machine(visits.select("machine", text=pl.format(head, "closed_at", "opened_at", "text")))
