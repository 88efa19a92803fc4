"""Which branch of a splice has the excess: least squares over readings between pairs of cavities.

Each reading is the sum of the branches on its way. What the readings cannot tell apart (two wires in a row with no
cavity between them, too few pairs) comes out as one group with its sum, never as a guess.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

Row = list[Fraction]


@dataclass(frozen=True)
class PairReading:
    """One reading: ids of the branches on its way, ohms and standard uncertainty (above zero)."""

    branches: tuple[str, ...]
    ohms: float
    u_ohms: float


@dataclass(frozen=True)
class BranchGroup:
    """A combination of branches that the readings fix: usually one branch with weight 1.

    `weights`: branch -> weight; `ohms` of the weighted sum with standard uncertainty `u_ohms`.
    """

    weights: Mapping[str, Fraction]
    ohms: float
    u_ohms: float

    @property
    def alone(self) -> str:
        """The one branch that this group is, "" when it is a combination."""
        return next(iter(self.weights)) if len(self.weights) == 1 else ""


@dataclass(frozen=True)
class Solved:
    """Groups in the order of branches, chi-squared of what is left over, and its degrees of freedom."""

    groups: tuple[BranchGroup, ...]
    chi2: float
    freedom: int
    covariance: tuple[tuple[float, ...], ...]


def solve_branches(readings: Sequence[PairReading]) -> Solved:
    """Weighted least squares for the branches, with covariance. Raises ValueError for no readings or a u of zero."""
    if not readings:
        raise ValueError("no readings to solve")
    if any(not reading.u_ohms > 0 or not math.isfinite(reading.ohms) for reading in readings):
        raise ValueError("each reading needs a finite value and an uncertainty above zero")
    names = list(dict.fromkeys(name for reading in readings for name in reading.branches))
    rows = [[Fraction(reading.branches.count(name)) for name in names] for reading in readings]
    reduced, pivots = _reduced(rows)
    design = [[float(row[column]) for column in pivots] for row in rows]
    weights = [1 / reading.u_ohms**2 for reading in readings]
    size = len(pivots)
    normal = [
        [sum(w * row[i] * row[k] for w, row in zip(weights, design, strict=True)) for k in range(size)]
        for i in range(size)
    ]
    right = [
        sum(w * row[i] * reading.ohms for w, row, reading in zip(weights, design, readings, strict=True))
        for i in range(size)
    ]
    covariance = _inverse(normal)
    solution = [sum(covariance[i][k] * right[k] for k in range(size)) for i in range(size)]
    left = [
        reading.ohms - sum(x * value for x, value in zip(row, solution, strict=True))
        for row, reading in zip(design, readings, strict=True)
    ]
    groups = tuple(
        BranchGroup(
            {name: weight for name, weight in zip(names, reduced[i], strict=True) if weight},
            solution[i],
            math.sqrt(covariance[i][i]),
        )
        for i in range(size)
    )
    chi2 = sum(w * x * x for w, x in zip(weights, left, strict=True))
    return Solved(groups, chi2, len(readings) - size, tuple(tuple(row) for row in covariance))


def _reduced(rows: Sequence[Row]) -> tuple[list[Row], list[int]]:
    """Reduced row echelon form in exact fractions: its rows that are not zero, and their pivot columns."""
    table = [list(row) for row in rows]
    pivots: list[int] = []
    for column in range(len(table[0])):
        at = len(pivots)
        found = next((i for i in range(at, len(table)) if table[i][column]), None)
        if found is None:
            continue
        table[at], table[found] = table[found], table[at]
        lead = table[at][column]
        table[at] = [value / lead for value in table[at]]
        for i, row in enumerate(table):
            if i != at and row[column]:
                factor = row[column]
                table[i] = [value - factor * top for value, top in zip(row, table[at], strict=True)]
        pivots.append(column)
        if len(pivots) == len(table):
            break
    return table[: len(pivots)], pivots


def _inverse(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """Inverse of a symmetric positive definite matrix, by elimination with pivoting."""
    size = len(matrix)
    table = [[*map(float, row), *(float(i == k) for k in range(size))] for i, row in enumerate(matrix)]
    for column in range(size):
        best = max(range(column, size), key=lambda i: abs(table[i][column]))
        table[column], table[best] = table[best], table[column]
        lead = table[column][column]
        table[column] = [value / lead for value in table[column]]
        for i in range(size):
            if i != column and table[i][column]:
                factor = table[i][column]
                table[i] = [value - factor * top for value, top in zip(table[i], table[column], strict=True)]
    return [row[size:] for row in table]


def splice_pairs(cavities: Sequence[str]) -> list[tuple[str, str]]:
    """Pairs to measure so that each branch of a splice comes out: all of up to six cavities, else each with the
    next three around. Empty below three cavities, where nothing can be told apart."""
    n = len(cavities)
    if n < 3:
        return []
    if n <= 6:
        return [(cavities[i], cavities[k]) for i in range(n) for k in range(i + 1, n)]
    found = {tuple(sorted((i, (i + step) % n))) for i in range(n) for step in (1, 2, 3)}
    return [(cavities[i], cavities[k]) for i, k in sorted(found)]
