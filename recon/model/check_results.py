"""What `recon check --format json` prints, as types."""

from typing import Literal

from pydantic import BaseModel, ConfigDict

from recon.model.words import Severity


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class CheckProblem(_Record):
    """One thing wrong in route.toml, a layout, products.csv or a source description; None where it is not known."""

    kind: str
    """The kind, as docs/findings.md has it."""
    severity: Severity
    file: str
    """Path with forward slashes, as seen from the folder in which the command was given."""
    line: int | None
    """Line, from 1."""
    column: int | None
    """Column in characters, from 1."""
    machine: str | None
    label: str | None
    bus: int | None
    message: str
    """What was found and what was expected, one sentence."""
    advice: str
    """What to do next."""


class CheckResults(_Record):
    """Everything that a check found, by file, line, column and kind."""

    format: Literal["recon-check/1"]
    problems: list[CheckProblem]
