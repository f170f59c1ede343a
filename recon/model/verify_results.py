"""What `recon verify --format json` prints, as types."""

from typing import Literal

from pydantic import BaseModel, ConfigDict


class VerifyResults(BaseModel):
    """What a verification of a ledger or of a bundle found."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["recon-verify/1"]
    what: Literal["ledger", "bundle"]
    whole: bool
    """Whether everything holds."""
    entries: int
    """Entries of the ledger; for a bundle, of the ledger that it was made from."""
    root: str | None
    """Root of the tree over them, 64 hex digits; None where that could not be reckoned."""
    checked: int
    """Files that were held against their hash."""
    failure: str | None
    """The first thing that failed; None where all holds."""
    remarks: list[str]
    """What is no failure and yet worth knowing."""
