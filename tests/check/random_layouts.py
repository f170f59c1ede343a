"""Route folders with random layouts, alike and with mistakes, from a seed."""

import random
from pathlib import Path

from check_texts import SETTINGS

_RULES = (
    "", "", "", 'numbering = "same"', "numbering = { offset = 160 }", "numbering = { grid = 4, first = 10 }",
    "numbering = { column-grid = 4, first = 10 }", "numbering = { sequence = 1 }", "[numbering]\nsequence = 5",
)  # fmt: skip
_MOMENTS = ("2026-08-01T07:00:00", "2026-08-03T07:00:00", "2026-09-01T07:00:00", "2026-09-01T07:30:00", "2026-10-25")
_ODD = ('prise = "1.75"', "bus = true", "pitch = 3", 'price = "1.755"', "start = 2026-09-01T07:00:00", "# a note", "]")


def write_route(root: Path, seed: int) -> Path:
    """Write a route of up to six machines; a low seed gives the same as before. Returns the folder."""
    draw = random.Random(seed)
    (root / "layouts").mkdir(parents=True)
    (root / "route.toml").write_text(SETTINGS, encoding="utf-8")
    if draw.random() < 0.8:
        (root / "products.csv").write_text("id,name,unit_cost\ngum,Gum,0.25\nmint,Mint,0.3\n", encoding="utf-8")
    front = [_slot(draw, str(100 + at), 0.02) for at in range(draw.randint(0, 6))]
    odd = draw.choice((0.0, 0.0, 0.1))
    for at in range(draw.randint(1, 6)):
        slots = [block if draw.random() < 0.8 else _slot(draw, str(100 + nth), 0.3) for nth, block in enumerate(front)]
        slots += [_slot(draw, draw.choice(("100", "A1", "A2", "B1")), 0.3) for _ in range(draw.choice((0, 0, 1, 2)))]
        changes = [_change(draw) for _ in range(draw.choice((0, 0, 0, 1, 3)))]
        blocks = [*slots, *changes] if draw.random() < 0.9 else [*changes, *slots]
        text = "\n\n".join([_head(draw, at), *blocks]) + draw.choice(("\n", "", "\n\n"))
        if draw.random() < odd:
            lines = text.split("\n")
            lines.insert(draw.randint(0, len(lines)), draw.choice(_ODD))
            text = "\n".join(lines)
        newline = "\r\n" if draw.random() < 0.1 else "\n"
        (root / "layouts" / f"m-{at}.toml").write_text(text, encoding="utf-8", newline=newline)
    return root


def _head(draw: random.Random, at: int) -> str:
    machine = at if draw.random() < 0.97 else 0
    lines = [f'machine = "m-{machine}"', "effective = 2026-08-03T07:00:00"]
    lines += ['site = """', "[[slot]]", 'label = "100"', '"""'] if draw.random() < 0.05 else []
    lines += draw.choice(([], [], ['timezone = "Europe/Berlin"'], ['currency = "JPY"'], ["price_step = 0.25"]))
    return "\n".join([*lines, draw.choice(_RULES)])


def _slot(draw: random.Random, label: str, wrong: float) -> str:
    """A slot in which each value is another than expected with the chance `wrong`."""

    def one_of(usual: str, *others: str) -> str:
        return draw.choice(others) if draw.random() < wrong else usual

    return "\n".join(
        line
        for line in (
            "[[slot]]",
            one_of(f'label = "{label}"', f"label = {label}" if label.isdigit() else f'label = "{label}"'),
            one_of(f"bus = {sum(label.encode()) % 90}", "bus = 7", "bus = -1", "bus = 70000", ""),
            one_of("", 'tray = "1"', "pitch = 2", 'tray = "1"\npitch = 2'),
            one_of('product = "gum"', 'product = "mint"', 'product = "gun"', ""),
            one_of('price = "1.75"', 'price = "2.00"', "price = 1.50", 'price = "1.80"', 'price = "0"', ""),
            one_of("", 'card_price = "2.00"'),
            one_of("capacity = 8", "capacity = 6", "par = 9", "capacity = 6\npar = 7", ""),
        )
        if line
    )


def _change(draw: random.Random) -> str:
    lines = ["[[change]]", f"from = {draw.choice(_MOMENTS)}", f'label = "{draw.choice(("100", "101", "102", "A1"))}"']
    keys = ('product = "mint"', 'product = "gum"', 'price = "2.00"', "bus = 7", "capacity = 5", "pitch = 2",
            "retire = true", 'card_price = "2.10"', "par = 9", 'tray = "2"')  # fmt: skip
    return "\n".join([*lines, *draw.sample(keys, draw.randint(0, 2))])
