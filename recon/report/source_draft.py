"""A proposed description as a file for a person to look over: TOML, with a reason behind every line.

What is not settled stands as a comment marked FILL IN, on the very line that has to be written.
"""

import json
import tomllib
from dataclasses import dataclass, field, replace

from recon.intake.propose import ColumnGuess, Proposal, WordGuess
from recon.intake.propose_times import When
from recon.model.source import Source
from recon.model.words import OUTCOMES, TENDERS

MARK = "FILL IN"
_LONGEST = 40
_SURE = 0.9
"""Share of the times that have to read for the rest to count as damaged cells, not as another way of
writing.
"""

_ABOUT = {
    "machine": "the column that names the machine", "time": "the column of the moment, or date and clock",
    "bus": "the column of the bus number, or label for the one of the selection label",
    "label": "the column of the selection label, or bus for the one of the bus number",
    "tender": "the column that says how it was paid", "counted": "the column of the units counted",
    "loaded": "the column of the units put in, or removed for those taken out",
    "total": "the column of the money collected, or notes and coins",
    "paid_on": "the column of the day of the payout", "net": "the column of the amount paid out",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class ToFill:
    """A line that a person has to fill in. line: in the text, from 1. begins: how it begins. what: what to
    write there.
    """

    line: int
    begins: str
    what: str


@dataclass(frozen=True, slots=True)
class SourceDraft:
    """text: the file, TOML that can be read as it stands. to_fill: what it leaves open, in the order of its
    lines.
    """

    text: str
    to_fill: tuple[ToFill, ...]

    @property
    def source(self) -> Source:
        """The description as it stands, without what is to be filled in."""
        return Source.model_validate(tomllib.loads(self.text))


@dataclass(slots=True)
class _Lines:
    lines: list[str] = field(default_factory=list)
    to_fill: list[ToFill] = field(default_factory=list)

    def add(self, line: str = "", why: str = "") -> None:
        self.lines.append(f"{line}  # {_tame(why)}" if why else line)

    def remark(self, text: str) -> None:
        self.lines.append(f"# {_tame(text)}")

    def fill(self, line: str, what: str) -> None:
        """A line to fill in, commented out."""
        self.lines.append(f"# {line}  # {MARK}: {_tame(what)}")
        self.to_fill.append(ToFill(len(self.lines), _tame(line), _tame(what)))

    def table(self, name: str, why: str = "") -> None:
        self.add()
        self.add(f"[{name}]", why)


def quoted(text: str) -> str:
    """A TOML basic string. JSON's escapes are TOML's too, but for the one control character that JSON
    leaves bare.
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _tame(text: str) -> str:
    """A comment may not hold control characters: they are spelled out."""
    return "".join(mark if mark.isprintable() else quoted(mark).strip('"') for mark in text)


def source_draft(proposal: Proposal) -> SourceDraft:
    """Render a proposal. Its text always reads as TOML; it reads as a description once nothing is left to
    fill in.
    """
    out = _Lines()
    _top(out, proposal)
    _columns(out, proposal)
    _machines(out, proposal)
    _words(out, "tender", TENDERS, proposal.tenders)
    _words(out, "outcome", OUTCOMES, proposal.outcomes)
    _times(out, proposal)
    _amounts(out, proposal)
    _table(out, proposal)
    count = len(out.to_fill)
    state = "Nothing is left to fill in." if not count else f"{_many(count, 'line')} to fill in, marked {MARK}."
    head = [
        f"# How to read files like {_shown(proposal.file)} ({_many(proposal.rows, 'row')}): "
        "a proposal of recon draft source.",
        f"# Look every line over: what stands behind it is why. {state}", "",
    ]  # fmt: skip
    text = "\n".join([*head, *out.lines]) + "\n"
    tomllib.loads(text)
    return SourceDraft(text, tuple(replace(each, line=each.line + len(head)) for each in out.to_fill))


def _top(out: _Lines, proposal: Proposal) -> None:
    out.add(f"kind = {quoted(proposal.kind)}", "told by its columns")
    out.add(f"files = [{quoted(proposal.glob.value or proposal.file)}]", proposal.glob.reason)
    if proposal.zone is not None:
        if proposal.zone.value is None:
            out.remark(f"timezone {proposal.zone.reason}")
        else:
            out.add(f"timezone = {quoted(proposal.zone.value)}", proposal.zone.reason)
    if proposal.machine is not None:
        key, guess = proposal.machine
        if guess.value is None:
            of = f"; one of {', '.join(proposal.known_machines)}" if proposal.known_machines else ""
            out.fill('machine = ""', f"{guess.reason}: write the id of its machine{of}")
        else:
            out.add(f"{key} = {quoted(guess.value)}", guess.reason)
    if proposal.bus_base is not None:
        out.add(f"bus_base = {proposal.bus_base.value}", proposal.bus_base.reason)


def _columns(out: _Lines, proposal: Proposal) -> None:
    out.table("columns", "our field = their header")
    for guess in proposal.columns:
        out.add(f"{guess.field} = {quoted(guess.header)}", _column_reason(guess))
    for alternatives in proposal.lacking:
        name = alternatives[0][0]
        out.fill(f'{name} = ""', f"no column could be told to be this: write the header of {_ABOUT[name]}")
    if proposal.unused:
        out.remark(f"not used: {', '.join(_shown(header) for header in proposal.unused)}")


def _column_reason(guess: ColumnGuess) -> str:
    samples = ", ".join(_shown(sample) for sample in guess.samples)
    return "; ".join(part for part in (f"such as {samples}" if samples else "", guess.reason) if part)


def _machines(out: _Lines, proposal: Proposal) -> None:
    if not proposal.machines:
        return
    out.table("machines", "their name = ours")
    for guess in proposal.machines:
        rows = f"{_many(guess.rows, 'row')}, " if guess.rows else ""
        if guess.ours is None:
            out.fill(
                f'{quoted(guess.theirs)} = ""',
                f"{rows}{guess.reason}: write the machine's id, one of {', '.join(proposal.known_machines)}",
            )
        else:
            out.add(f"{quoted(guess.theirs)} = {quoted(guess.ours)}", f"{rows}{guess.reason}")


def _words(out: _Lines, name: str, ours: tuple[str, ...], guesses: tuple[WordGuess, ...]) -> None:
    if not guesses:
        return
    out.table(f"words.{name}", "our word = theirs, in any case")
    for word in ours:
        theirs = [guess for guess in guesses if guess.ours == word]
        if theirs:
            out.add(
                f"{word} = [{', '.join(quoted(guess.theirs) for guess in theirs)}]",
                _many(sum(guess.rows for guess in theirs), "row"),
            )
    for guess in guesses:
        if guess.ours is None:
            out.fill(
                quoted(guess.theirs),
                f"{_many(guess.rows, 'row')}, a word not known: put it into the list of one of {', '.join(ours)}",
            )


def _times(out: _Lines, proposal: Proposal) -> None:
    telling = {name: when for name, when in proposal.when.items() if when.format or when.ways or when.share < 1}
    if not telling:
        return
    out.table("time")
    for name, when in telling.items():
        _time(out, name, when)
        if when.format or when.ways:
            # One format holds for all days of a file.
            break


def _time(out: _Lines, name: str, when: When) -> None:
    if when.ways:
        first, *others = when.ways
        out.fill(
            f"format = {quoted(first.format)}",
            f"take off the first # of this line if it is right: the rows then go from {first.first} to {first.last}",
        )
        for way in others:
            out.remark(f"format = {quoted(way.format)}  # or of this one: from {way.first} to {way.last}")
    elif when.format:
        out.add(
            f"format = {quoted(when.format)}",
            "reads every row, and leaves no doubt about days and months in other files",
        )
    elif when.share >= _SURE:
        out.remark(
            f"{1 - when.share:.1%} of the cells of {name} do not read, such as {_shown(when.example or '')}: "
            "their rows will be rejected"
        )
    elif when.example is not None:
        out.fill(
            'format = ""',
            f'{name} such as {_shown(when.example)} does not read: write its format, such as "%d.%m.%Y %H:%M:%S"',
        )


def _table(out: _Lines, proposal: Proposal) -> None:
    if proposal.encoding is not None and proposal.encoding.value is not None:
        out.table("table")
        out.add(f"encoding = {quoted(proposal.encoding.value)}", proposal.encoding.reason)


def _amounts(out: _Lines, proposal: Proposal) -> None:
    if proposal.decimal is None and proposal.minor_units is None:
        return
    out.table("amounts")
    if proposal.decimal is not None:
        out.add(f"decimal = {quoted(proposal.decimal.value or ',')}", proposal.decimal.reason)
    if proposal.minor_units is not None and proposal.minor_units.value is not None:
        out.add(f"minor_units = {proposal.minor_units.value}", proposal.minor_units.reason)
    elif proposal.minor_units is not None:
        out.fill("minor_units = true", f"{proposal.minor_units.reason}: take off the first # if 175 means 1.75")


def _shown(text: str) -> str:
    return quoted(text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…")


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
