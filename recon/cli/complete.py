"""What a shell may complete: machines, slots and findings of the route that was named before.

It reads layouts and the newest results with the standard library alone, so that a shell does not wait, and never
complains: a folder or file that cannot be read gives nothing. Names that a shell would take apart are left out.
"""

import csv
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

MOST_FINDINGS = 500
_SAFE = re.compile(r"[\w.+@][\w.+@-]*")
"""A name that every shell takes as one word, and no command as an option."""


def machines(ctx: typer.Context, incomplete: str) -> list[str]:
    """Ids of the machines with a layout."""
    return [name for name in sorted(_layouts(_route(ctx))) if name.startswith(incomplete)]


def findings(ctx: typer.Context, incomplete: str) -> list[tuple[str, str]]:
    """Ids of the findings of the newest report, each with its kind and place."""
    found = (each for each in _findings(_route(ctx)) if each[0].startswith(incomplete))
    return [each for _, each in zip(range(MOST_FINDINGS), found, strict=False)]


def targets(ctx: typer.Context, incomplete: str) -> list[tuple[str, str]]:
    """Machines and findings; and the slots of a machine as soon as its id is typed."""
    layouts = _layouts(_route(ctx))
    machine = incomplete.partition("/")[0]
    found = [(name, "machine") for name in sorted(layouts) if name.startswith(incomplete)]
    found += [(f"{machine}/{label}", "slot") for label in layouts.get(machine, ())]
    return [each for each in found if each[0].startswith(incomplete)] + findings(ctx, incomplete)


def _route(ctx: typer.Context) -> Path:
    """The route folder as far as it was typed."""
    return Path(ctx.params.get("route") or ctx.params.get("route_folder") or ".")


def _layouts(route: Path) -> dict[str, list[str]]:
    """Machine to the labels of its slots, in the order of the layout."""
    found: dict[str, list[str]] = {}
    for path in sorted((route / "layouts").glob("*")):
        try:
            read = _toml if path.suffix == ".toml" else _table if path.suffix == ".csv" else None
            for machine, label in read(path) if read is not None else ():
                if isinstance(machine, str) and _SAFE.fullmatch(machine):
                    labels = found.setdefault(machine, [])
                    if isinstance(label, str) and _SAFE.fullmatch(label) and label not in labels:
                        labels.append(label)
        except (OSError, ValueError, csv.Error):
            continue
    return found


def _toml(path: Path) -> Iterator[tuple[Any, Any]]:
    data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    slots = data.get("slot")
    yield data.get("machine"), None
    for slot in slots if isinstance(slots, list) else ():
        if isinstance(slot, dict):
            label = slot.get("label")
            yield data.get("machine"), str(label) if isinstance(label, int) else label


def _table(path: Path) -> Iterator[tuple[Any, Any]]:
    with path.open(encoding="utf-8-sig", newline="") as lines:
        yield from ((row.get("machine"), row.get("label")) for row in csv.DictReader(lines))


def _findings(route: Path) -> Iterator[tuple[str, str]]:
    """The findings of the newest results: each is a line by itself there, so that all else need not be read."""
    try:
        files = [path for path in (route / "reports").glob("[!.]*/results.json") if path.is_file()]
        newest = max(files, key=lambda path: (path.stat().st_mtime_ns, path.parent.name), default=None)
        if newest is None:
            return
        inside = False
        with newest.open(encoding="utf-8") as lines:
            for line in lines:
                if inside and not line.startswith("    {"):
                    return
                if inside:
                    each = json.loads(line.rstrip().rstrip(","))
                    place = "/".join(str(each[name]) for name in ("machine", "label") if each[name] is not None)
                    told = f"{each['kind']} {place}" if _SAFE.fullmatch(place.replace("/", "-")) else str(each["kind"])
                    yield str(each["id"]), told
                inside = inside or line.startswith('  "findings": [')
    except (OSError, ValueError, KeyError, TypeError):
        return
