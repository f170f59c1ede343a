"""HTML pages: one Environment for all of them, and the filters through which text from files reaches a page.

Every value is escaped unless it is Markup, and a name that a template asks for and nobody gave raises
(StrictUndefined). Text that came from a file goes through one of two filters:

    {{ name | told }}     in text: marks that hide or turn the text are spelled out, and the whole stands in a <bdi>,
                          so that right-to-left letters do not turn what stands around them
    {{ name | spelled }}  in an attribute, a <title>, an <option>: the same without the element

A page allows its own script and style by their hashes and nothing else (`content_security`).
"""

import base64
import hashlib
import unicodedata
from collections.abc import Iterable
from functools import cache, lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Unicode general categories of what is not seen itself: controls, format marks (the bidirectional ones among them),
lone surrogates, line and paragraph separators."""

_JOINERS = "\u200c\u200d"
"""Zero width (non-)joiner: spelling in Persian, Hindi and others, and in emoji. They turn nothing."""


def spelled(text: object) -> str:
    """The text with every mark that hides, breaks or turns it written out: U+202E becomes `\\u202e`."""
    plain = str(text)
    if plain.isprintable():
        return plain
    return "".join(_spell(mark) for mark in plain)


def _spell(mark: str) -> str:
    if unicodedata.category(mark) not in _HIDDEN or mark in _JOINERS:
        return mark
    return mark.encode("unicode_escape", "surrogatepass").decode("ascii")


@lru_cache(maxsize=4096, typed=True)
def told(text: object) -> Markup:
    """Text of a file as an element of its own: spelled out, escaped, and isolated from the direction around it.

    Labels and products recur in every table of a page: each is made once.
    """
    return Markup("<bdi>%s</bdi>") % spelled(text)


@cache
def environment() -> Environment:
    """The Environment of every page. Templates lie in recon/report/templates and travel in the wheel."""
    made = Environment(
        loader=PackageLoader("recon.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["told"] = told
    made.filters["spelled"] = spelled
    return made


def page(template: str, **values: object) -> str:
    """The template filled in. Raises jinja2.UndefinedError where a value lacks: that is a fault of ours."""
    return environment().get_template(template).render(values)


def asset(name: str) -> Markup:
    """A style or script of the templates folder as it stands, for the inside of <style> or <script>.

    It must not hold `</`, which would end the element. Never give it text of a user.
    """
    loader = environment().loader
    assert loader is not None
    text, _, _ = loader.get_source(environment(), name)
    assert "</" not in text, name
    return Markup(text)


def content_security(*, scripts: Iterable[str] = (), styles: Iterable[str] = ()) -> str:
    """The Content-Security-Policy of a self-contained page: these scripts and styles, by the SHA-256 of their text
    exactly as it stands between the tags, and pictures inside the page. Nothing is fetched, sent or framed.

    Source: W3C, Content Security Policy Level 3, hash sources. A `style` attribute is not allowed by it; use classes,
    or attributes of SVG.
    """
    rules = ["default-src 'none'", "img-src data:", "base-uri 'none'", "form-action 'none'"]
    for name, texts in (("script-src", scripts), ("style-src", styles)):
        hashes = [_hash_source(text) for text in texts]
        rules.append(" ".join([name, *(hashes or ["'none'"])]))
    return "; ".join(rules)


def _hash_source(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def escaped(text: object) -> str:
    """The text for HTML that no template makes (a drawing, for one): spelled out and escaped, attributes too."""
    return str(escape(spelled(text)))
