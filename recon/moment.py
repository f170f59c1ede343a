"""The moment of a command: the only place that looks at the clock."""

import os
from datetime import UTC, datetime

from recon.model.errors import ReconError


def moment_of_run() -> datetime:
    """Now, or the moment that SOURCE_DATE_EPOCH fixes, so that a run can be repeated byte for byte."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH")
    if fixed is None:
        return datetime.now(UTC)
    if not fixed.isascii() or not fixed.isdigit():
        raise ReconError(f'SOURCE_DATE_EPOCH is "{fixed}": expected whole seconds since 1970-01-01 UTC')
    return datetime.fromtimestamp(int(fixed), UTC)
