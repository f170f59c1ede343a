"""Decisions about findings: read from the ledger's entries, and laid over what a run finds.

A decision is an entry of its own; the newest about a finding stands. It holds as long as the finding's figures are
those that were decided about: where they are others, the finding is open again and says so. A correction never touches
an original: the corrected figure is put into the canonical frame on its way to the balance, and the file keeps what it
says.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

import polars as pl

from recon.model.border import guard
from recon.model.frames import CORRECTIONS, DECISIONS, STATE, Frame
from recon.model.words import FileKind, State

CORRECTABLE: Mapping[FileKind, tuple[str, ...]] = {
    "counts": ("counted", "loaded", "removed"),
    "loads": ("loaded", "removed"),
    "cash": ("collected", "tubes"),
    "payouts": ("gross", "fees", "net"),
    "vends": ("price",),
}
"""Which figures a decision can put right, by kind of file: columns of the kind's frame."""

MONEY_FIELDS = ("collected", "tubes", "gross", "fees", "net", "price")
"""Of these, the ones in minor units; the others are units."""

FIGURES = ("units", "amount", "evidence_count")
"""The figures of a finding that a decision is about."""


class Decided(NamedTuple):
    """One decision, as its entry holds it.

    body: `finding`, `kind`, `machine`, `label`, `state`, `by`, `why`, `message`; `figures` (FIGURES of the finding as
    decided about); `correction` (None, or `sha256`, `sheet`, `file`, `row`, `field`, `was`, `is`, `shown`); `after`
    (the figures with the correction made, None where the finding then no longer occurs); `attachment` (None, or `name`,
    `original`).
    """

    entry: int
    at: datetime
    body: Mapping[str, Any]

    @property
    def finding(self) -> str:
        """The id of the finding it is about."""
        return str(self.body["finding"])

    @property
    def state(self) -> State:
        """What was decided."""
        state: State = self.body["state"]
        return state

    @property
    def correction(self) -> Mapping[str, Any] | None:
        """The figure that it puts right, if any."""
        return self.body.get("correction")

    @property
    def figures_to_hold(self) -> tuple[Any, ...] | None:
        """What the finding's figures have to be for the decision to hold; None: it was not to occur any more."""
        figures = self.body["figures"] if self.correction is None else self.body["after"]
        return None if figures is None else tuple(figures[name] for name in FIGURES)


def standing(decisions: Iterable[Decided]) -> dict[str, Decided]:
    """The last decision about each finding, by the finding's id."""
    return {decided.finding: decided for decided in sorted(decisions, key=lambda decided: decided.entry)}


def corrections_of(decisions: Sequence[Decided], inputs: Frame) -> Frame:
    """The corrections that stand, by file and row of this run's inputs (frame `inputs`).

    A correction is of a content, not of a name: it follows a file that was renamed, and does not touch another file
    under the old name. It holds until its finding is reopened, whatever else is decided about that; where two speak of
    one figure the newer one counts. Returns a frame `corrections`.
    """
    newest: dict[tuple[int, int, str], tuple[int | None, int, int]] = {}
    for entry, made in _in_force(decisions):
        for file in _files_of(made, inputs):
            newest[file, made["row"], made["field"]] = (made["was"], made["is"], entry)
    rows = [(*place, *figures) for place, figures in newest.items()]
    return guard(pl.DataFrame(rows, schema=CORRECTIONS.schema, orient="row"), CORRECTIONS)


def _in_force(decisions: Iterable[Decided]) -> list[tuple[int, Mapping[str, Any]]]:
    """Entry and correction of every correction whose finding was not reopened since, oldest first."""
    made: dict[int, tuple[str, Mapping[str, Any]]] = {}
    for one in sorted(decisions, key=lambda decided: decided.entry):
        if one.state == "open":
            made = {entry: told for entry, told in made.items() if told[0] != one.finding}
        elif one.correction is not None:
            made[one.entry] = (one.finding, one.correction)
    return [(entry, correction) for entry, (_, correction) in made.items()]


def _files_of(correction: Mapping[str, Any], inputs: Frame) -> list[int]:
    same_sheet = pl.col("sheet").eq_missing(pl.lit(correction["sheet"], pl.String))
    return inputs.filter(pl.col("sha256") == correction["sha256"], same_sheet)["file"].to_list()


def corrected(frames: Mapping[FileKind, Frame], corrections: Frame) -> dict[FileKind, Frame]:
    """The canonical frames with the corrected figures in them; every other cell as the file says."""
    return {kind: _corrected(kind, frame, corrections) for kind, frame in frames.items()}


def _corrected(kind: FileKind, frame: Frame, corrections: Frame) -> Frame:
    for field in CORRECTABLE.get(kind, ()):
        own = corrections.filter(pl.col("field") == field).select("file", "row", pl.col("is").alias("_is"))
        if own.height:
            joined = frame.join(own, on=["file", "row"], how="left", maintain_order="left")
            frame = joined.with_columns(pl.coalesce("_is", field).alias(field)).drop("_is")
    return frame


def settled(findings: Frame, decisions: Sequence[Decided]) -> Frame:
    """Findings with what was decided about them (`state`, `decision`, `changed_since`).

    A finding whose figures are others than those decided about is open again, and marked. One that a correction left
    standing is open too: what the corrected figure does not explain still wants a decision.
    """
    last = standing(decisions)
    if not last:
        return findings
    rows = []
    for name, *figures in findings.filter(pl.col("id").is_in(list(last))).select("id", *FIGURES).iter_rows():
        decided = last[name]
        changed = decided.state != "open" and tuple(figures) != decided.figures_to_hold
        open_again = changed or decided.state == "corrected"
        rows.append((name, "open" if open_again else decided.state, decided.entry, changed))
    told = pl.DataFrame(
        rows, schema={"id": pl.String, "_state": STATE, "_entry": pl.Int64, "_changed": pl.Boolean}, orient="row"
    )
    joined = findings.join(told, on="id", how="left", maintain_order="left")
    return joined.with_columns(
        pl.coalesce("_state", "state").alias("state"),
        pl.coalesce("_entry", "decision").alias("decision"),
        pl.coalesce("_changed", "changed_since").alias("changed_since"),
    ).drop("_state", "_entry", "_changed")


def decisions_frame(decisions: Sequence[Decided], found: Frame) -> Frame:
    """All decisions ever made (frame `decisions`). found: every finding of the run, shown or not."""
    last = {decided.entry for decided in standing(decisions).values()}
    ids = set(found["id"].to_list())
    rows = [_row(decided, stands=decided.entry in last, occurs=decided.finding in ids) for decided in decisions]
    return guard(pl.DataFrame(rows, schema=DECISIONS.schema, orient="row").sort("entry"), DECISIONS)


def _row(decided: Decided, *, stands: bool, occurs: bool) -> list[Any]:
    body, correction, attachment = decided.body, decided.correction, decided.body.get("attachment") or {}
    told = None if correction is None else "{file}:{row} {field} {shown}".format_map(correction)
    row = {
        **{name: body.get(name) for name in ("finding", "kind", "machine", "label", "state", "by", "why", "message")},
        **{name: body["figures"][name] for name in FIGURES},
        "entry": decided.entry,
        "at": decided.at,
        "corrected": told,
        "attachment": attachment.get("name"),
        "attachment_sha256": attachment.get("original"),
        "standing": stands,
        "occurs": occurs,
    }
    return [row[name] for name in DECISIONS.names]
