"""Diagnosis: the smallest set of physical faults that turns the expected circuits into the measured ones."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from tester.harness.netlist import Netlist
from tester.judge.explain import Explanation, distance, explained, overlaps, relabelled


@dataclass(frozen=True)
class Diagnosis:
    """Tied best explanations, likeliest first. `exact`: no smaller one exists and the list holds every tie."""

    explanations: tuple[Explanation, ...]
    exact: bool = True


def diagnose(expected: Netlist, measured: Netlist) -> Diagnosis:
    """Explanations of `measured`, both netlists over the same cavities. Each is asserted to give the measurement."""
    if expected == measured:
        return Diagnosis(())
    moved: dict[str, str] = {}
    sitting = expected
    while True:
        step = _best_swap(sitting, measured)
        if step is None:
            break
        a, b = step
        where = {name: moved.get(name, name) for name in expected.cavities}
        exchange = {a: b, b: a}
        moved = {name: exchange.get(at, at) for name, at in where.items() if exchange.get(at, at) != name}
        sitting = relabelled(expected, moved)
    found = explained(expected, measured, moved)
    return Diagnosis((found,), exact=found.cost == (distance(expected, measured) + 1) // 2)


def _best_swap(sitting: Netlist, measured: Netlist) -> tuple[str, str] | None:
    far = distance(sitting, measured)
    wrong = [name for wanted, _ in overlaps(sitting, measured) for circuit in wanted for name in circuit]
    for a, b in combinations(wrong, 2):
        if not sitting.joined(a, b) and not measured.joined(a, b):
            after = relabelled(sitting, {a: b, b: a})
            if distance(after, measured) == far - 2:
                return a, b
    return None
