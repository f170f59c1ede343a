"""The cover page of a bundle: what it is, what it claims, how to verify it, and what it does not prove."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from recon.report.pages import asset, content_security, page

CAUTIONS = (
    "A variance says that units or money are not where the records put them. It does not say who had a hand in it, and"
    " is no proof against anyone: miscounts, jams, wrong prices, wrongly wired slots and late records make variances,"
    " too.",
    "The figures are reckoned from what the files say. Whether a sheet or an export says what happened, no hash can"
    " tell.",
    "The root proves that nothing was changed after it was printed. What was recorded, was recorded before that; how"
    " long before, and whether truly, it does not prove.",
)
"""What whoever reads a bundle has to know."""


@dataclass(frozen=True, slots=True)
class Cover:
    """What the cover page says.

    about: what the bundle is about, in words. span: the time it covers, in words. run: `at` and `report` of the run
    that its figures are of. root, size: of the ledger. earlier: roots that runs printed (`at`, `report`, `entries`,
    `root`), the newest last. files: name and what it is. records: of the results, by section. left_out: what is not in
    the bundle though it concerns it, and why.
    """

    route: str
    currency: str
    about: str
    span: str
    run: Mapping[str, str]
    root: str
    size: int
    earlier: Sequence[Mapping[str, Any]]
    files: Sequence[tuple[str, str]]
    records: Mapping[str, Sequence[Mapping[str, Any]]]
    left_out: Sequence[str]
    rows_only: bool


def cover_page(cover: Cover) -> str:
    """The page as HTML text; it needs no other file."""
    style = asset("tokens.css") + asset("cover.css")
    policy = content_security(styles=[style])
    return page("cover.html", cover=cover, cautions=CAUTIONS, style=style, policy=policy)
