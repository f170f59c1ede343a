"""What a run worked out, as frames, with what is needed to spell them: the one thing that every report reads."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from recon.model.frames import Frame
from recon.model.settings import Settings

RESULT_FRAMES = ("inputs", "rejects", "stock", "cash_windows", "payout_checks", "summaries", "findings")
"""Frames that the results are made of; the others tell how they came about."""


@dataclass(frozen=True, slots=True)
class Anchor:
    """The state of the ledger that a report prints: how many entries it had, and the root of the tree over them.

    root: 64 hexadecimal digits. Whoever has both on paper can prove that the ledger still holds these entries.
    """

    entries: int
    root: str


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """The figures and findings of one run.

    name, currency, digits, zone: of the route. now: the moment of the run (aware). since, until: the windows shown
    close after `since` (None: from the beginning) and not after `until`. zones, digits_of: machine to zone and to
    decimal digits. settings: route.toml. frames: by the names of recon.model.frames, each keeping its spec; `stock`,
    `cash_windows`, `payout_checks`, `summaries` and `findings` hold what is shown, all others everything; `priced` is
    empty where the run hands back no vends. vends_shown: moments of the first and the last vend shown. anchor: None
    where the run wrote no ledger.
    """

    name: str
    currency: str
    digits: int
    zone: str
    now: datetime
    since: datetime | None
    until: datetime
    zones: Mapping[str, str]
    digits_of: Mapping[str, int]
    settings: Settings
    frames: Mapping[str, Frame]
    vends_shown: tuple[datetime | None, datetime | None]
    anchor: Anchor | None = None

    @property
    def paths(self) -> list[str]:
        """Path of each input file by its number."""
        return self.frames["inputs"]["path"].to_list()
