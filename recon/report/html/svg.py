"""Pieces of inline SVG. Every text goes through `escaped`; every number through `num`, so that bytes never vary.

A picture is role="img" with a <title> and a <desc> that says in words what it shows. Colours come from classes of
report.css (light, dark and paper); whatever a colour says, a place, a sign or a pattern says too.
"""

from collections.abc import Iterable

from recon.report.pages import escaped


def num(value: float) -> str:
    """A coordinate with at most one decimal."""
    return f"{value:.1f}".removesuffix(".0")


def picture(name: str, title: str, desc: str, width: float, height: float, body: Iterable[str], *, css: str) -> str:
    """One drawing. name: its id on the page; what lies in it is named after it."""
    name = escaped(name)
    return (
        f'<svg id="{name}" class="{css}" role="img" aria-labelledby="{name}-t {name}-d" '
        f'viewBox="0 0 {num(width)} {num(height)}"><title id="{name}-t">{escaped(title)}</title>'
        f'<desc id="{name}-d">{escaped(desc)}</desc>{"".join(body)}</svg>'
    )


def box(x: float, y: float, width: float, height: float, css: str, radius: float = 0) -> str:
    """A rectangle."""
    rounded = f' rx="{num(radius)}"' if radius else ""
    return f'<rect class="{css}" x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}"{rounded}/>'


def line(x1: float, y1: float, x2: float, y2: float, css: str) -> str:
    """A straight line."""
    return f'<path class="{css}" d="M{num(x1)} {num(y1)}L{num(x2)} {num(y2)}"/>'


def text(x: float, y: float, words: object, css: str) -> str:
    """A text; its anchor (start, middle, end) is a matter of its class."""
    return f'<text class="{css}" x="{num(x)}" y="{num(y)}">{escaped(words)}</text>'


def hint(words: object) -> str:
    """What shows where the pointer rests."""
    return f"<title>{escaped(words)}</title>"


def shortened(words: str, most: int) -> str:
    """The text cut to so many characters; the whole stands in its hint and in the tables."""
    return words if len(words) <= most else words[: most - 1].rstrip() + "\u2026"
