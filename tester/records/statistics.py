"""The few statistics that figures need. Pure. Sources stand beside each; the checks are in tests/outside."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

Z_95 = 1.959963985
"""Two-sided 95 % of the normal distribution."""


def wilson(hits: int, trials: int, z: float = Z_95) -> tuple[float, float]:
    """Wilson score interval of a share (Wilson 1927, Newcombe 1998). (0, 1) without trials; ValueError for nonsense."""
    if not 0 <= hits <= trials:
        raise ValueError(f"{hits} of {trials}")
    if trials == 0:
        return 0.0, 1.0
    share = hits / trials
    spread = z * z / trials
    centre = (share + spread / 2) / (1 + spread)
    half = z * math.sqrt(share * (1 - share) / trials + spread / (4 * trials)) / (1 + spread)
    low = 0.0 if hits == 0 else max(0.0, centre - half)
    high = 1.0 if hits == trials else min(1.0, centre + half)
    return low, high


def at_most(trials: int) -> float:
    """When none of `trials` had it: the share that it has at most, 95 % one-sided, exact: 1 - 0.05^(1/n).

    The rule of three, 3/n, is close to it from 30 trials on (Jovanovic and Levy 1997).
    """
    return 1 - 0.05 ** (1 / trials) if trials > 0 else 1.0


@dataclass(frozen=True)
class Bar:
    """One class of a Pareto list: its name, its count, and the percent of all counts up to and with it."""

    name: str
    count: int
    running: float


def pareto(counts: Mapping[str, int]) -> list[Bar]:
    """Classes by falling count, ties by name, with running percent (common practice, no source)."""
    total = sum(counts.values())
    bars, sum_so_far = [], 0
    for name, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        sum_so_far += count
        bars.append(Bar(name, count, 100 * sum_so_far / total))
    return bars


def quantile(values: Sequence[float], share: float) -> float:
    """Quantile of sorted values with linear interpolation between them (Hyndman and Fan's type 7)."""
    place = (len(values) - 1) * share
    below = math.floor(place)
    above = min(below + 1, len(values) - 1)
    return values[below] + (values[above] - values[below]) * (place - below)


def slope(points: Iterable[tuple[float, float]]) -> tuple[float, float] | None:
    """Least-squares slope of (x, y) and its standard error; None for fewer than three points or a single x."""
    known = list(points)
    if len(known) < 3:
        return None
    mean_x = sum(x for x, _ in known) / len(known)
    mean_y = sum(y for _, y in known) / len(known)
    spread = sum((x - mean_x) ** 2 for x, _ in known)
    if spread == 0:
        return None
    rise = sum((x - mean_x) * (y - mean_y) for x, y in known) / spread
    left = sum((y - mean_y - rise * (x - mean_x)) ** 2 for x, y in known)
    return rise, math.sqrt(left / (len(known) - 2) / spread)
