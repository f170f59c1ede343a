"""Which part of what was reckoned a run shows: all of it is reckoned, whatever is shown."""

from dataclasses import dataclass
from datetime import datetime

import polars as pl

from recon.balance.payouts import midnight
from recon.findings.catalogue.money_kinds import PAYOUT_KINDS
from recon.model.frames import Frame

_OF_ONE_MOMENT = ("not-counted", "count-restated", "collection-restated", "vend-changed")


@dataclass(frozen=True, slots=True)
class Shown:
    """Which part of everything is shown: what closes after `since` and not after `until`, and what happens meanwhile.

    A vend of the very moment of a count is of the window that it opens, so that one at `since` is shown, and one at
    `until` is not; nor is a payout of the day that begins then. `until` is not cut so where it is the moment of the
    run: that shows all.
    """

    since: datetime | None
    until: datetime
    now: datetime

    @property
    def all(self) -> bool:
        """Whether nothing is left out."""
        return self.since is None and self.until >= self.now

    def closing(self, windows: Frame) -> Frame:
        if self._up_to_the_end(windows["closed_at"]) and windows["closed_at"].null_count() == 0:
            return windows
        closed = pl.col("closed_at")
        inside = closed <= self.until
        return windows.filter(inside if self.since is None else inside & (closed > self.since))

    def _happening(self, moment: pl.Expr) -> pl.Expr:
        inside = moment <= self.until if self.until >= self.now else moment < self.until
        return inside if self.since is None else inside & (moment >= self.since)

    def _up_to_the_end(self, *moments: pl.Series) -> bool:
        """Tell whether nothing is left out, and no moment is behind the end: no row need be looked at by itself."""
        lasts = [moment.max() for moment in moments]
        return self.all and all(last is None or (isinstance(last, datetime) and last <= self.until) for last in lasts)

    def at(self, vends: Frame) -> Frame:
        if self._up_to_the_end(vends["time"]) and vends["time"].null_count() == 0:
            return vends
        return vends.filter(self._happening(pl.col("time")))

    def paid(self, checks: Frame, zone: str) -> Frame:
        return checks.filter(self._happening(midnight(pl.col("paid_on"), zone)))

    def touching(self, findings: Frame) -> Frame:
        """Findings whose time reaches into what is shown; those without a time always.

        A payout is shown by the day on which it was paid, though the days that it covers lie before: its findings
        are made of the payouts shown, and go with them.
        """
        if self._up_to_the_end(findings["opened_at"], findings["closed_at"]):
            return findings
        begins_in_time = pl.col("opened_at").fill_null(pl.col("closed_at")) <= self.until
        # Without an end a finding lasts, but for those that speak of one moment.
        lasting = pl.when(pl.col("kind").is_in(_OF_ONE_MOMENT)).then("opened_at").otherwise(self.until)
        ends = pl.coalesce("closed_at", lasting)
        ends_in_time = pl.lit(True) if self.since is None else (ends > self.since).fill_null(True)
        with_payout = pl.col("kind").is_in(PAYOUT_KINDS)
        return findings.filter(with_payout | (begins_in_time.fill_null(True) & ends_in_time))
