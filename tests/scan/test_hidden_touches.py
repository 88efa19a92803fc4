"""Which touches a watch cannot see, against readings worked out circuit by circuit."""

import itertools
import random

import networkx as nx

from tester.scan import hidden_touches, let_go_lists
from tester.scan.codes import LET_GO_TOGETHER


def answers(held: list[int], steps: list[list[int]], conducts: "nx.Graph[int]") -> list[set[int]]:
    """Of what each step lets go, what reads low: what conducts leads from it to a circuit that is driven."""
    found = []
    for step in steps:
        driven = set(held) - set(step)
        found.append({c for c in step if nx.node_connected_component(conducts, c) & driven})
    return found


def test_a_touch_is_hidden_exactly_where_no_reading_changes():
    rng = random.Random(77)
    hidden = seen = 0
    for _ in range(200):
        held = sorted(rng.sample(range(1, 49), rng.randint(2, 20)))
        parts: nx.Graph[int] = nx.Graph()
        parts.add_nodes_from(held)
        parts.add_edges_from(rng.sample(held, 2) for _ in range(rng.randint(0, len(held) // 2)))
        lists = let_go_lists(held)
        steps = [[c for c in one if (c - 1) // LET_GO_TOGETHER == group] for one in lists for group in range(3)]
        good = answers(held, steps, parts)
        low = [set[int]().union(*good[3 * i : 3 * i + 3]) for i in range(len(lists))]
        groups = hidden_touches(held, lists, low)
        assert len(set(itertools.chain(*groups))) == sum(map(len, groups))
        for a, b in itertools.combinations(held, 2):
            touching = parts.copy()
            touching.add_edge(a, b)
            same = answers(held, steps, touching) == good
            assert any(a in group and b in group for group in groups) == same, (held, parts.edges, a, b)
            hidden, seen = hidden + same, seen + (not same)
    assert hidden > 100 and seen > 1000


def test_without_parts_nothing_is_hidden():
    held = tuple(range(1, 65))
    lists = let_go_lists(held)
    assert hidden_touches(held, lists, [set()] * len(lists)) == []


def test_what_is_never_high_hides_touches_across_the_groups_of_sixteen():
    lists = let_go_lists([1, 2, 17, 18])
    assert hidden_touches([1, 2, 17, 18], lists, [set(one) for one in lists]) == [(1, 2, 17, 18)]
    first_alone = [set(one) - {1} for one in lists]
    assert hidden_touches([1, 2, 17, 18], lists, first_alone) == [(2, 17, 18)]
