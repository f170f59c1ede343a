"""The closed vocabularies: how a vend was paid, what came of it, which kinds of file there are.

Nothing here imports polars, so that commands which only read layouts start quickly.
"""

from typing import Final, Literal, get_args

Tender = Literal["cash", "card", "prepaid", "token", "free", "test"]
Outcome = Literal["vended", "failed", "cancelled", "refunded"]
FileKind = Literal["vends", "counts", "loads", "cash", "payouts", "tests"]
Severity = Literal["error", "warning", "note"]
State = Literal["open", "accepted", "written-off", "corrected", "disputed"]

TENDERS: Final[tuple[Tender, ...]] = get_args(Tender)
OUTCOMES: Final[tuple[Outcome, ...]] = get_args(Outcome)
FILE_KINDS: Final[tuple[FileKind, ...]] = get_args(FileKind)
SEVERITIES: Final[tuple[Severity, ...]] = get_args(Severity)
STATES_OF_FINDINGS: Final[tuple[State, ...]] = get_args(State)
"""What was decided about a finding: nothing yet; it is explained; the loss is taken; a figure was put right; someone is
being asked to make it good."""

PAID_TENDERS: Final[tuple[Tender, ...]] = ("cash", "card", "prepaid")
"""Tenders that bring in the price of the vend. A token was paid for elsewhere, `free` and `test` were not paid."""

DROPPED_OUTCOMES: Final[tuple[Outcome, ...]] = ("vended", "refunded")
"""Outcomes after which a unit is taken to have left the slot (a refund is given after the vend)."""

UNDEFINED_BUS: Final = 0xFFFF
"""MDB/ICP: VEND REQUEST and VEND SUCCESS carry FFFFh where the item number is not defined."""

LARGEST_BUS: Final = 0xFFFE
"""The largest bus item number that can name a selection: the field has 16 bits and FFFFh is taken."""

EVIDENCE_SHOWN: Final = 20
"""Rows of evidence kept with a finding; its `evidence_count` says how many there are."""
