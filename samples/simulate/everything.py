"""Every file of the samples, by its path from the top of the checkout."""

import json

from simulate.paper import inbox
from simulate.readme import readme
from simulate.route import the_route, troubled_layouts, troubled_route
from simulate.settings_files import settings_files
from simulate.troubles import bayside_truth, plant_all
from simulate.truth import clean_truth
from simulate.world import live, settle


def as_json(value: dict[str, object]) -> bytes:
    """A table of figures with a row to a line, so that a change to it can be read."""
    parts = []
    for key, rows in value.items():
        if isinstance(rows, list):
            lines = ",\n".join(f"    {json.dumps(row, ensure_ascii=False)}" for row in rows)
            parts.append(f"  {json.dumps(key)}: [\n{lines}\n  ]")
        else:
            parts.append(f"  {json.dumps(key)}: {json.dumps(rows, ensure_ascii=False)}")
    return ("{\n" + ",\n".join(parts) + "\n}\n").encode()


def all_files() -> dict[str, bytes]:
    """Path from the top of the checkout -> bytes."""
    clean, troubled = live(the_route()), live(troubled_route())
    settle(clean)
    troubles = plant_all(troubled)
    files = {
        "samples/README.md": readme(troubles).encode(),
        "tests/truth/clean.json": as_json(clean_truth(clean)),
        "tests/truth/bayside.json": as_json(bayside_truth(troubles)),
    }
    for sample, layouts, world in (("clean", the_route(), clean), ("bayside", troubled_layouts(), troubled)):
        settings = {name: text.encode() for name, text in settings_files(layouts).items()}
        files |= {f"samples/{sample}/{name}": data for name, data in (settings | inbox(world)).items()}
    return dict(sorted(files.items()))
