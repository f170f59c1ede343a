"""Exit codes, the same for every command."""

from typing import Final

OK: Final = 0
FINDINGS: Final = 1
"""Something at or above `--fail-on` was found."""
UNUSABLE: Final = 2
"""The command, a setting or an input could not be used."""
LEDGER: Final = 3
"""The ledger failed verification."""
FAULT: Final = 4
"""A fault of recon's own."""
INTERRUPTED: Final = 130
