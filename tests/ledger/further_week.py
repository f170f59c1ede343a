"""A small route on the eve of its second run: what the slices of the endurance trials stop on its way."""

from datetime import UTC, datetime
from pathlib import Path

from builders import RouteBuilder, slot
from endurance.route_states import MOMENT, State, newest_results
from endurance.stopped import POINTS

from recon.recorded import run_and_record


def further_week(folder: Path) -> State:
    """A route that was run once, with a further week in its inbox; in it a row that will be rejected."""
    route = RouteBuilder(folder / "route").machine("m-1", slot("A1"), slot("A2"))
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7").vends("09-03 12:00, A1, cash, 2.00")
    moment = datetime.fromtimestamp(MOMENT, UTC)
    run_and_record(route.root, now=moment)
    route.counts("09-15 09:00, A1, 3", name="counts-2.csv").vends("09-09 12:00, A1, cash, two", name="vends-2.csv")
    state = State("further week", route.root, ("run", "ROUTE"), 1, (), dict.fromkeys(POINTS, 0))
    undisturbed = state.copy(folder / "undisturbed")
    run_and_record(undisturbed, now=moment)
    return State(state.name, route.root, state.words, state.code, (newest_results(undisturbed),), state.calls)
