"""What is wrong with a settings file, and where: a value, not an exception, so that reading goes on to the next."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A spot in a file. `file` is relative to the route folder, with forward slashes; line and column count from 1."""

    file: str
    line: int | None = None
    column: int | None = None

    def __str__(self) -> str:
        return ":".join(str(part) for part in (self.file, self.line, self.column) if part is not None)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in route.toml, a layout, products.csv or a source description.

    kind: a kind of the catalogue (`unknown-key`, `duplicate-number`, ...), which holds severity, words and advice.
    facts: what the words of that kind need, by name, already as text: what was found, what was expected.
    machine, label, bus: what it is about, where that is known.
    """

    kind: str
    place: Place
    facts: Mapping[str, str] = field(default_factory=dict)
    machine: str | None = None
    label: str | None = None
    bus: int | None = None
