"""The settings of a run in a bundle: files whole, and the lists that prove them, the lines of others left empty."""

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from recon.ledger.bundle import Bundle
from recon.ledger.entries import Entry
from recon.ledger.settings import Seen, contents_of, files_held, list_of_pack, list_of_run


def settings_of_run(made: Entry, seen: Sequence[Seen]) -> dict[str, str]:
    """Return the SHA-256 of each settings file that a run had, by name. made: its entry. seen: what seen_settings
    returns.
    """
    listed: list[Mapping[str, Any]] | Mapping[str, Any] = made.body["settings"]
    if isinstance(listed, list):
        return {row["file"]: row["original"] for row in listed}
    held = files_held(one for one in seen if one.entry < made.number)
    return {name: str(one.files[name]) for name, one in held.items()}


def put_settings(
    bundle: Bundle, root: Path, made: Entry, seen: Sequence[Seen], wanted: Collection[str], earlier: Collection[str]
) -> None:
    """Put in the wanted settings as a run had them, and those of `earlier` as they were before, too.

    Files of the run go to settings/, earlier ones to settings/earlier/ENTRY/, the lists that prove them to
    settings/lists/. made, seen: as for settings_of_run. Raises LedgerDamaged where something is missing or altered.
    """
    in_force = settings_of_run(made, seen)
    for one in seen:
        here = [name for name, sha256 in one.files.items() if sha256 is not None and name in wanted]
        shown = [name for name in here if one.files[name] == in_force.get(name) or name in earlier]
        told = None if one.pack is None or not shown else f"settings/lists/{one.entry:06d}.jsonl"
        if told is not None and one.pack is not None:
            data = list_of_pack(root, one.pack)
            bundle.part(told, data, _places(list(one.files), shown), one.entry)
        for name, content in contents_of(root, one, shown):
            where = "settings" if one.files[name] == in_force.get(name) else f"settings/earlier/{one.entry:06d}"
            bundle.whole(f"{where}/{name}", content, one.entry, listed=told)
    if not isinstance(made.body["settings"], list):
        data = list_of_run(in_force)
        shown = [name for name in wanted if name in in_force]
        bundle.part(f"settings/lists/{made.number:06d}-run.jsonl", data, _places(sorted(in_force), shown),
                    made.number, key="settings")  # fmt: skip


def _places(names: Sequence[str], shown: Collection[str]) -> list[int]:
    """Return the lines of a list on which the shown names stand."""
    wanted = set(shown)
    return [at for at, name in enumerate(names, start=1) if name in wanted]
