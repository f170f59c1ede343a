"""The versions of what computes and reads: the figures are the same for the same versions and inputs."""

from importlib.util import find_spec
from pathlib import Path

import polars
import tzdata

from recon.version import VERSION


def version(name: str) -> str:
    """Return the version of `recon`, `polars` or `tzdata`.

    The packages themselves know it: asking the installer's records takes longer than reading a sheet of counts.
    """
    known: dict[str, str] = {"recon": VERSION, "polars": polars.__version__, "tzdata": tzdata.__version__}
    return known[name]


def installed(name: str) -> str:
    """Return the name and version under which a package was installed, without loading it; its name alone where no
    record of that lies beside it.
    """
    found = find_spec(name)
    if found is None or found.origin is None:
        return name
    records = sorted(Path(found.origin).parent.parent.glob(f"{name}-*.dist-info"))
    return records[-1].stem if records else name
