"""Recon: was everything that left the machines paid for?

`recon.run(folder)` does what the command `recon run` does and returns the results as typed values and polars frames;
`recon.check(folder)` reads layouts and settings and returns what is wrong with them. Both are loaded on first use, so
that importing the package costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from recon.version import VERSION

if TYPE_CHECKING:
    from recon.findings.layouts import check as check
    from recon.model.results import Results as Results
    from recon.reconcile import Run as Run
    from recon.reconcile import run as run

__version__ = VERSION
__all__ = ["Results", "Run", "__version__", "check", "run"]

_HOME = {
    "check": "recon.findings.layouts",
    "Results": "recon.model.results",
    "Run": "recon.reconcile",
    "run": "recon.reconcile",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'recon' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value
