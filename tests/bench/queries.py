"""Count the frame queries of one command of recon.

    python tests/bench/queries.py run ROUTE -q

A query is one plan that polars carries out and hands back as a frame: each call of `LazyFrame.collect`, and each call
of `LazyFrame._collect_eager`, through which the operations of eager frames go (select, with_columns, filter, join,
sort, group_by and so on). What polars does without a plan, as slicing a frame or adding up a series, does not count,
nor does writing a file. Runs the command in this process, and ends standard error with a line that has the number
alone.
"""

import sys
from collections.abc import Callable
from typing import Any

import polars as pl

METHODS = ("collect", "_collect_eager")


def counted(work: Callable[..., Any], calls: list[str]) -> Callable[..., Any]:
    """Return the same function, which also appends its name to `calls`: threads may append at the same time."""

    def count(*given: Any, **named: Any) -> Any:
        calls.append(work.__name__)
        return work(*given, **named)

    return count


def main() -> None:
    """Run the command, and print the number of queries at the end."""
    calls: list[str] = []
    for name in METHODS:
        setattr(pl.LazyFrame, name, counted(getattr(pl.LazyFrame, name), calls))
    from recon.cli.main import main as command

    try:
        command()
    finally:
        sys.stderr.write(f"\n{len(calls)}\n")


if __name__ == "__main__":
    main()
