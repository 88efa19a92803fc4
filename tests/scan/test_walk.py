"""Decoding of walks, and merging of repeats."""

import random

import networkx as nx
import pytest

from tester.scan import decode_walk, merge_repeats
from tests.scan.boards import rows_of


def test_low_both_ways_is_joined():
    links = decode_walk([1, 2, 3], [1, 2, 3], [0b011, 0b011, 0b100])
    assert links.joined == {(1, 2)}
    assert not links.directed and not links.doubtful and not links.silent


def test_low_one_way_is_a_directed_link():
    links = decode_walk([1, 2], [1, 2], [0b11, 0b10])
    assert links.directed == {(1, 2)}
    assert not links.joined


def test_the_order_of_reading_and_driving_does_not_matter():
    links = decode_walk([30, 10, 20], [20, 30, 10], [0b010, 0b101, 0b101])
    assert links.joined == {(10, 20)}
    assert links.points == (10, 20, 30)
    assert not links.silent


def test_joined_to_a_common_channel_and_yet_not_joined_is_doubtful():
    links = decode_walk([1, 2, 3], [1, 2, 3], [0b011, 0b111, 0b110])
    assert links.joined == {(1, 2), (2, 3)}
    assert links.doubtful == {(1, 3)}


def test_a_channel_that_does_not_read_its_own_low_is_silent():
    assert decode_walk([4, 9], [4, 9], [0b00, 0b10]).silent == {4}


def test_a_walk_that_drives_less_than_it_reads_is_refused():
    with pytest.raises(ValueError, match="exactly the channels"):
        decode_walk([1], [1, 2], [0b11])
    with pytest.raises(ValueError, match="rows read"):
        decode_walk([1, 2], [1, 2], [0b11])
    with pytest.raises(ValueError, match="beyond"):
        decode_walk([1, 2], [1, 2], [0b111, 0b10])
    with pytest.raises(ValueError, match="each once"):
        decode_walk([1, 1], [1, 2], [0b11, 0b11])


def test_equal_repeats_merge_to_the_same_answer():
    once = decode_walk([1, 2, 3], [1, 2, 3], [0b011, 0b011, 0b110])
    assert merge_repeats([once, once, once]) == once


def test_a_pair_that_answers_differently_once_stays_in_doubt_whatever_the_majority():
    joined = decode_walk([1, 2], [1, 2], [0b11, 0b11])
    apart = decode_walk([1, 2], [1, 2], [0b01, 0b10])
    one_way = decode_walk([1, 2], [1, 2], [0b11, 0b10])
    other_way = decode_walk([1, 2], [1, 2], [0b01, 0b11])
    for mixture in (
        [joined, joined, apart],
        [apart, joined],
        [one_way, apart],
        [one_way, other_way],
        [joined, one_way],
    ):
        merged = merge_repeats(mixture)
        assert merged.doubtful == merged.varied == {(1, 2)}
        assert not merged.joined and not merged.directed


def test_a_stable_one_way_link_stays_directed():
    one_way = decode_walk([1, 2], [1, 2], [0b11, 0b10])
    assert merge_repeats([one_way, one_way]).directed == {(1, 2)}
    turned = decode_walk([1, 2], [1, 2], [0b01, 0b11])
    assert merge_repeats([turned, turned]).directed == {(2, 1)}


def test_a_repeat_of_some_channels_counts_for_their_pairs_only():
    whole = decode_walk([1, 2, 3], [1, 2, 3], [0b111, 0b111, 0b111])
    some = decode_walk([1, 3], [1, 3], [0b01, 0b10])
    merged = merge_repeats([whole, some])
    assert merged.joined == {(1, 2), (2, 3)}
    assert merged.varied == {(1, 3)}
    assert merged.doubtful == {(1, 3)}


def test_doubt_of_an_earlier_merge_is_not_forgotten():
    joined = decode_walk([1, 2], [1, 2], [0b11, 0b11])
    apart = decode_walk([1, 2], [1, 2], [0b01, 0b10])
    assert merge_repeats([merge_repeats([joined, apart]), joined]).varied == {(1, 2)}


def test_channels_to_repeat_are_those_in_doubt_and_those_that_conduct_one_way():
    links = decode_walk([1, 2, 3, 4, 5], [1, 2, 3, 4, 5], [0b00011, 0b00111, 0b00110, 0b01000, 0b11000])
    assert links.directed == {(5, 4)}
    assert links.to_repeat() == (1, 3, 4, 5)


def test_nothing_to_merge_is_an_error():
    with pytest.raises(ValueError, match="no scan"):
        merge_repeats([])


def test_random_harnesses_decode_to_the_components_that_networkx_finds():
    rng = random.Random(20240611)
    for _ in range(300):
        n = rng.randint(1, 64)
        graph = nx.gnm_random_graph(n, rng.randint(0, n), seed=rng.randrange(2**30))
        links = decode_walk(range(n), range(n), rows_of(nx.connected_components(graph), n))
        seen = nx.Graph(list(links.joined))
        seen.add_nodes_from(range(n))
        assert sorted(map(sorted, nx.connected_components(seen))) == sorted(map(sorted, nx.connected_components(graph)))
        assert not links.doubtful and not links.directed
