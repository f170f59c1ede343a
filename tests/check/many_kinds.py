"""A route with fourteen kinds of problems, in files whose names and labels hold what formats have to escape."""

from check_texts import LAYOUT, SETTINGS

PRODUCTS = "id,name\noat-bar,Oat bar\ncrisps,Crisps\ngum,Gum\n"

_TOP = 'numbering = "hex-label"\nprice_step = "0.05"\n'


def _slot(label: str, *lines: str, product: str = "oat-bar", price: str = "1.75") -> str:
    written = [f'label = "{label}"', f'product = "{product}"', *([f'price = "{price}"'] if price else []), *lines]
    return "\n".join(["[[slot]]", *written, "", ""])


_WIDE = ('tray = "1"', "pitch = 2")
_FIVE = "".join(_slot(str(label), f"bus = {label}", product="gum", price="1.00") for label in range(1, 6))

FILES: dict[str, str | bytes] = {
    "route.toml": SETTINGS,
    "products.csv": PRODUCTS,
    "layouts/m-1.toml": LAYOUT
    + _TOP
    + _slot("110", *_WIDE, "bus = 273")
    + _slot("112", *_WIDE, price="1.77")
    + _slot("114", *_WIDE, "capacity = 8", "par = 9", product="oat-baar")
    + _slot("120", 'tray = "2"', "pitch = 2", price="")
    + _slot("121", 'tray = "2"')
    + _slot("Z9", product="crisps", price="2.00")
    + '[[change]]\nfrom = 2026-09-14T09:30:00\nlabel = "11O"\nprice = "2.00"\n',
    "layouts/m 2, größe.toml": LAYOUT.replace("m-1", "m-2")
    + _slot("100%, a:b\\n<&>", "bus = 9", product="crisps", price="2.50")
    + _slot("100%, a:b\\n<&>", "bus = 10", product="crisps", price="2.50")
    + _slot("A1", "bus = 9", product="crisps", price="2.50"),
    "layouts/m-3.toml": LAYOUT.replace("m-1", "m-3") + _FIVE,
    "layouts/m-4.toml": LAYOUT.replace("m-1", "m-4") + _FIVE.replace("bus = 4", "bus = 14"),
    "layouts/m-5.toml": LAYOUT.replace("m-1", "m-5") + "prise = 2\n",
    "sources/log.toml": 'kind = "vends"\nfiles = ["*.csv"]\n',
}
