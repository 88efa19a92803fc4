"""One line of the table, and how times are taken."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """A figure: a ratio within one run, or a count. `against` says what it is measured against; `goal` may be None."""

    what: str
    figure: float
    against: str
    goal: float | None = None

    @property
    def met(self) -> str:
        """ "yes", "NO", or "" where nothing is promised."""
        return "" if self.goal is None else "yes" if self.figure <= self.goal else "NO"


def table(rows: list[Row]) -> str:
    """The rows as text columns."""
    wide = max(len(row.what) for row in rows)
    lines = [f"{'figure':<{wide}}  {'value':>10}  {'goal':>6}  {'met':<3}  against"]
    for row in rows:
        value = f"{row.figure:,.0f}" if row.figure == int(row.figure) else f"{row.figure:,.2f}"
        goal = "" if row.goal is None else f"{row.goal:g}"
        lines.append(f"{row.what:<{wide}}  {value:>10}  {goal:>6}  {row.met:<3}  {row.against}")
    return "\n".join(lines)


def median_s(work: Callable[[], object], times: int) -> float:
    """Median seconds of several calls."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)
