"""The HTML that the pages of a report share: head, foot, scrolling tables, findings.

A function here takes texts and gives markup, ready to stand on the page. Whatever may come from a file goes through
`told` or `escaped` (recon.report.pages); the rest are words of ours and figures spelled by recon.report.html.spelling,
which have no mark that HTML knows.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from recon.model.reconciliation import Anchor
from recon.report.html.findings import Listed, Shown
from recon.report.pages import escaped, told


class Common(NamedTuple):
    """What every page of a report says. policy: its Content-Security-Policy. style: all of its style sheets."""

    policy: str
    style: str
    route: str
    span: str
    made: str
    anchor: Anchor | None


def head(title: str, common: Common) -> str:
    """All that stands before the body."""
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{escaped(common.policy)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<link rel="icon" href="data:,">
<title>{escaped(title)}</title>
<style>{common.style}</style>
</head>

"""


PATTERNS = """<svg class="patterns" width="0" height="0" aria-hidden="true" focusable="false">
<defs>
<pattern id="p-short" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">\
<rect class="p-short-ground" width="6" height="6"/><rect class="p-short-line" width="2.4" height="6"/></pattern>
<pattern id="p-near" width="5" height="5" patternUnits="userSpaceOnUse">\
<circle class="p-near-dot" cx="2.5" cy="2.5" r="1.3"/></pattern>
<pattern id="p-card" width="5" height="5" patternUnits="userSpaceOnUse">\
<rect class="p-card-ground" width="5" height="5"/><rect class="p-card-line" width="5" height="2"/></pattern>
</defs>
</svg>

"""
"""What bars are filled with, so that colour is never all."""

CAUTIONS = """<aside class="cautions" aria-label="Cautions">
<p><strong>A variance is a difference between two figures. It is no proof of who took what.</strong> A miscount, \
a load not written down, a number mapped wrongly or a reader that was offline look the same. Accuse nobody on its \
strength.</p>
<p>Before reaching into a machine: switch it off, unplug it, and follow the maker’s instructions. Never tip or rock a \
machine. Count money with a second person, vary the hours of a round, and give cash up rather than defend it.</p>
</aside>

"""


def foot(common: Common) -> str:
    """When the page was made and what it can be checked against, and the end of the page."""
    ledger = "This run was not written to a ledger."
    if common.anchor is not None:
        ledger = (
            f'Ledger: entries {common.anchor.entries}, root <code class="root">{escaped(common.anchor.root)}</code>. '
            "Whoever has both figures on paper can prove with <code>recon verify .</code> that nothing before them was "
            "altered."
        )
    return f"""<footer>
<p>Made {common.made}. {ledger}</p>
<p>Every figure of this page stands in results.json of the same folder. Times are each machine’s local time.</p>
</footer>
</body>
</html>
"""


def wide(label: str, inside: str) -> str:
    """What may be wider than a phone, in a frame of its own that scrolls. label: what it is called when read out."""
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escaped(label)}">\n{inside}\n</div>\n'
    )


def table(label: str, columns: Sequence[str], rows: Iterable[str], *, css: str = ' class="figures"') -> str:
    """A table in such a frame. columns: each as from `column` or `words`. rows: markup."""
    return wide(label, f"<table{css}>\n<thead><tr>{''.join(columns)}\n<tbody>\n{''.join(rows)}</table>\n")


def column(name: str) -> str:
    """The head of a column of figures."""
    return f'<th scope="col">{name}'


def columns(*names: str) -> tuple[str, ...]:
    """The heads of several columns of figures."""
    return tuple(column(name) for name in names)


def words(name: str) -> str:
    """The head of a column of words."""
    return f'<th scope="col" class="words">{name}'


def folded(summary: str, *inside: str) -> str:
    """What is shown once somebody asks for it. summary, inside: markup."""
    return f"<details>\n<summary>{summary}</summary>\n{''.join(inside)}</details>\n"


def cut(shown: int, total: int, what: str, full: str) -> str:
    """How many of how many are shown, where it is not all. full: where all of them stand."""
    if shown >= total:
        return "\n"
    return f'<p class="cut">Shown: {shown:,} of {total:,} {what}. All of them: {full}.</p>\n\n'


def findings(listed: Listed) -> str:
    """Open findings, and below them, folded, those decided about and the notes."""
    if listed.open:
        left_out = cut(len(listed.open), listed.counts["open"], "open findings", "results.json, findings")
        parts = [_list(listed.open), left_out]
    else:
        parts = ['<p class="nothing">No error and no warning is open here.</p>\n']
    for name, shown, of in (
        ("decided", listed.decided, "decided"), ("notes", listed.notes, "notes that explain a figure"),
    ):  # fmt: skip
        if shown:
            count = listed.counts[name]
            left_out = cut(len(shown), count, "findings", "results.json, findings")
            parts.append(folded(f"{count} {of}", _list(shown), left_out))
    return "".join(parts)


def _list(shown: Iterable[Shown]) -> str:
    return f'<ol class="findings">\n{"".join(map(_finding, shown))}</ol>\n'


def _finding(one: Shown) -> str:
    state = ""
    if one.changed:
        state = (
            '<p class="changed">Its figures are others than when it was decided '
            f"(entry {one.decision} of the ledger), so it is open again.</p>\n"
        )
    elif one.state != "open":
        state = f'<p class="changed">Decided: {one.state} (entry {one.decision} of the ledger).</p>\n'
    advice = f'<p class="advice">{told(one.advice)}</p>\n' if one.advice else ""
    follow = f'<a href="#{one.follow}">Its rows, one by one</a> · ' if one.follow else ""
    trace = f"<code>{escaped(one.trace)}</code> · " if one.trace else ""
    places = ""
    if one.places:
        places = " · from " + ", ".join([f"<code>{escaped(place)}</code>" for place in one.places])
        places += f" and {one.more_places:,} more" if one.more_places > 0 else ""
    return (
        f'<li id="f-{one.id}" class="finding {one.severity}">\n'
        f'<p class="what"><span class="sort"><span aria-hidden="true">{one.glyph}</span> {one.severity}, {one.kind}'
        f"</span> {told(one.message)}</p>\n{state}{advice}"
        f'<p class="follow">\n{follow}{trace}<span class="id">finding <code>{one.id}</code></span>\n{places}</p>\n'
        "</li>\n"
    )
