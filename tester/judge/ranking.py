"""Which of several equal explanations is likeliest: touched cavities first, then whole groups, then neighbours."""

from __future__ import annotations

from tester.harness.cavity import cavity_key
from tester.harness.expected import Expected
from tester.harness.netlist import Netlist
from tester.judge.explain import Explanation, cycles_of
from tester.judge.geometry import Geometry

Move = tuple[str, str]
TWINS = 6  # cavities in three exchanges: fewer are told one by one


def rank(explanation: Explanation, wanted: Netlist, context: Expected, geometry: Geometry) -> tuple[object, ...]:
    """Sort key, likeliest first: cavities moved that no step touched, separate faults, distance moved, names."""
    edited = context.edited
    aside = sum(name not in edited for name, _ in explanation.moved) if edited else 0
    for one, other in explanation.bridges:
        aside += bool(edited) and edited.isdisjoint(one) and edited.isdisjoint(other)
    for cut, rest in explanation.opens:
        aside += bool(edited) and edited.isdisjoint(cut) and edited.isdisjoint(rest)
    groups = grouped(dict(explanation.moved), wanted, geometry)
    faults = len(groups) + len(explanation.bridges) + len(explanation.opens)
    far = sum(geometry.distance(a, b) for a, b in explanation.moved)
    return aside, faults, far, explanation.moved, explanation.opens, explanation.bridges


def grouped(moved: dict[str, str], wanted: Netlist, geometry: Geometry) -> list[tuple[str, list[Move]]]:
    """Moves as what happened: (action, [(belongs, sits)] of terminals that are wired), likeliest first.

    A move of what belongs in a lone cavity is left out: nothing wired moved there.
    """
    wired = {name for name in moved if len(wanted.circuit_of(name)) > 1}
    left, groups = dict(moved), []
    by_connector: dict[str, list[str]] = {}
    for cycle in cycles_of(moved):
        connectors = {geometry.connector(name) for name in cycle}
        if len(connectors) == 1:
            by_connector.setdefault(connectors.pop(), []).extend(cycle)
    for connector, names in by_connector.items():
        for action in (_mirrored, _offset):
            taken = action(connector, {a: left[a] for a in names if a in left}, wired, geometry)
            if taken:
                groups.append(("mirrored face" if action is _mirrored else "row offset", _wired(taken, moved, wired)))
                for name in taken:
                    del left[name]
    for names in _twins(left, wanted, geometry):
        groups.append(("plugs exchanged", _wired(names, moved, wired)))
        for name in names:
            del left[name]
    for cycle in cycles_of(left):
        pairs = _wired(cycle, moved, wired)
        if len(cycle) == 2:
            action_name = "swap" if len(pairs) == 2 else "move"
        else:
            action_name = "rotated group" if len(pairs) == len(cycle) else "moved group"
        groups.append((action_name, pairs))
    return groups


def _wired(names: list[str], moved: dict[str, str], wired: set[str]) -> list[Move]:
    return [(name, moved[name]) for name in names if name in wired]


def _twins(moved: dict[str, str], wanted: Netlist, geometry: Geometry) -> list[list[str]]:
    """Cavities of two connectors that sit in the other's cavity of the same number: three exchanges or more, and more
    than half of what is wired in both."""
    found: dict[tuple[str, ...], list[str]] = {}
    for cycle in cycles_of(moved):
        numbers = {cavity_key(name)[1] for name in cycle}
        connectors = {geometry.connector(name) for name in cycle}
        if len(cycle) == len(connectors) == 2 and len(numbers) == 1:
            found.setdefault(tuple(sorted(connectors)), []).extend(cycle)
    groups = []
    for both, names in found.items():
        every = [name for connector in both for row in geometry.rows.get(connector, ()) for name in row]
        wired = {name for name in every if name in wanted and len(wanted.circuit_of(name)) > 1}
        if len(names) >= TWINS and 2 * len(wired.intersection(names)) > len(wired):
            groups.append(names)
    return groups


def _mirrored(connector: str, inside: dict[str, str], wired: set[str], geometry: Geometry) -> list[str]:
    """Cavities that sit where the flipped face would have them: two exchanges or more, nothing else there."""
    for image in geometry.mirrors(connector):
        found = [name for name, sits in inside.items() if image.get(name) == sits]
        if len(found) >= 4 and len(found) == len(inside):
            return found
    return []


def _offset(connector: str, inside: dict[str, str], wired: set[str], geometry: Geometry) -> list[str]:
    """Cavities of cycles in which every wired terminal sits the same number of places further."""
    steps: dict[tuple[int, int], list[str]] = {}
    for cycle in cycles_of(inside):
        offsets = {geometry.offset(name, inside[name]) for name in cycle if name in wired}
        holes = any(name not in wired for name in cycle)
        if len(offsets) == 1 and holes and set(cycle) <= set(inside):
            step = offsets.pop()
            if step is not None:
                steps.setdefault(step, []).extend(cycle)
    best = max(steps.values(), key=len, default=[])
    return best if sum(name in wired for name in best) >= 2 else []
