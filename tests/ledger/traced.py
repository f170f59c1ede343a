"""Traces of a route, for tests: the whole way in one call, and a walk along the lines without any code of recon."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import recon
from recon.ledger.trace import Trace, trace
from recon.ledger.trace_lines import Figures, Terms
from recon.ledger.trace_originals import Inbox
from recon.ledger.trace_target import target_of
from recon.model.reconciliation import Reconciliation
from recon.route.folder import read_route

NOW = datetime(2026, 12, 1, 12, tzinfo=UTC)

Line = dict[str, Any]


def reconciled(root: Path, **keys: Any) -> tuple[Reconciliation, Inbox]:
    """A run of the folder, and its inbox to look into."""
    done = recon.run(root, **{"now": NOW, **keys}).reconciliation
    return done, Inbox(read_route(root), done)


def traced(root: Path, target: str, **keys: Any) -> Trace:
    """The trace of a target."""
    done, inbox = reconciled(root, **keys)
    return trace(target_of(target, done), done, inbox)


def terms_of(root: Path) -> Terms:
    return Terms.of(read_route(root).settings)


def windows(figures: Figures | None) -> list[tuple[Line, list[Line]]]:
    """Each figure with its lines."""
    assert figures is not None
    lines = figures.lines.to_dicts()
    return [(head, [line for line in lines if line["window"] == head["window"]]) for head in figures.heads.to_dicts()]


def walk_stock(head: Line, lines: list[Line], near: timedelta) -> None:
    """Add a stock window up line by line, as a person with a pencil would, and hold each balance and every figure of
    its head to that."""
    balance: int | None = None
    sums = {"loaded": 0, "removed": 0, "vended": 0}
    opening = None
    doubtful = may_come = 0
    for line in lines:
        closing = line["what"] == "count" and line["time"] == head["closed_at"] and balance is not None
        if not line["in_figure"]:
            at_an_end = line["what"] == "vend" and line["side"] is not None
            outside = at_an_end and not (head["opened_at"] <= line["time"] < head["closed_at"])
            if outside:
                edge = head["opened_at"] if line["side"] == "after" else head["closed_at"]
                assert abs(line["time"] - edge) <= near, line
                may_come -= line["change"]
            continue
        if line["what"] == "count" and balance is None:
            balance = opening = line["figure"]
        elif closing:
            assert line["figure"] == head["counted"]
        else:
            balance += line["change"]
            if line["what"] == "vend":
                sums["vended"] -= line["change"]
                near_an_end = min(line["time"] - head["opened_at"], head["closed_at"] - line["time"]) <= near
                assert (line["side"] is not None) == near_an_end, line
                doubtful += -line["change"] if near_an_end or line["outcome"] == "refunded" else 0
            elif line["time"] == head["opened_at"]:
                opening += line["change"]
            else:
                sums["loaded" if line["what"] == "load" else "removed"] += abs(line["change"])
        assert line["balance"] == balance, line
    assert balance == head["expected"] == lines_last(lines)["balance"]
    assert {"opening": opening, **sums} == {name: head[name] for name in ("opening", *sums)}
    assert head["variance"] == head["counted"] - balance
    assert head["variance_low"] == head["variance"] - doubtful
    assert head["variance_high"] == head["variance"] + may_come


def lines_last(lines: list[Line]) -> Line:
    """The last line that is part of the figure."""
    return [line for line in lines if line["in_figure"]][-1]


def walk_cash(head: Line, lines: list[Line]) -> None:
    """The same for a collection: expected, its range, what was collected, and over or short."""
    balance = 0
    collected = {"open": [], "close": []}
    low = high = 0
    for line in lines:
        opened, closed = line["time"] == head["opened_at"], line["time"] == head["closed_at"]
        if line["what"] == "collection":
            if line["in_figure"]:
                assert opened or closed
                collected["open" if opened else "close"].append(line)
        elif line["in_figure"]:
            balance += line["change"]
            low += 0 if line["side"] is not None else line["least"]
            high += line["most"]
        elif "may belong here" in line["why"] or "the money was given back" in line["why"]:
            high += line["most"]
        if line["in_figure"]:
            assert line["balance"] == balance, line
    assert sum(line["figure"] for line in collected["close"]) == head["collected"]
    if head["expected"] is None:
        assert balance == 0
        return
    assert balance == head["expected"] == lines_last(lines)["balance"]
    assert (low, high) == (head["expected_low"], head["expected_high"])
    assert head["over_short"] == head["collected"] + (head["tube_change"] or 0) - balance
