"""A second diagnosis, deliberately naive: try every repair, then every pair of repairs. For tests only."""

from collections.abc import Iterator
from itertools import combinations

from tester.harness.netlist import Netlist

Circuits = frozenset[frozenset[str]]
Holds = frozenset[tuple[str, str]]  # (cavity, terminal that sits in it), where that is not its own


def faults(circuits: Circuits, holds: Holds) -> Iterator[tuple[Circuits, Holds]]:
    """Everything that one fault can make of a harness: exchange two terminals, bridge two circuits, open one."""
    names = sorted(name for circuit in circuits for name in circuit)
    sits = dict(holds)
    for x, y in combinations(names, 2):
        exchange = {x: y, y: x}
        after = frozenset(frozenset(exchange.get(name, name) for name in circuit) for circuit in circuits)
        held = dict(sits)
        held[x], held[y] = sits.get(y, y), sits.get(x, x)
        yield after, frozenset((cavity, terminal) for cavity, terminal in held.items() if cavity != terminal)
    for one, other in combinations(circuits, 2):
        yield circuits - {one, other} | {one | other}, holds
    for circuit in circuits:
        members = sorted(circuit)
        for size in range(1, len(members)):
            for cut in combinations(members[1:], size):
                yield circuits - {circuit} | {frozenset(cut), circuit - set(cut)}, holds


def naive_diagnosis(expected: Netlist, measured: Netlist, most: int = 2) -> tuple[int, set[Holds]] | None:
    """Fewest faults and every way terminals may sit in that many, or None when it takes more than `most`."""
    goal = frozenset(frozenset(circuit) for circuit in measured)
    level: set[tuple[Circuits, Holds]] = {(frozenset(frozenset(circuit) for circuit in expected), frozenset())}
    for cost in range(most + 1):
        reached = {holds for circuits, holds in level if circuits == goal}
        if reached:
            return cost, reached
        if cost == most:
            break
        if cost == most - 1:
            ways = {holds for state in level for circuits, holds in faults(*state) if circuits == goal}
            return (most, ways) if ways else None
        level = {after for state in level for after in faults(*state)}
    return None
