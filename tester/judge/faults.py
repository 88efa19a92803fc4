"""From an explanation to the faults that a person is told: what happened, where, which steps touch it."""

from __future__ import annotations

from collections.abc import Iterable

from tester.harness.cavity import cavity_key, in_order
from tester.harness.expected import Expected
from tester.harness.netlist import Netlist
from tester.harness.verdict import Fault
from tester.judge.explain import Circuit, Explanation, cycles_of, relabelled


def likeliest(cavities: Iterable[str], expected: Expected) -> tuple[str, ...]:
    """Cavities with those that a step touched first, each group in order."""
    return tuple(sorted(set(cavities), key=lambda name: (name not in expected.edited, cavity_key(name))))


def steps_of(cavities: Iterable[str], expected: Expected) -> tuple[str, ...]:
    """Ids of the steps that touch these cavities, each once, in the order of the cavities."""
    return tuple(dict.fromkeys(step for name in cavities for step in expected.steps.get(name, ())))


def faults_of(explanation: Explanation, number: int, wanted: Netlist, expected: Expected) -> list[Fault]:
    """Faults of explanation `number` of a harness that should be `wanted`."""
    moved = dict(explanation.moved)
    sitting = relabelled(wanted, moved) if moved else wanted
    faults = [_misplaced(cycle, number, wanted, expected) for cycle in cycles_of(moved)]
    faults += [_short(one, other, number, expected) for one, other in explanation.bridges]
    faults += [_open(cut, rest, number, sitting, expected) for cut, rest in explanation.opens]
    return faults


def _misplaced(cycle: list[str], number: int, wanted: Netlist, expected: Expected) -> Fault:
    belongs = [name for name in cycle if len(wanted.circuit_of(name)) > 1]
    after = dict(zip(cycle, cycle[1:] + cycle[:1], strict=True))
    belongs.sort(key=lambda name: (name not in expected.edited, cavity_key(name)))
    sits = [after[name] for name in belongs]
    untouched = bool(expected.edited) and expected.edited.isdisjoint(cycle)
    if len(cycle) > 2:
        action = "rotated group" if len(belongs) == len(cycle) else "moved group"
    elif len(belongs) == 2:
        action = "leads exchanged" if untouched else "swap"
    else:
        action = "move"
    cavities = tuple(dict.fromkeys([*sits, *belongs]))
    return Fault("miswire", cavities, number, action, tuple(sits), tuple(belongs), steps_of(cavities, expected))


def _short(one: Circuit, other: Circuit, number: int, expected: Expected) -> Fault:
    cavities = likeliest([*one, *other], expected)
    return Fault("short", cavities, number, "bridge", tuple(one), tuple(other), steps_of(cavities, expected))


def _open(cut: Circuit, rest: Circuit, number: int, sitting: Netlist, expected: Expected) -> Fault:
    if len(rest) < len(cut):
        cut, rest = rest, cut
    untouched = bool(expected.edited) and expected.edited.isdisjoint(cut)
    if len(cut) > 1:
        action = "splice incomplete"
    elif len(rest) == 1:
        action = "missing wire" if not (expected.edited and expected.edited.isdisjoint(cut + rest)) else "open terminal"
    else:
        action = "lead not touching" if untouched else "open terminal"
    cavities = likeliest(cut, expected) if len(cut) < len(rest) else likeliest(cut + rest, expected)
    belongs = tuple(in_order(rest))
    return Fault("open", cavities, number, action, tuple(cut), belongs, steps_of(cavities, expected))
