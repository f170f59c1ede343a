"""Which rows go with which columns so that the weights of the pairs add up to the most, each used once at most.

The Hungarian method in its shortest-path form (H. W. Kuhn, "The Hungarian method for the assignment problem", Naval
Research Logistics Quarterly 2, 1955; the row-by-row form with potentials, O(n^3)). Weights are whole numbers, so that
ties are ties. A row may stay without a column: that weighs 0, and a pair that weighs less is never made.
"""

from collections.abc import Sequence
from dataclasses import dataclass

_FAR = 1 << 60
"""Farther than any sum of weights."""


@dataclass(frozen=True, slots=True)
class Assignment:
    """columns: for each row its column, or None. total: the weights of the pairs, added up.

    margins: for each row by how much the total falls where the row may not have its column; 0 says that another
    settlement is as good. A row without a column has 0.
    """

    columns: tuple[int | None, ...]
    total: int
    margins: tuple[int, ...]


def best_assignment(weights: Sequence[Sequence[int]]) -> Assignment:
    """The pairs of rows and columns with the largest sum of weights.

    weights: one sequence of whole numbers a row, all of the same length. Among equal sums the answer follows from the
    order of rows and columns alone. Raises ValueError where the rows differ in length.
    """
    rows, columns = len(weights), len(weights[0]) if weights else 0
    if any(len(row) != columns for row in weights):
        raise ValueError("every row of weights needs as many columns as the first")
    # Square, so that a column let go leaves no other choice open: a row may take a column of its own ("nobody"), and
    # a column nobody's row.
    size = rows + columns
    cost = [[-max(weight, 0) for weight in row] + [0] * rows for row in weights]
    cost += [[0] * size for _ in range(columns)]
    solver = _Solver(cost)
    taken = solver.solve()
    found = tuple(
        column if column < columns and weights[row][column] > 0 else None for row, column in enumerate(taken[:rows])
    )
    margins = tuple(0 if column is None else solver.detour(row, column) for row, column in enumerate(found))
    total = sum(weights[row][column] for row, column in enumerate(found) if column is not None)
    return Assignment(found, total, margins)


class _Solver:
    """Row-by-row shortest paths over a square matrix of costs; potentials stay feasible throughout."""

    def __init__(self, cost: list[list[int]]) -> None:
        self.cost = cost
        self.size = len(cost)
        self.row_side = [0] * self.size
        self.column_side = [0] * self.size
        self.row_of: list[int | None] = [None] * self.size

    def solve(self) -> list[int]:
        """For each row its column, at the least cost."""
        for row in range(self.size):
            self._add(row)
        column_of = [0] * self.size
        for column, row_there in enumerate(self.row_of):
            if row_there is not None:
                column_of[row_there] = column
        return column_of

    def _reduced(self, row: int, column: int) -> int:
        return self.cost[row][column] - self.row_side[row] - self.column_side[column]

    def _add(self, start: int) -> None:
        """Give one more row a column, by the cheapest way of moving others on."""
        away, came_from, settled = [_FAR] * self.size, [-1] * self.size, [False] * self.size
        row: int | None = start
        at, reach = -1, 0
        order: list[int] = []
        while row is not None:
            for column in range(self.size):
                if not settled[column] and (step := reach + self._reduced(row, column)) < away[column]:
                    away[column], came_from[column] = step, at
            at = min((column for column in range(self.size) if not settled[column]), key=lambda c: (away[c], c))
            reach = away[at]
            settled[at] = True
            order.append(at)
            row = self.row_of[at]
        self.row_side[start] += reach
        for column in order[:-1]:
            holder = self.row_of[column]
            assert holder is not None
            self.row_side[holder] += reach - away[column]
            self.column_side[column] -= reach - away[column]
        while at != -1:
            before = came_from[at]
            self.row_of[at] = start if before == -1 else self.row_of[before]
            at = before

    def detour(self, start: int, goal: int) -> int:
        """What the least total cost rises by where row `start` may not have its column `goal`.

        The way from the row to that column through other pairs, none of which is (start, goal). Potentials make
        every step cost 0 or more, and the pair itself 0, so the length of the way is the rise.
        """
        away, settled = [_FAR] * self.size, [False] * self.size
        row: int | None = start
        reach = 0
        while row is not None:
            for column in range(self.size):
                barred = row == start and column == goal
                if not barred and not settled[column]:
                    away[column] = min(away[column], reach + self._reduced(row, column))
            at = min((column for column in range(self.size) if not settled[column]), key=lambda c: (away[c], c))
            reach = away[at]
            settled[at] = True
            if at == goal:
                break
            row = self.row_of[at]
        return reach
