"""What was learned of a machine's numbering, as text for a person and as JSON."""

import json
from collections.abc import Iterator, Sequence
from datetime import datetime
from math import exp, isfinite
from textwrap import wrap
from typing import Any

from recon.match.align import CONFIDENT
from recon.match.learned import Candidate, FoundTest, Learned, NextTest
from recon.match.numbering import rule_words
from recon.model.layout import ColumnGrid, Grid, Numbering
from recon.model.zones import zone

WIDTH = 79
CAUTION = (
    "Vend with the door shut, as a customer does. No hands in a machine that has power; never tip or shake it."
)
_SHOWN_RULES = 5
_SHOWN_NUMBERS = 12


def learned_text(learned: Learned, paths: Sequence[str], zone_name: str) -> str:
    """The result in plain text, 79 columns. paths: of the inputs by number. zone_name: in which times are shown."""
    parts = [_head(learned), _tests(learned, paths, zone_name), _rule(learned), _doubts(learned), _numbers(learned)]
    return "\n".join(line for part in [*parts, _next(learned)] for line in part) + "\n"


def _head(learned: Learned) -> Iterator[str]:
    whole = len(learned.numbers) + len(learned.undecided)
    state = "the numbering is certain" if learned.certain else "the numbering is not yet certain"
    yield f"{learned.machine}: {state}; {len(learned.numbers)} of {_many(whole, 'slot')} have a number"


def _tests(learned: Learned, paths: Sequence[str], zone_name: str) -> Iterator[str]:
    if not learned.tests:
        yield from _said("Tests", "none noted for this machine yet")
        return
    found = sum(test.state == "found" for test in learned.tests)
    yield from _said("Tests", f"{found} of {len(learned.tests)} found in the log{_clock(learned)}")
    wide = max(5, *(len(test.label) for test in learned.tests))
    for test in learned.tests:
        yield from _hung(f"  {test.label:<{wide}}  ", _of_test(test, paths, zone_name))


def _clock(learned: Learned) -> str:
    if learned.clock_offset is None:
        return ""
    seconds = round(learned.clock_offset.total_seconds())
    if abs(seconds) < 60:
        return "; its clock and that of the tests agree"
    minutes, hours = abs(seconds) // 60 % 60, abs(seconds) // 3600
    span = f"{hours} h {minutes} min" if hours else f"{minutes} min {abs(seconds) % 60} s"
    return f"; its clock is {span} {'ahead' if seconds > 0 else 'behind'}"


def _of_test(test: FoundTest, paths: Sequence[str], zone_name: str) -> str:
    if test.state == "missing":
        return "not in the log: it failed, or the log missed it"
    if test.state == "ambiguous":
        near = [found for found in (test.vend, *test.runners_up) if found is not None and found.short_by < CONFIDENT]
        maybe = [_place(found, paths, zone_name) for found in near]
        maybe += ["not in the log"] if test.vend is None else []
        return f"ambiguous, not used: {'; or '.join(maybe)}"
    assert test.vend is not None
    number = "no number" if test.vend.bus is None else str(test.vend.bus)
    return f"{number:<5}  {_place(test.vend, paths, zone_name, number=False)}  {odds(test.margin)}"


def _place(found: Candidate, paths: Sequence[str], zone_name: str, *, number: bool = True) -> str:
    moment = found.time.astimezone(zone(zone_name)).strftime("%m-%d %H:%M:%S")
    text = f"{paths[found.file]}:{found.row} at {moment}"
    return f"{text}, {'no number' if found.bus is None else found.bus}" if number else text


def odds(margin: float) -> str:
    """A margin in nats as odds against the next best reading."""
    return f"{exp(margin):.0f} to 1" if margin < 9 else "over 8,000 to 1"


def _rule(learned: Learned) -> Iterator[str]:
    count = len(learned.pairs)
    if not learned.rules:
        none = "no rule explains the numbers found" if count else "nothing to go by yet"
        yield from _said("Rule", none)
        return
    best = learned.rules[0]
    if learned.rule is None:
        standing = [each for each in learned.rules if each.explains == best.explains]
        names = _listed([each.rule for each in standing])
        yield from _said("Rules", f"{len(standing)} explain {best.explains} of {_many(count, 'label')}: {names}")
        return
    told = f"{rule_words(learned.rule)} explains {best.explains} of {_many(count, 'label')}"
    if learned.exceptions:
        yield from _said("Rule", f"{told}; not {', '.join(learned.exceptions)}. That is not enough for the rest.")
    elif learned.certain and count < len(learned.numbers):
        yield from _said("Rule", f"{told}, and no other rule does. What it says of the rest rests on these {count}.")
        if learned.pitches:
            changed = ", ".join(f"{label} {pitch}" for label, pitch in learned.pitches.items())
            yield from _said("", f"It holds with other pitches than the layout's: {changed}.")
    else:
        yield from _said("Rule", told)


def _listed(rules: Sequence[Numbering]) -> str:
    """Rules as they are written; of a grid whose width is still open, one for all."""
    widths = {"grid": 0, "column-grid": 0}
    named: list[tuple[str, str]] = []
    for rule in rules:
        key = "grid" if isinstance(rule, Grid) else "column-grid" if isinstance(rule, ColumnGrid) else ""
        if key:
            widths[key] += 1
        if not key or widths[key] == 1:
            named.append((key, rule_words(rule)))
    return ", ".join(
        f"{{ {key} = w }} of {widths[key]} widths" if widths.get(key, 0) > 1 else text for key, text in named
    )


def _doubts(learned: Learned) -> Iterator[str]:
    for label, numbers in learned.disputed.items():
        yield from _said("Doubt", f"tests of {label} gave different numbers: {', '.join(map(str, numbers))}")
    if learned.other_prices:
        told = ", ".join(learned.other_prices)
        yield from _said("Doubt", f"by the rule, customers paid another price than the layout's at {told}")
    if learned.strays:
        told = ", ".join(map(str, learned.strays[:_SHOWN_NUMBERS]))
        more = len(learned.strays) - _SHOWN_NUMBERS
        told += f" and {more} more" if more > 0 else ""
        yield from _said(
            "Doubt",
            f"logged since the tests began, and given to no slot by the rule: {told}. Is a slot missing from "
            "the layout?",
        )


def _numbers(learned: Learned) -> Iterator[str]:
    tested = {pair.label for pair in learned.pairs}
    rest = [f"{label} {bus}" for label, bus in learned.numbers.items() if label not in tested]
    if rest:
        yield from _said("By rule", "   ".join(each.replace(" ", "\0") for each in rest))
    elif learned.undecided and learned.pairs:
        yield from _said("Open", ", ".join(learned.undecided))


def _next(learned: Learned) -> Iterator[str]:
    following = learned.next_test
    if following is None:
        if not learned.certain and learned.undecided == () and not learned.pairs:
            yield from _said("Next", "write the labels down as a layout: recon draft layout")
        return
    yield from _said("Next", f"vend {following.label}{_why(following)}.{_how_many(following)}")
    predicted: dict[int | None, list[Numbering]] = {}
    for rule, number in following.predictions:
        if rule is not None:
            predicted.setdefault(number, []).append(rule)
    shown = sorted(predicted.items(), key=lambda entry: -len(entry[1]))[:_SHOWN_RULES] if predicted else []
    shown = [entry for entry in predicted.items() if entry in shown]
    for number, rules in shown:
        expected = "no number" if number is None else str(number)
        yield from _hung(f"  {expected:<9}  ", _listed(rules))
    if len(predicted) > len(shown):
        yield f"  and {len(predicted) - len(shown)} other numbers by further widths (all with --format json)"
    if following.reason == "first":
        yield "  any other  a rule with a parameter"
    yield from _said("Care", CAUTION)


def _why(following: NextTest) -> str:
    return {
        "first": "", "tells-apart": ": it tells most of these apart", "confirms": ", to confirm the rule",
        "again": " again: its number is an exception to the rule",
        "doubted": ": customers paid another price there than the layout's", "unexplained": ": its number is not known",
    }[following.reason]  # fmt: skip


def _how_many(following: NextTest) -> str:
    if following.worst is None or following.expected is None:
        return " How many tests it takes cannot be said."
    if following.worst == 1:
        return " It is the last test needed, if all goes well."
    return f" {following.worst} tests are still needed at most, {following.expected:.1f} on average, if all goes well."


def _said(name: str, text: str) -> Iterator[str]:
    yield from _hung(f"{name:<8}", text)


def _hung(before: str, text: str) -> Iterator[str]:
    """Text wrapped at WIDTH, its further lines under its first."""
    lines = wrap(text, max(20, WIDTH - len(before)), break_long_words=False, break_on_hyphens=False) or [""]
    for at, line in enumerate(lines):
        yield ((before if at == 0 else " " * len(before)) + line.replace("\0", " ")).rstrip()


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def learned_json(learned: Learned, paths: Sequence[str], zone_name: str) -> str:
    """The result as JSON, `recon-learn/1`. A key without a value is null."""

    def moment(time: datetime | None) -> str | None:
        return None if time is None else time.astimezone(zone(zone_name)).isoformat(timespec="seconds")

    def vend(found: Candidate | None) -> dict[str, Any] | None:
        if found is None:
            return None
        place = {"file": paths[found.file], "row": found.row, "time": moment(found.time)}
        return place | {"bus": found.bus, "short_by": found.short_by}

    def test(found: FoundTest) -> dict[str, Any]:
        place = {"label": found.label, "file": paths[found.file], "row": found.row, "time": moment(found.time)}
        margin = found.margin if isfinite(found.margin) else None
        runners_up = [vend(other) for other in found.runners_up]
        return place | {"state": found.state, "margin": margin, "vend": vend(found.vend), "runners_up": runners_up}

    offset = learned.clock_offset
    told = {
        "format": "recon-learn/1", "machine": learned.machine, "certain": learned.certain, "rule": _words(learned.rule),
        "pairs": [
            {"label": pair.label, "bus": pair.bus, "file": paths[pair.file], "row": pair.row} for pair in learned.pairs
        ],
        "numbers": [{"label": label, "bus": bus} for label, bus in learned.numbers.items()],
        "undecided": list(learned.undecided), "exceptions": list(learned.exceptions), "strays": list(learned.strays),
        "other_prices": list(learned.other_prices),
        "disputed": [{"label": label, "buses": list(buses)} for label, buses in learned.disputed.items()],
        "pitches": [{"label": label, "pitch": pitch} for label, pitch in learned.pitches.items()],
        "clock_offset_seconds": None if offset is None else round(offset.total_seconds()),
        "tests": [test(found) for found in learned.tests],
        "rules": [
            {"rule": _words(each.rule), "parameters": each.parameters, "explains": each.explains,
             "exceptions": list(each.exceptions)}
            for each in learned.rules
        ],
        "next_test": _next_json(learned.next_test),
    }  # fmt: skip
    return json.dumps(told, ensure_ascii=False, indent=1) + "\n"


def _words(rule: Numbering | None) -> str | None:
    return None if rule is None else rule_words(rule)


def _next_json(following: NextTest | None) -> dict[str, Any] | None:
    if following is None:
        return None
    return {
        "label": following.label, "reason": following.reason, "bits": round(following.bits, 3),
        "worst": following.worst, "expected": None if following.expected is None else round(following.expected, 2),
        "predictions": [{"rule": _words(rule), "bus": number} for rule, number in following.predictions],
    }  # fmt: skip
