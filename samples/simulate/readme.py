"""samples/README.md: what the samples are, and the table of what was planted in the one with trouble."""

from pathlib import Path

from simulate.plant import Planted, Troubles


def _table(rows: list[Planted]) -> str:
    return "\n".join(f"| `{row.kind}` | {row.place()} | {row.done} | {row.seen} |" for row in rows)


def readme(troubles: Troubles) -> str:
    """The whole text: readme.md beside this file, with its tables filled in."""
    text = Path(__file__).with_name("readme.md").read_text(encoding="utf-8")
    return text.format(planted=_table(troubles.planted), follows=_table(troubles.follows))
