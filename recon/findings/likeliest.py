"""What is said of an unmapped number: the likeliest slot with all that speaks for it, or why none is named."""

from datetime import datetime

from recon.findings.draft import Speller
from recon.match.evidence import Evidence, Half, Why
from recon.match.explained import Explanation
from recon.model.money import to_text
from recon.model.zones import zone

_SAID: dict[Why, str] = {
    "short-by-as-many": "it logged nothing from {since} to {until} and is short by just as many ({units})",
    "had-it-before": "it had that number until {since}",
    "gets-it-later": "it has that number from {since} on",
    "out-of-use": "it has that number and is out of use since {since}",
    "by-the-rule": "the layout's rule {rule} gives it that number",
    "by-the-other-numbers": "the rule {rule}, which the layout's {pairs} other numbers follow, gives it that number",
    "gap-in-the-run": "it has no number, and that one is missing between {first} of {before} and {last} of {after}",
    "price-of-its-own": "logged at {amounts} in {fit} of {priced}, which no other slot asks",
    "logged-nothing": "it logged nothing of its own meanwhile",
    "asks-another-price": "though logged at {amounts}, which it does not ask",
    "sold-meanwhile": "though it logged {sold} of its own meanwhile",
}


def said_of(one: Explanation, spell: Speller) -> str:
    """One sentence or two; times in the machine's zone, prices in its digits, each piece with its weight."""
    told = [_guess(one, spell)] if one.guess is not None else [_none(one)]
    if one.half is not None:
        told.append(_half(one.bus, one.half))
    return " ".join(told)


def _guess(one: Explanation, spell: Speller) -> str:
    pieces = "; ".join(_piece(one.machine, each, spell) for each in one.evidence)
    beside = "" if one.next_best is None else f", the next {one.next_best[0]} with {one.next_best[1]}"
    return f"Likeliest: label {one.guess}, weight {one.points}{beside}: {pieces}."


def _piece(machine: str, evidence: Evidence, spell: Speller) -> str:
    digits = spell.digits.get(machine, spell.default_digits)
    figures = {
        "since": _moment(machine, evidence.since, spell),
        "until": _moment(machine, evidence.until, spell),
        "amounts": " or ".join(to_text(amount, digits) for amount in evidence.amounts),
        **evidence.figures,
    }
    return f"{_SAID[evidence.why].format_map(figures)} [{evidence.points:+d}]"


def _moment(machine: str, moment: datetime | None, spell: Speller) -> str:
    return "" if moment is None else f"{moment.astimezone(zone(spell.zones.get(machine, spell.zone))):%Y-%m-%d %H:%M}"


def _none(one: Explanation) -> str:
    if one.undecided:
        labels = ", ".join(f"{label} ({points})" for label, points in one.undecided)
        several = len(one.undecided) > 1
        told = f"Nothing decides between labels {labels}" if several else f"It may be label {labels}"
        rivals = " and ".join(map(str, one.rivals))
        return f"{told}; number {rivals} may be that as well." if rivals else f"{told}."
    if one.taken is not None:
        return f"No slot is likely: label {one.taken[0]} answers better for number {one.taken[1]}."
    return "No slot is likelier than another."


def _half(bus: int, half: Half) -> str:
    other = "odd" if bus % 2 == 0 else "even"
    return (
        f"Only the missing half of a double-width slot would have it: label {half.label} has {half.holds} and takes "
        f"two numbers, and {half.agree} of the {half.of} numbers of tray {half.tray} are {other}."
    )
