"""Diagnosis: the smallest set of physical faults that turns the expected circuits into the measured ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tester.harness.cavity import in_order
from tester.harness.expected import Expected
from tester.harness.netlist import Netlist
from tester.judge.explain import Explanation, distance, explained, relabelled, swaps_of
from tester.judge.geometry import Geometry, rearrangements
from tester.judge.ranking import rank
from tester.judge.search import MOST_FAULTS, Exhausted, Search

SHOWN_BEYOND = 8  # explanations kept when the number of faults is beyond the exact search


@dataclass(frozen=True)
class Diagnosis:
    """Best explanations, all of one cost, likeliest first.

    exact     no smaller explanation exists
    complete  every explanation of that cost is listed
    at_least  number of faults that any explanation needs
    """

    explanations: tuple[Explanation, ...]
    exact: bool = True
    complete: bool = True
    at_least: int = 0


def diagnose(
    expected: Netlist, measured: Netlist, context: Expected | None = None, geometry: Geometry | None = None
) -> Diagnosis:
    """Explanations of `measured`, both netlists over the same cavities. Each is asserted to give the measurement.

    `context` gives faces, touched cavities and steps for the ranking; `geometry` is that of its faces and the cavities
    of `expected`, if at hand. Exact with all ties up to MOST_FAULTS faults;
    beyond that the best found, exact where it meets the bound of `Search`.
    Raises ValueError when the netlists are not of the same cavities.
    """
    search = Search(expected, measured)
    if not search.home:
        return Diagnosis(())
    wrong, got = search.expected, search.measured
    at_least = search.lower
    ways: list[dict[str, str]] | None = None
    complete = False
    if search.lower <= MOST_FAULTS:
        try:
            cost = search.smallest()
            if cost is None:
                at_least = MOST_FAULTS + 1
            else:
                at_least = cost
                ways, complete = search.moves(cost)
        except Exhausted:
            ways = None
    context = context or Expected(())
    if ways is None:
        geometry = geometry or Geometry(context.faces, expected.cavities)
        ways = _beyond(wrong, got, geometry)
    found = [explained(wrong, got, moved) for moved in ways]
    cost = min(one.cost for one in found)
    best = [one for one in found if one.cost == cost]
    if len(best) > 1:
        geometry = geometry or Geometry(context.faces, expected.cavities)
        best.sort(key=lambda one: rank(one, wrong, context, geometry))
    return Diagnosis(tuple(best), cost == at_least, complete, at_least)


def _beyond(expected: Netlist, measured: Netlist, geometry: Geometry) -> list[dict[str, str]]:
    """The best permutations found without a full search: whole groups misplaced, then circuit by circuit."""
    best: dict[tuple[tuple[str, str], ...], tuple[int, dict[str, str]]] = {}
    far = distance(expected, measured)
    for moved in ({}, *rearrangements(geometry, expected.cavities)):
        sitting = relabelled(expected, moved) if moved else expected
        if moved and swaps_of(moved) + distance(sitting, measured) >= far:
            continue
        whole = _finished(expected, measured, moved)
        cost = swaps_of(whole) + distance(relabelled(expected, whole), measured)
        best[tuple(sorted(whole.items()))] = (cost, whole)
    least = min(cost for cost, _ in best.values())
    return [whole for cost, whole in best.values() if cost == least][:SHOWN_BEYOND]


def _finished(expected: Netlist, measured: Netlist, moved: Mapping[str, str]) -> dict[str, str]:
    """`moved`, then exchanges that each complete a circuit, then the exact search where little is left."""
    whole = _useful(moved, expected)
    sitting = relabelled(expected, whole)
    whole = _then(whole, completing(sitting, measured))
    sitting = relabelled(expected, whole)
    if sitting == measured:
        return whole
    search = Search(sitting, measured)
    if search.lower <= MOST_FAULTS:
        try:
            cost = search.smallest()
            if cost is not None:
                ways, _ = search.moves(cost)
                return min((_then(whole, way) for way in ways), key=swaps_of)
        except Exhausted:
            pass
    return whole


def _useful(moved: Mapping[str, str], expected: Netlist) -> dict[str, str]:
    """The same places for all wired terminals, in the fewest exchanges: empty cavities are all alike."""
    lone = set(expected.lone())
    wired = {a: b for a, b in moved.items() if a != b and a not in lone}
    sits = set(wired.values())
    whole = dict(wired)
    for start in wired:
        if start not in sits:
            end = wired[start]
            while end in wired:
                end = wired[end]
            whole[end] = start
    return whole


def _then(first: Mapping[str, str], second: Mapping[str, str]) -> dict[str, str]:
    """One permutation after the other, without what stays in place."""
    names = set(first) | set(second)
    whole = {name: second.get(first.get(name, name), first.get(name, name)) for name in names}
    return {name: at for name, at in whole.items() if at != name}


def completing(sitting: Netlist, measured: Netlist) -> dict[str, str]:
    """Exchanges that each make one more circuit right, as one permutation. Each takes two off the distance."""
    right = set(sitting.circuits) & set(measured.circuits)
    members = {a: set(circuit) for a, circuit in enumerate(sitting) if circuit not in right}
    home = {name: a for a, names in members.items() for name in names}
    cells = {circuit[0]: set(circuit) for circuit in measured if circuit not in right}
    place = {name: p for p, names in cells.items() for name in names}
    holds: dict[str, str] = {}
    work = list(members)
    while work:
        a = work.pop()
        mine = members[a]
        counts: dict[str, int] = {}
        for name in in_order(mine):
            counts[place[name]] = counts.get(place[name], 0) + 1
        target = next((p for p, n in counts.items() if n == len(mine) - 1 == len(cells[p]) - 1), None)
        if target is None or len(mine) < 2:
            continue
        [x], [y] = cells[target] - mine, mine - cells[target]
        b = home[x]
        members[b] = members[b] - {x} | {y}
        members[a] = mine - {y} | {x}
        home[x], home[y] = a, b
        holds[x], holds[y] = holds.get(y, y), holds.get(x, x)
        work.append(b)
    return {terminal: cavity for cavity, terminal in holds.items() if terminal != cavity}
