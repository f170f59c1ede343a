"""Write the schemas that are made from recon's models.

    python schemas/build.py            write them all
    python schemas/build.py --check    change nothing; exit 1 and name each file that is not current
"""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import json_schemas
import table_schemas

SCHEMAS = Path(__file__).resolve().parent


def schemas() -> dict[str, dict[str, Any]]:
    """Every schema by the name of its file."""
    inbox = {f"inbox-{kind}.table.json": schema for kind, schema in table_schemas.inbox_schemas().items()}
    return {
        "route.schema.json": json_schemas.route_schema(),
        "layout.schema.json": json_schemas.layout_schema(),
        "source.schema.json": json_schemas.source_schema(),
        "results.schema.json": json_schemas.results_schema(),
        "check.schema.json": json_schemas.check_schema(),
        "learn.schema.json": json_schemas.learn_schema(),
        "plan.schema.json": json_schemas.plan_schema(),
        "money.schema.json": json_schemas.money_schema(),
        "trace.schema.json": json_schemas.trace_schema(),
        "verify.schema.json": json_schemas.verify_schema(),
        **inbox,
        "products.table.json": table_schemas.products_schema(),
        "layout.table.json": table_schemas.layout_table_schema(),
        "rejects.table.json": table_schemas.rejects_schema(),
    }


def text(schema: dict[str, Any]) -> str:
    """A schema as it stands in its file."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def main() -> int:
    """Run as told on the command line."""
    parser = argparse.ArgumentParser(description="Write the schemas that are made from recon's models.")
    parser.add_argument("--check", action="store_true", help="change nothing, only compare")
    checking = parser.parse_args().check
    made = {name: text(schema) for name, schema in schemas().items()}
    stale = 0
    for name in sorted({*made, *(path.name for path in SCHEMAS.glob("*.json"))}):
        path = SCHEMAS / name
        there = path.read_text(encoding="utf-8") if path.is_file() else None
        if there == made.get(name):
            continue
        if checking:
            sys.stderr.write(f"schemas/{name} is not as schemas/build.py makes it; run python schemas/build.py\n")
            stale = 1
        elif name in made:
            path.write_text(made[name], encoding="utf-8", newline="\n")
            sys.stdout.write(f"schemas/{name}\n")
        else:
            path.unlink()
            sys.stdout.write(f"schemas/{name} removed\n")
    return stale


if __name__ == "__main__":
    sys.exit(main())
