"""The kinds of finding that a run can make, by code."""

from typing import Final

from recon.findings.catalogue.history_kinds import HISTORY_KINDS
from recon.findings.catalogue.intake_kinds import INTAKE_KINDS
from recon.findings.catalogue.kind import Kind
from recon.findings.catalogue.match_kinds import MATCH_KINDS
from recon.findings.catalogue.money_kinds import MONEY_KINDS
from recon.findings.catalogue.stock_kinds import STOCK_KINDS

RUN_KINDS: Final[dict[str, Kind]] = {
    kind.code: kind for kind in (*INTAKE_KINDS, *MATCH_KINDS, *STOCK_KINDS, *MONEY_KINDS, *HISTORY_KINDS)
}
