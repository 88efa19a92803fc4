"""The quick check: no escape, no false alarm, as few patterns as the formula says."""

import math
import random

import networkx as nx
import pytest

from tester.scan import (
    agrees,
    assign_codes,
    decode_walk,
    differing,
    let_go_lists,
    let_go_steps,
    pattern_count,
    quick_check,
    watch_pattern,
)
from tests.scan.boards import partitions, read_patterns, rows_of


def test_all_pairs_of_netlists_up_to_six_points_agree_exactly_when_equal():
    for n in range(1, 7):
        netlists = [sorted(sorted(block) for block in p) for p in partitions(list(range(n)))]
        for wanted in netlists:
            driven = quick_check(wanted)
            for real in netlists:
                rows = read_patterns(real, driven)
                assert agrees(wanted, range(n), driven, rows) == (wanted == real), (wanted, real)


def test_random_pairs_agree_exactly_when_networkx_finds_the_same_components():
    rng = random.Random(7)
    equal = 0
    for _ in range(1500):
        n = rng.randint(2, 64)
        wanted = _components(n, rng)
        real = wanted if rng.random() < 0.3 else _changed(wanted, n, rng)
        driven = quick_check(wanted)
        same = sorted(map(sorted, wanted)) == sorted(map(sorted, real))
        assert agrees(wanted, range(n), driven, read_patterns(real, driven)) == same
        seen = nx.Graph(list(decode_walk(range(n), range(n), rows_of(real, n)).joined))
        seen.add_nodes_from(range(n))
        assert sorted(map(sorted, nx.connected_components(seen))) == sorted(map(sorted, real))
        equal += same
    assert 300 < equal < 1200


def _components(n, rng):
    graph = nx.gnm_random_graph(n, rng.randint(0, n), seed=rng.randrange(2**30))
    return [sorted(block) for block in nx.connected_components(graph)]


def _changed(circuits, n, rng):
    """Near misses: one cavity moved to another circuit, or a fresh netlist."""
    if rng.random() < 0.3:
        return _components(n, rng)
    blocks = [list(block) for block in circuits]
    source = rng.choice(blocks)
    channel = source.pop(rng.randrange(len(source)))
    target = rng.choice([*blocks, []])
    target.append(channel)
    if target not in blocks:
        blocks.append(target)
    return [sorted(block) for block in blocks if block]


def test_no_pattern_ever_drives_two_channels_of_one_circuit():
    rng = random.Random(3)
    for _ in range(100):
        circuits = _components(40, rng)
        home = {channel: i for i, circuit in enumerate(circuits) for channel in circuit}
        for pattern in quick_check(circuits):
            assert len({home[channel] for channel in pattern}) == len(pattern)


@pytest.mark.parametrize("cavities", [50, 128, 256])
def test_pattern_counts_follow_the_formula(cavities):
    # design: ceil(log2 q) patterns when a lone cavity takes code zero, ceil(log2(q + 1)) when none does
    for lone in (0, 1, 2, cavities // 2, cavities):
        pairs = (cavities - lone) // 2
        circuits = [[2 * i, 2 * i + 1] for i in range(pairs)]
        circuits += [[c] for c in range(2 * pairs, cavities)]
        q = len(circuits)
        has_lone = any(len(c) == 1 for c in circuits)
        wanted = math.ceil(math.log2(q)) if has_lone else math.ceil(math.log2(q + 1))
        assert len(quick_check(circuits)) == wanted == pattern_count(q, sum(len(c) == 1 for c in circuits))


def test_codes_are_all_different_and_only_a_lone_channel_takes_zero():
    codes = assign_codes([[1, 2], [3], [4], [5, 6, 7]])
    assert len(set(codes)) == 4
    assert codes[0] and codes[3] and codes.count(0) == 1


def test_a_channel_in_two_circuits_and_an_empty_circuit_are_refused():
    with pytest.raises(ValueError, match="exactly one circuit"):
        quick_check([[1, 2], [2, 3]])
    with pytest.raises(ValueError, match="empty"):
        quick_check([[1], []])
    with pytest.raises(ValueError, match="lone"):
        pattern_count(2, 3)


def test_the_watch_pattern_shows_every_pure_open():
    for wanted in partitions(list(range(6))):
        pattern = [watch_pattern(wanted)]
        for real in partitions(list(range(6))):
            opened = real != wanted and all(any(set(b) <= set(w) for w in wanted) for b in real)
            if opened:
                assert not agrees(wanted, range(6), pattern, read_patterns(real, pattern))


def test_differing_names_the_channels_that_read_wrong():
    wanted = [[0, 1], [2, 3], [4]]
    driven = quick_check(wanted)
    assert differing(wanted, range(5), driven, read_patterns(wanted, driven)) == ()
    assert 1 in differing(wanted, range(5), driven, read_patterns([[0], [1], [2, 3], [4]], driven))


def test_a_touch_between_any_two_held_channels_shows_on_both_when_they_are_let_go():
    """Each of the two must be let go in a step that leaves the other driven; a step takes one group of 16."""
    rng = random.Random(16)
    for count in (1, 2, 3, 7, 16, 17, 40, 128, 256):
        held = sorted(rng.sample(range(1, 257), count))
        lists = let_go_lists(held)
        steps = [{c for c in one if (c - 1) // 16 == group} for one in lists for group in range(16)]
        assert let_go_steps(lists) == sum(map(bool, steps)) and len(lists) <= 6
        alone = {(a, b) for step in steps for a in step for b in held if b not in step}
        assert alone == {(a, b) for a in held for b in held if a != b}
        assert {c for one in lists for c in one} == set(held)
    assert let_go_lists([]) == []
