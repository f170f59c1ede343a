"""What `recon draft source` does: read an export, propose its description, write it, and say what is left
to do.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fnmatch import fnmatchcase
from pathlib import Path

import polars as pl

from recon.intake.cards import find_card_number
from recon.intake.gather import inbox_files
from recon.intake.header_words import fold
from recon.intake.propose import Guess, Proposal, propose
from recon.intake.propose_columns import Machine
from recon.intake.propose_files import globs, machine_pattern, source_name
from recon.intake.propose_open import Found, tables_in
from recon.intake.propose_trial import Trial, try_out
from recon.intake.table import TextTable, UnreadableFile
from recon.intake.take_in import take_in
from recon.match.timeline import slot_states
from recon.match.zone_guess import guess_zone
from recon.model.errors import ReconError
from recon.report.source_draft import SourceDraft, source_draft
from recon.route.folder import SETTINGS, Route, read_route


@dataclass(frozen=True, slots=True)
class Drafted:
    """draft: None where the file needs no description. path: where it is to stand, None for stdout. trial:
    None without a route.
    """

    proposal: Proposal
    draft: SourceDraft | None
    path: Path | None
    trial: Trial | None


def draft_source(file: Path, route_folder: Path | None, output: str | None, *, now: datetime) -> Drafted:
    """Read and propose; writes nothing. output: a path, `-` for stdout, or None for sources/NAME.toml of
    the route.

    Raises ReconError where the file cannot be read, holds a full card number, looks like nothing that recon
    takes in, is spoken for already, or where something stands at the place of the draft.
    """
    route = _route(file, route_folder)
    machines = _facts(route)
    spelled = machine_pattern(file.name, machines)
    path = _place(file, route, output, spelled and spelled[1])
    tables = _tables(file, machines)
    _spoken_for(file, route, output)
    glob = _glob(file, tables, route, spelled and spelled[1])
    found, proposal = _best(tables, file, machines, glob, now)
    if found.encoding is not None:
        proposal = replace(proposal, encoding=Guess(*found.encoding))
    if route is not None:
        proposal = _zoned(proposal, found.table, file, route, now)
    if proposal.own_names:
        return Drafted(proposal, None, None, None)
    draft = source_draft(proposal)
    trial = try_out(file, draft.source, route, now=now) if route is not None and not _stopped(proposal) else None
    return Drafted(proposal, draft, path, trial)


def write_draft(path: Path, text: str) -> None:
    """Write the draft where nothing stands yet."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise ReconError(_there(path)) from error
    except OSError as error:
        raise ReconError(f"{path} was not written ({error.strerror}): name another place with --output") from error


def _there(path: Path) -> str:
    return (
        f"{path} is there already, and was left as it is: name another place with --output, "
        "or print the draft with --output -"
    )


def _route(file: Path, folder: Path | None) -> Route | None:
    if folder is not None:
        return read_route(folder)
    for above in file.absolute().parents:
        if (above / SETTINGS).exists():
            shown = Path(above.relative_to(Path.cwd())) if above.is_relative_to(Path.cwd()) else above
            return read_route(shown)
    return None


def _place(file: Path, route: Route | None, output: str | None, machine: str | None) -> Path | None:
    if output == "-" or (output is None and route is None):
        return None
    path = Path(output) if output is not None else _root(route) / "sources" / f"{source_name(file.name, machine)}.toml"
    if path.exists() or path.is_symlink():
        raise ReconError(_there(path))
    return path


def _root(route: Route | None) -> Path:
    assert route is not None
    return route.root


def _tables(file: Path, machines: Sequence[Machine]) -> list[Found]:
    try:
        found = tables_in(file, frozenset(machine.id for machine in machines))
    except OSError as error:
        raise ReconError(
            f"{file} cannot be opened ({error.strerror}): name an export, such as inbox/sales-39.csv"
        ) from error
    except UnreadableFile as error:
        raise ReconError(f"{file} cannot be read: {error}") from error
    for each in found:
        card = find_card_number(each.table)
        if card is not None:
            raise ReconError(
                f'{file}:{card.row} column "{card.column}" holds a full card number ending in {card.last}: such a file '
                "is not taken in. Have the export made without card numbers, and delete this one safely"
            )
    return found


def _best(
    tables: Sequence[Found], file: Path, machines: Sequence[Machine], glob: Guess, now: datetime
) -> tuple[Found, Proposal]:
    """The table of a file that looks most like one of ours: its largest, of those that do."""
    proposals: list[tuple[Found, Proposal]] = []
    refusal: ReconError | None = None
    for found in tables:
        try:
            proposals.append((found, propose(found.table, file.name, machines, glob, now=now)))
        except ReconError as error:
            refusal = refusal or error
    if not proposals:
        raise refusal or ReconError(f"{file} holds no table")
    return max(proposals, key=lambda entry: (-len(entry[1].lacking), len(entry[1].columns), entry[0].table.rows))


def _spoken_for(file: Path, route: Route | None, output: str | None) -> None:
    """A second description for one file would stop the file from being read at all."""
    if route is None or output is not None:
        return
    for described in route.sources:
        if any(fnmatchcase(file.name.lower(), glob.lower()) for glob in described.source.files):
            raise ReconError(
                f"{described.file} speaks for {file.name} already: mend that one, "
                "or print another draft with --output -"
            )


def _facts(route: Route | None) -> list[Machine]:
    if route is None:
        return []
    found = []
    for entry in route.layouts:
        states = list(slot_states(entry.layout))
        prices = {price for state in states for price in (state.price, state.card_price) if price is not None}
        found.append(
            Machine(
                entry.layout.machine, entry.layout.site, frozenset(state.label for state in states),
                frozenset(state.bus for state in states if state.bus is not None), frozenset(prices),
                route.exponent_of(entry.layout.machine),
            )
        )  # fmt: skip
    return sorted(found, key=lambda machine: machine.id)


def _glob(file: Path, tables: Sequence[Found], route: Route | None, machine: str | None) -> Guess:
    """The widest pattern that speaks for no file of the inbox with other columns or with another
    description.
    """
    wide, *narrower = globs(file.name, machine)
    own = {found.table.header for found in tables}
    others = {} if route is None else dict(_headers(route, file, wide))
    for glob in (wide, *narrower):
        strangers = [
            name for name, header in others.items() if fnmatchcase(name.lower(), glob.lower()) and header not in own
        ]
        if not strangers:
            break
    matched = sum(fnmatchcase(name.lower(), glob.lower()) for name in others)
    if glob != wide:
        return Guess(glob, f"not {wide}: that would speak for files with other columns too")
    open_part = "the figures of the name left open" if "*" in glob or "[0-9]" in glob else "this name alone"
    return Guess(glob, f"{open_part}; {matched} more of the inbox with the same columns" if matched else open_part)


def _headers(route: Route, file: Path, glob: str) -> Iterator[tuple[str, tuple[str, ...] | None]]:
    """The columns of the other files of the inbox that fit the pattern; None for one that is spoken for or
    cannot be read.
    """
    for path in inbox_files(route.root):
        if path.name == file.name or not fnmatchcase(path.name.lower(), glob.lower()):
            continue
        if any(
            fnmatchcase(path.name.lower(), other.lower())
            for described in route.sources
            for other in described.source.files
        ):
            yield path.name, None
            continue
        try:
            yield path.name, tables_in(path)[0].table.header
        except (UnreadableFile, OSError):
            yield path.name, None


def _stopped(proposal: Proposal) -> bool:
    """Whether something is left open without which no row can be read."""
    machine = proposal.machine is not None and proposal.machine[1].value is None
    return bool(proposal.lacking) or machine or any(when.ways for when in proposal.when.values())


def _zoned(proposal: Proposal, table: TextTable, file: Path, route: Route, now: datetime) -> Proposal:
    """Add the zone, where a moment is read from local times. People write sheets by their own clock; logs
    may be in any.
    """
    when = proposal.when.get("time")
    if when is None or when.ways or when.local is None:
        return proposal
    if when.offsets:
        return replace(proposal, zone=Guess(None, "left out: the times name their offset"))
    headers = [guess.header for guess in proposal.columns if guess.field in ("time", "date", "clock")]
    if any({"utc", "gmt"} & set(fold(header).split()) for header in headers):
        return replace(proposal, zone=Guess("UTC", "the header of the times says so"))
    own = _machines_in(proposal, table)
    zones = {route.zone_of(machine) for machine in own} or {route.settings.timezone}
    if proposal.kind != "vends" or len(zones) > 1:
        return replace(proposal, zone=Guess(None, "left out: each machine's own is assumed"))
    sold = _sold(route, own, file, now)
    return replace(proposal, zone=guess_zone(when.local, zones.pop(), sold))


def _machines_in(proposal: Proposal, table: TextTable) -> set[str]:
    """Our ids of the file's machines, as far as they are settled."""
    names: Mapping[str, str | None] = {guess.theirs: guess.ours for guess in proposal.machines}
    if proposal.machine is not None:
        key, guess = proposal.machine
        fixed = guess.value if key == "machine" else next((ours for ours in names.values() if ours), None)
        if key == "machine_from_name" and fixed is None:
            fixed = next((name for name in proposal.known_machines if name in proposal.file), None)
        return {fixed} if fixed else set()
    column = next((guess.header for guess in proposal.columns if guess.field == "machine"), None)
    if column is None:
        return set()
    if column not in table.header:
        # The first of several columns of one name stands in the table without its number.
        column = column.removesuffix(" (1)")
    cells = table.frame.get_column(column).alias("cells")
    there = {str(cell) for cell in cells.str.strip_chars().drop_nulls().unique()}
    return {ours for cell in there if (ours := names.get(cell, cell)) in proposal.known_machines}


def _sold(route: Route, machines: set[str], file: Path, now: datetime) -> pl.Series:
    """Moments of these machines' vends in the other files of the inbox."""
    none = pl.Series("time", [], dtype=pl.Datetime("us", "UTC"))
    if not machines or not (route.root / "inbox").is_dir():
        return none
    intake = take_in(route, now=now)
    here = [number for number, path in enumerate(intake.paths) if path.rsplit("/", 1)[-1].split(" [")[0] == file.name]
    vends = intake.vends.filter(pl.col("machine").is_in(sorted(machines)) & ~pl.col("file").is_in(here))
    return vends["time"].dt.convert_time_zone("UTC") if vends.height else none
