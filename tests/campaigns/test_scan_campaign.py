"""Full forms of the scan checks: 5,000 coverings by rounds, 10,000 random pairs of netlists."""

import random

import networkx as nx
import pytest

from tester.scan import agrees, decode_walk, quick_check
from tests.scan.boards import read_patterns, rows_of
from tests.scan.covers import check_coverings

pytestmark = pytest.mark.campaign


def test_five_thousand_coverings_by_rounds_equal_brute_force():
    seed = 20240901
    tally = check_coverings(5000, seed)
    print(f"\n5,000 coverings, seed {seed}: " + ", ".join(f"{n} pairs {link.value}" for link, n in tally.items()))
    assert all(tally.values())


def test_ten_thousand_random_pairs_up_to_64_points_equal_networkx_components():
    seed = 64
    rng = random.Random(seed)
    equal = 0
    for _ in range(10_000):
        n = rng.randint(1, 64)
        wanted = _components(n, rng)
        real = wanted if rng.random() < 0.25 else _components(n, rng)
        same = sorted(map(sorted, wanted)) == sorted(map(sorted, real))
        driven = quick_check(wanted)
        assert agrees(wanted, range(n), driven, read_patterns(real, driven)) == same
        seen = nx.Graph(list(decode_walk(range(n), range(n), rows_of(real, n)).joined))
        seen.add_nodes_from(range(n))
        assert sorted(map(sorted, nx.connected_components(seen))) == sorted(map(sorted, real))
        equal += same
    print(f"\n10,000 pairs of netlists up to 64 points, seed {seed}: {equal} equal, no escape, no false alarm")
    assert equal > 1000


def _components(n, rng):
    graph = nx.gnm_random_graph(n, rng.randint(0, n), seed=rng.randrange(2**30))
    return [sorted(block) for block in nx.connected_components(graph)]
