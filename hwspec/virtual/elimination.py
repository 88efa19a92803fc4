"""Sparse symmetric elimination for resistor networks, in plain Python.

The order of elimination (least degree first) and the places that fill in depend only on which nodes are joined, so
they are worked out once; the numbers are then run through a list of steps. Harnesses are nearly trees, where nothing
fills in and the cost is linear.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence


class Elimination:
    """Solves  diag[i] v[i] - sum g[i,j] v[j] = rhs[i]  for networks whose joined pairs are fixed.

    `pairs`: joined node pairs; `slot[(i, j)]` (both orders) is the place of their conductance in the list that
    `solve` takes.
    """

    def __init__(self, nodes: int, pairs: Iterable[tuple[int, int]]) -> None:
        self.slot: dict[tuple[int, int], int] = {}
        near: list[set[int]] = [set() for _ in range(nodes)]
        for i, j in pairs:
            if i != j:
                self._claim(i, j)
                near[i].add(j)
                near[j].add(i)
        self.given = len(set(self.slot.values()))
        self._steps: list[tuple[int, tuple[tuple[int, int], ...], tuple[tuple[int, int, int], ...]]] = []
        left = set(range(nodes))
        while left:
            pivot = min(left, key=lambda node: len(near[node]))
            left.discard(pivot)
            around = sorted(near[pivot])
            fills = []
            for place, i in enumerate(around):
                near[i].discard(pivot)
                for j in around[place + 1 :]:
                    self._claim(i, j)
                    near[i].add(j)
                    near[j].add(i)
                    fills.append((self.slot[i, j], self.slot[pivot, i], self.slot[pivot, j]))
            self._steps.append((pivot, tuple((i, self.slot[pivot, i]) for i in around), tuple(fills)))
        self.slots = len(set(self.slot.values()))

    def _claim(self, i: int, j: int) -> None:
        if (i, j) not in self.slot:
            self.slot[i, j] = self.slot[j, i] = len(self.slot) // 2

    def solve(self, diag: list[float], joins: Sequence[float], columns: Sequence[list[float]]) -> None:
        """Overwrite each column (a right-hand side) with its solution. `diag` is used up.

        `joins` holds at least `given` conductances by slot.
        """
        g = list(joins) + [0.0] * (self.slots - len(joins))
        for pivot, around, fills in self._steps:
            d = diag[pivot]
            for i, place in around:
                value = g[place]
                if value:
                    factor = value / d
                    diag[i] -= value * factor
                    for column in columns:
                        column[i] += factor * column[pivot]
            for place, left, right in fills:
                g[place] += g[left] * g[right] / d
        for pivot, around, _ in reversed(self._steps):
            d = diag[pivot]
            for column in columns:
                total = column[pivot]
                for i, place in around:
                    total += g[place] * column[i]
                column[pivot] = total / d


def solve_dense(matrix: list[list[float]], rhs: list[float]) -> list[float]:
    """Solve a small dense system (ports). The diagonal is dominant, so no row is exchanged."""
    size = len(rhs)
    a = [[*row, value] for row, value in zip(matrix, rhs, strict=True)]
    for p in range(size):
        pivot = a[p]
        for i in range(p + 1, size):
            row = a[i]
            if row[p]:
                factor = row[p] / pivot[p]
                for j in range(p, size + 1):
                    row[j] -= factor * pivot[j]
    out = [0.0] * size
    for p in range(size - 1, -1, -1):
        row = a[p]
        out[p] = (row[size] - sum(row[j] * out[j] for j in range(p + 1, size))) / row[p]
    return out
