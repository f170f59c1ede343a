"""HTML pages: the ways through which text from files reaches a page, and one Environment for those made of templates.

Text that came from a file goes through one of two functions, which templates know as filters of the same names (there
every value is escaped besides, and a name that nobody gave raises: StrictUndefined):

    told      in text: marks that hide or turn the text are spelled out, and the whole stands in a <bdi>, so that
              right-to-left letters do not turn what stands around them
    spelled   in an attribute, a <title>, an <option>: the same without the element; `escaped` where no template does it

The report has no templates: its thousands of cells a machine are put together by recon.report.html.markup and the
modules beside it, many times quicker. A page allows its own script and style by their hashes and nothing else
(`content_security`).
"""

import base64
import hashlib
import unicodedata
from collections.abc import Iterable
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

_TEMPLATES = Path(__file__).parent / "templates"

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


def escaped(text: object) -> str:
    """The text for HTML that no template makes (a drawing, for one): spelled out and escaped, attributes too."""
    plain = spelled(text)
    if plain.isalnum():
        return plain
    for mark, entity in _ENTITIES:
        plain = plain.replace(mark, entity)
    return plain


_ENTITIES = (("&", "&amp;"), (">", "&gt;"), ("<", "&lt;"), ("'", "&#39;"), ('"', "&#34;"))
"""The same as in templates. The first has to come first."""


@lru_cache(maxsize=4096, typed=True)
def told(text: object) -> str:
    """Text of a file as an element of its own: spelled out, escaped, and isolated from the direction around it.

    Labels and products recur in every table of a page: each is made once.
    """
    return f"<bdi>{escaped(text)}</bdi>"


@cache
def environment() -> "Environment":
    """The Environment of every page made of a template. They lie in recon/report/templates and travel in the wheel."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    made = Environment(
        loader=PackageLoader("recon.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["told"] = lambda text: Markup(told(text))
    made.filters["spelled"] = spelled
    return made


def page(template: str, **values: object) -> str:
    """The template filled in. Raises jinja2.UndefinedError where a value lacks: that is a fault of ours."""
    return environment().get_template(template).render(values)


def style(*names: str) -> str:
    """Style sheets of the templates folder one behind the other, for the inside of <style>; see `asset`."""
    return "".join(_whole(name) for name in names)


def asset(name: str) -> "Markup":
    """A style or script of the templates folder as it stands, for the inside of <style> or <script> of a template.

    It must not hold `</`, which would end the element. Never give it text of a user.
    """
    from markupsafe import Markup

    return Markup(_whole(name))


@cache
def _whole(name: str) -> str:
    text = (_TEMPLATES / name).read_bytes().decode("utf-8")
    assert "</" not in text, name
    return text


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
