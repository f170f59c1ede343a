"""The route with trouble: every kind of finding that a run can raise, planted once at a known place."""

from simulate import money_troubles, paper_troubles, stock_troubles
from simulate.plant import Troubles
from simulate.world import World, settle


def plant_all(world: World) -> Troubles:
    """Plant everything in this world, which has not been paid out yet, and say what was planted."""
    troubles = Troubles()
    paper_troubles.files(world, troubles)
    paper_troubles.rows(world, troubles)
    paper_troubles.vends(world, troubles)
    stock_troubles.plant(world, troubles)
    world.vends.sort(key=lambda vend: (vend.at, vend.machine))
    settle(world)
    money_troubles.prices(world, troubles)
    money_troubles.boxes(world, troubles)
    money_troubles.payouts(world, troubles)
    return troubles


def bayside_truth(troubles: Troubles) -> dict[str, object]:
    """tests/truth/bayside.json."""
    return {
        "about": "Planted by samples/simulate. planted: each must be found. follows: must be found too, for "
        "they come of the planted ones by arithmetic. possible: may be found. A missing key is not certain.",
        "planted": [each.entry() for each in troubles.planted],
        "follows": [each.entry() for each in troubles.follows],
        "possible": [each.entry() for each in troubles.possible],
    }
