"""What the commands share that show more of a run's figures and write nothing: `recon plan`, `recon money`."""

from collections.abc import Collection
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from recon.model.errors import ReconError
from recon.route.nearest import nearest

if TYPE_CHECKING:
    from recon.cli.progress import Progress
    from recon.model.reconciliation import Reconciliation


def reconciled(
    route: Path, progress: "Progress", since: datetime | None = None, until: datetime | None = None
) -> "Reconciliation":
    """The figures of a run that writes nothing."""
    from recon.reconcile import run

    return run(route, since=since, until=until, on_step=progress.step).reconciliation


def known_machines(machines: Collection[str], known: Collection[str]) -> None:
    """Raises ReconError for a machine that the route does not know, naming the nearest one that it does."""
    for machine in machines:
        if machine not in known:
            near = nearest(machine, list(known))
            meant = f"did you mean {near}?" if near else f"it knows {', '.join(sorted(known)[:10]) or 'none'}"
            raise ReconError(f"the route knows no machine {machine}; {meant}")
