"""The ways a command can stop. Each carries the sentence that the user reads."""

from collections.abc import Sequence

from recon.model.problem import Problem


class ReconError(Exception):
    """Something a user can mend stopped the command (exit code 2). The text says what, where and what to do."""


class SettingsError(ReconError):
    """route.toml, a layout, products.csv or a source description cannot be used; `problems` says why, each with its
    place."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(f"{len(problems)} problem(s) in the settings")
        self.problems = tuple(problems)


class LedgerDamaged(ReconError):
    """Something that the ledger kept is missing, altered or no longer readable (exit code 3). The text names it."""


class MoneyError(ValueError):
    """A text is not an exact amount in the currency; the message says what was found and what was expected."""


class FrameError(Exception):
    """A frame at a stage border does not keep its schema: a fault of recon's own (exit code 4), never of the data."""
