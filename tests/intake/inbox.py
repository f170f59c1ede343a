"""A route folder with one layout, and what its inbox gives when it is taken in."""

from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from recon.intake.take_in import Intake, take_in
from recon.route.folder import Route, read_route

NOW = datetime(2026, 9, 28, 15, tzinfo=UTC)
"""The moment of every run here: noon in Halifax."""

SETTINGS = 'name = "Test route"\ncurrency = "CAD"\ntimezone = "America/Halifax"\n'
LAYOUT = 'machine = "m-1"\neffective = 2026-08-03T07:00:00\n' + "".join(
    f'[[slot]]\nlabel = "{label}"\nbus = {bus}\nproduct = "gum"\nprice = "1.75"\ncapacity = 10\n'
    for label, bus in (("110", 272), ("112", 274), ("A4", 164))
)
YEN_LAYOUT = (
    'machine = "y-1"\ntimezone = "Asia/Tokyo"\ncurrency = "JPY"\neffective = 2026-08-03T07:00:00\n'
    '[[slot]]\nlabel = "1"\nbus = 1\nproduct = "gum"\nprice = 150\ncapacity = 10\n'
)


def write(root: Path, files: dict[str, str | bytes]) -> Path:
    """Write a route folder; a name without a folder goes into the inbox."""
    layouts = {"layouts/m-1.toml": LAYOUT, "layouts/y-1.toml": YEN_LAYOUT}
    for name, content in {"route.toml": SETTINGS, **layouts, **files}.items():
        path = root / (name if "/" in name or name == "route.toml" else f"inbox/{name}")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return root


def route_of(root: Path, files: dict[str, str | bytes]) -> Route:
    route = read_route(write(root, files))
    assert not route.problems, [str(problem) for problem in route.problems]
    return route


def taken(root: Path, files: dict[str, str | bytes], now: datetime = NOW) -> Intake:
    """What taking in gives. For every input the account is held here: rows = accepted + duplicate +
    rejected.
    """
    intake = take_in(route_of(root, files), now=now)
    for path, rows, accepted, duplicate, rejected in intake.inputs.select(
        "path", "rows", "accepted", "duplicate", "rejected"
    ).iter_rows():
        assert rows == accepted + duplicate + rejected, path
        assert min(accepted, duplicate, rejected) >= 0, path
    given = sum(
        frame.height
        for frame in (intake.vends, intake.counts, intake.loads, intake.cash, intake.payouts, intake.tests)
    )
    assert given == intake.inputs["accepted"].sum()
    assert intake.rejects.height == intake.inputs["rejected"].sum()
    return intake


def rejects(intake: Intake) -> list[tuple[str, int, str, str]]:
    """(file, line, reason, text) of every refused row."""
    named = intake.rejects.with_columns(
        pl.col("file").replace_strict(dict(enumerate(intake.paths)), return_dtype=pl.String)
    )
    return [(path.removeprefix("inbox/"), row, reason, text) for path, row, reason, text in named.rows()]


def notices(intake: Intake, *kinds: str) -> list[tuple[str, str, int | None]]:
    """(kind, file, line) of the remarks of these kinds; of all where none is named."""
    return [
        (kind, intake.paths[file].removeprefix("inbox/"), row)
        for kind, file, row in intake.notices.select("kind", "file", "row").iter_rows()
        if not kinds or kind in kinds
    ]


def account(intake: Intake) -> dict[str, tuple[int, int, int, int]]:
    """File to (rows, accepted, duplicate, rejected)."""
    return {
        path.removeprefix("inbox/"): tuple(figures)
        for path, *figures in intake.inputs.select(
            "path", "rows", "accepted", "duplicate", "rejected"
        ).iter_rows()
    }
