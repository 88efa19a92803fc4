"""Walks and repeats at their limits."""

import pytest

from tester.scan import ChannelLinks, bits, decode_walk, merge_repeats
from tester.scan.walk import components, transposed


def test_bits_are_counted_from_the_lowest():
    assert list(bits(0)) == [] and list(bits(0b1)) == [0] and list(bits(0b101001)) == [0, 3, 5]


def test_components_of_a_chain_are_one_whatever_the_order_of_its_links():
    # 0 - 2, 2 - 1; 3 alone
    assert components([0b0100, 0b0100, 0b0011, 0b0000]) == [0b0111, 0b1000]
    assert components([]) == []


def test_a_transposed_matrix_has_rows_and_columns_exchanged():
    assert transposed([0b110, 0b000, 0b001]) == [0b100, 0b001, 0b001]


def test_a_pair_joined_to_a_third_that_comes_last_is_doubtful():
    assert decode_walk([1, 2, 3], [1, 2, 3], [0b101, 0b110, 0b111]).doubtful == {(1, 2)}


def test_of_a_long_chain_every_pair_that_is_not_joined_itself_is_doubtful():
    links = decode_walk([1, 2, 3, 4], [1, 2, 3, 4], [0b0011, 0b0111, 0b1110, 0b1100])
    assert links.doubtful == {(1, 3), (1, 4), (2, 4)} and links.varied == frozenset()


def test_a_bit_beyond_the_channels_is_refused_in_whatever_order_they_are_read():
    for read in ([1, 2], [2, 1]):
        with pytest.raises(ValueError, match="beyond"):
            decode_walk([1, 2], read, [0b001, 0b100])
    assert decode_walk([2, 1], [2, 1], [0b11, 0b11]).joined == {(1, 2)}


def test_a_channel_driven_and_read_twice_is_refused():
    with pytest.raises(ValueError, match="each once"):
        decode_walk([1, 1], [1, 1], [0b11, 0b11])


def test_silent_channels_are_those_that_miss_their_own_low_alone():
    assert decode_walk([1, 2, 3], [1, 2, 3], [0b011, 0b001, 0b100]).silent == {2}
    assert decode_walk([1, 2, 3], [3, 1, 2], [0b010, 0b100, 0b001]).silent == frozenset()


def test_repeats_of_different_channels_count_each_pair_where_it_was_seen():
    one = decode_walk([1, 2], [1, 2], [0b11, 0b11])
    other = decode_walk([2, 3], [2, 3], [0b11, 0b10])
    merged = merge_repeats([one, other])
    assert merged.points == (1, 2, 3)
    assert merged.joined == {(1, 2)} and merged.directed == {(2, 3)} and not merged.varied and not merged.doubtful


def test_merging_keeps_silent_channels_and_what_is_joined_only_through_a_third():
    chain = decode_walk([1, 2, 3], [1, 2, 3], [0b010, 0b111, 0b110])
    silent = ChannelLinks((1, 2, 3), frozenset({(1, 2), (2, 3)}), silent=frozenset({1}))
    both = merge_repeats([silent, silent])
    assert chain.silent == {1} and both.silent == {1} and both.doubtful == {(1, 3)} and both.varied == frozenset()


def test_one_scan_alone_is_its_own_answer():
    chain = decode_walk([1, 2, 3], [1, 2, 3], [0b011, 0b111, 0b110])
    assert merge_repeats([chain]) == chain


def test_a_pair_that_varied_once_stays_in_doubt_though_it_is_not_repeated_or_answers_later():
    doubt = ChannelLinks((1, 2), frozenset(), frozenset(), frozenset({(1, 2)}), frozenset({(1, 2)}))
    joined = decode_walk([1, 2], [1, 2], [0b11, 0b11])
    elsewhere = decode_walk([3, 4], [3, 4], [0b01, 0b10])
    for later in (joined, elsewhere, doubt):
        merged = merge_repeats([doubt, later])
        assert merged.varied == merged.doubtful == {(1, 2)} and not merged.joined


def test_nothing_is_repeated_of_a_clean_scan():
    assert decode_walk([1, 2, 3], [1, 2, 3], [0b011, 0b011, 0b100]).to_repeat() == ()
