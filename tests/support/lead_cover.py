"""A lead plan checked pair by pair against what must be seen."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from random import Random

import networkx as nx

from tester.harness.netlist import Netlist
from tester.plan.leadplan import LeadPlan, plan_leads


def assert_covers(made: LeadPlan, circuits: Netlist, channels: int, together: Sequence[tuple[str, str]]) -> None:
    """Everything needed is seen, checked pair by pair."""
    rounds = [set(one.channels.values()) for one in made.rounds]
    assert all(len(one.channels) <= channels and max(one.channels) <= channels for one in made.rounds)
    assert set().union(*rounds) == set(circuits.cavities)
    for one, two in combinations(circuits, 2):
        assert any(set(one) & names and set(two) & names for names in rounds), (one, two)
    for circuit in circuits:
        graph: nx.Graph[str] = nx.Graph()
        graph.add_nodes_from(circuit)
        for names in rounds:
            graph.add_edges_from(combinations(sorted(set(circuit) & names), 2))
        assert nx.is_connected(graph), circuit
    for a, b in together:
        assert any(a in names and b in names for names in rounds), (a, b)
    if len(rounds) > 1:
        assert all(set(made.again) <= names for names in rounds) and len(made.again) == 2
    assert made.bound <= len(rounds)


def check_once(random: Random) -> int:
    names = [f"{c}-{n}" for c in "DH" for n in range(1, random.randint(2, 16))]
    random.shuffle(names)
    circuits, rest = [], names[:]
    while rest:
        size = random.choice((1, 1, 2, 2, 3, 5))
        circuits.append(rest[:size])
        rest = rest[size:]
    known = Netlist.of(circuits)
    channels = random.randint(4, 20)
    joined = [circuit for circuit in circuits if len(circuit) > 1]
    together = [tuple(random.sample(random.choice(joined), 2)) for _ in range(3)] if joined else []
    use = random.random() < 0.7
    made = plan_leads("x", names, channels, known if use else None, together, seed=random.randint(1, 9))  # type: ignore[arg-type]
    assert_covers(made, known if use else Netlist.of([], names), channels, together)  # type: ignore[arg-type]
    return len(made.rounds) - made.bound
