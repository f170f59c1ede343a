"""Where the sample routes are, and how one is laid out for a person.

A wheel carries them inside the package (recon/_samples); a checkout has them in samples/, beside the package.
"""

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Literal

from recon.model.errors import ReconError

Sample = Literal["bayside", "clean"]
"""The route with each kind of trouble planted once, and the same route without any."""


def samples() -> Traversable:
    """The folder that holds the sample routes. Raises ReconError where this installation has none."""
    package = files("recon")
    if (carried := package / "_samples").is_dir():
        return carried
    if isinstance(package, Path) and (beside := package.parent / "samples").is_dir():
        return beside
    raise ReconError("this installation came without the sample routes; install recon again from its wheel")


def lay(sample: Sample, folder: Path) -> None:
    """Copy a sample route, and the page that explains it, into a folder that is new or empty.

    Raises ReconError where the folder holds something already or cannot be written.
    """
    source = samples()
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise ReconError(f"{folder} is there already and not empty; name a new folder: recon demo DIR")
        _copy(source / sample, folder)
        (folder / "README.md").write_bytes((source / "README.md").read_bytes())
    except OSError as error:
        place, why = error.filename or folder, error.strerror or error
        raise ReconError(f"{place} could not be written ({why}); name a folder you may write to") from error


def _copy(source: Traversable, target: Path) -> None:
    target.mkdir(parents=True, exist_ok=True)
    for entry in sorted(source.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            _copy(entry, target / entry.name)
        else:
            (target / entry.name).write_bytes(entry.read_bytes())
