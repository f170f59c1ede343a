"""The versions of what reckons and reads: the figures are the same for the same versions and inputs."""

import polars
import tzdata

from recon.version import VERSION


def version(name: str) -> str:
    """The version of `recon`, `polars` or `tzdata`.

    The packages tell it themselves: to ask the installer's records takes longer than to read a sheet of counts.
    """
    told: dict[str, str] = {"recon": VERSION, "polars": polars.__version__, "tzdata": tzdata.__version__}
    return told[name]
