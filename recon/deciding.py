"""Deciding about a finding: looked up in a run of this moment, and written into the ledger as an entry of its own."""

import gzip
import io
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from recon.intake.cards import card_number_in
from recon.ledger.correct import correction, place_of
from recon.ledger.decisions import FIGURES, Decided, standing
from recon.ledger.history import History, history_of
from recon.ledger.journal import writing
from recon.ledger.originals import keep
from recon.model.errors import ReconError
from recon.model.frames import Frame
from recon.model.reconciliation import Anchor
from recon.model.words import FILE_KINDS, State
from recon.reconcile import Progress, Run, run
from recon.route.folder import read_route

VERBS: Final[Mapping[str, State]] = {
    "accept": "accepted",
    "write-off": "written-off",
    "correct": "corrected",
    "dispute": "disputed",
    "reopen": "open",
}
"""What a person does with a finding, and the state in which it then is."""

LARGEST_ATTACHMENT: Final = 64 * 1024**2
"""Bytes. A photograph or a letter is smaller; a film of the machine belongs elsewhere."""
SHORTEST_ID: Final = 6
_DEEPEST: Final = 3
"""Archives in archives that an attachment is looked into."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A decision as it is asked for. to, row, field: what a correction puts right (see recon.ledger.correct)."""

    verb: str
    by: str
    why: str
    to: str | None = None
    row: str | None = None
    field: str | None = None
    attachment: Path | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """A decision that was made. before, after: the finding's row in the run without and with it; None: not found."""

    decided: Decided
    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None
    anchor: Anchor


def decide(
    folder: Path,
    finding: str,
    asked: Asked,
    *,
    now: datetime | None = None,
    on_step: Progress = lambda step: None,
    on_wait: Callable[[str], None] = lambda holder: None,
    wait_seconds: float = 30.0,
) -> Made:
    """Record what was decided about a finding.

    finding: its id, or a beginning of at least SHORTEST_ID digits that no other has. Raises ReconError where it is not
    found, the decision lacks something, or the ledger cannot be written.
    """
    read_route(folder)
    _check(asked)
    with writing(folder, who="recon decide", wait_seconds=wait_seconds, on_wait=on_wait) as ledger:
        history = history_of(ledger)
        on_step("looking the finding up")
        current = run(folder, now=now, history=history)
        identity, found = _look_up(current, history.decisions, finding)
        body = _body(current, standing(history.decisions).get(identity), identity, found, asked)
        after = found
        number = ledger.anchor.entries + 1
        if asked.verb in ("correct", "reopen"):
            on_step("reckoning with it")
            tried = [*history.decisions, Decided(number, current.reconciliation.now, body)]
            after = _after(folder, current, replace(history, decisions=tried), identity)
            body["after"] = None if after is None else {name: after[name] for name in FIGURES}
        body["attachment"] = _attached(folder, asked.attachment)
        entry = ledger.append("decision-made", body, current.reconciliation.now)
        anchor = ledger.anchor
    return Made(Decided(entry.number, entry.at, entry.body), found, after, anchor)


def _check(asked: Asked) -> None:
    for name, text in (("--by", asked.by), ("--why", asked.why)):
        if not text.strip():
            raise ReconError(f"{name} is empty: say {'who decides' if name == '--by' else 'the reason'}")
        last = card_number_in(text)
        if last is not None:
            raise ReconError(
                f"{name} holds a full card number ending in {last}: no card number enters the ledger. Write its last "
                "four digits alone"
            )
    if asked.verb == "correct" and asked.to is None:
        raise ReconError("say the figure that is right, with --to: recon decide ROUTE FINDING correct --to 5 ...")
    if asked.verb != "correct" and any(option is not None for option in (asked.to, asked.row, asked.field)):
        raise ReconError(f'--to, --row and --field go with "correct", not with "{asked.verb}"')


def _look_up(current: Run, made: Sequence[Decided], finding: str) -> tuple[str, dict[str, Any] | None]:
    findings = current.frames["findings"]
    sought = finding.strip().strip("[]").lower()
    if len(sought) < SHORTEST_ID:
        raise ReconError(f'"{finding}" is too short: give at least {SHORTEST_ID} digits of the id in [brackets]')
    known = sorted({*findings["id"].to_list(), *(decided.finding for decided in made)})
    fitting = [name for name in known if name.startswith(sought)]
    if not fitting:
        raise ReconError(
            f'no finding has the id "{finding}", and none had when something was decided. recon run --all shows all ids'
        )
    if len(fitting) > 1:
        raise ReconError(f'"{finding}" is the beginning of {len(fitting)} ids ({", ".join(fitting[:5])}): give more')
    rows = findings.filter(findings["id"] == fitting[0])
    return fitting[0], rows.row(0, named=True) if rows.height else None


def _body(
    current: Run, last: Decided | None, identity: str, found: dict[str, Any] | None, asked: Asked
) -> dict[str, Any]:
    """What the entry says, without what only comes out by reckoning with it."""
    if found is None and asked.verb != "reopen":
        raise ReconError(f"finding {identity} no longer occurs: there is nothing to {asked.verb}. It can be reopened")
    if asked.verb == "reopen" and (last is None or last.state == "open"):
        raise ReconError(f"finding {identity} is open: nothing was decided about it")
    # What no longer occurs is told in the words in which it was last decided about.
    told: Mapping[str, Any] = found or ({} if last is None else {**last.body, **last.body["figures"]})
    made = None
    if asked.verb == "correct" and found is not None:
        read: dict[str, Frame] = {kind: getattr(current.intake, kind) for kind in FILE_KINDS}
        place = None if asked.row is None else place_of(asked.row)
        made = correction(current.reconciliation, read, found, asked.to or "", place, asked.field)
    return {
        "finding": identity,
        **{name: told[name] for name in ("kind", "machine", "label", "message")},
        "state": VERBS[asked.verb],
        "by": asked.by.strip(),
        "why": asked.why.strip(),
        "figures": {name: told[name] for name in FIGURES},
        "correction": made,
        "after": None,
    }


def _after(folder: Path, current: Run, history: History, identity: str) -> dict[str, Any] | None:
    """The finding as it is with the decision in force; None where it then no longer occurs."""
    findings = run(folder, now=current.reconciliation.now, history=history).frames["findings"]
    rows = findings.filter(findings["id"] == identity)
    return rows.row(0, named=True) if rows.height else None


def _attached(folder: Path, attachment: Path | None) -> dict[str, str] | None:
    if attachment is None:
        return None
    try:
        if attachment.stat().st_size > LARGEST_ATTACHMENT:
            raise ReconError(f"{attachment} is larger than {LARGEST_ATTACHMENT // 1024**2} MiB: attach a smaller file")
        data = attachment.read_bytes()
    except OSError as error:
        raise ReconError(f"{attachment} cannot be read: {error.strerror}") from error
    found = (card_number_in(text) for text in (attachment.name, *_texts(data)))
    last = next((digits for digits in found if digits is not None), None)
    if last is not None:
        raise ReconError(
            f"{attachment} holds a full card number ending in {last}: no card number enters the ledger. Blacken it"
        )
    return {"name": attachment.name, "original": keep(folder, data)}


def _texts(data: bytes, depth: int = 0) -> Iterator[str]:
    """What can be read in an attachment as text: its bytes, those in UTF-16, and what a gzip, zip or workbook holds.

    Pictures and the packed streams of other formats are not looked into. Raises ReconError for an archive that cannot
    be.
    """
    yield data.decode("latin-1")
    if b"\0" in data[:4096]:
        yield from (data.decode(name, "ignore") for name in ("utf-16-le", "utf-16-be"))
    if not data.startswith((b"\x1f\x8b", b"PK\x03\x04")):
        return
    if depth == _DEEPEST:
        raise ReconError("the attachment is an archive in archives: attach what is in it")
    try:
        for name, inner in _members(data):
            yield name
            yield from _texts(inner, depth + 1)
    except (zipfile.BadZipFile, OSError, EOFError, zlib.error, RuntimeError, NotImplementedError) as error:
        raise ReconError(f"the attachment is an archive that cannot be looked into: {error}") from error


def _members(data: bytes) -> Iterator[tuple[str, bytes]]:
    """Names and contents of what an archive holds, none of it larger than an attachment may be."""
    if data.startswith(b"\x1f\x8b"):
        with gzip.open(io.BytesIO(data)) as packed:
            yield "", _bounded(packed.read(LARGEST_ATTACHMENT + 1))
        return
    left = LARGEST_ATTACHMENT
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for entry in archive.infolist():
            with archive.open(entry) as packed:
                inner = packed.read(left + 1)
            left -= len(_bounded(inner, left))
            yield entry.filename, inner


def _bounded(data: bytes, most: int = LARGEST_ATTACHMENT) -> bytes:
    if len(data) > most:
        raise ReconError(f"the attachment unpacks to more than {LARGEST_ATTACHMENT // 1024**2} MiB: attach less")
    return data
