"""Rounds at their limits: the first cavity, neighbours in order, either way round."""

import pytest

from tester.harness.reading import Link, OhmsReading, PartReading
from tester.scan import ChannelLinks, Round, combine, decode_walk, unanchored


def links(*rows: int) -> ChannelLinks:
    channels = range(1, len(rows) + 1)
    return decode_walk(channels, channels, rows)


def test_two_rounds_of_one_cavity_each_never_saw_them_together():
    measured = combine([(links(1), {1: "A-1"}), (links(1), {1: "B-1"})])
    assert measured.not_seen == {("A-1", "B-1")}
    assert measured.rounds == 2 and measured.unanchored == (1,)


def test_of_three_rounds_every_two_circuits_are_not_seen_together_by_their_first_cavities():
    joined = links(0b11, 0b11)
    rounds = [(joined, {1: f"{x}-2", 2: f"{x}-1"}) for x in "CAB"]
    measured = combine(rounds)
    assert measured.not_seen == {("A-1", "B-1"), ("A-1", "C-1"), ("B-1", "C-1")}
    assert not measured.doubtful and not measured.directed


def test_any_cavity_of_a_circuit_that_met_another_circuit_shows_both():
    joined, apart = links(0b11, 0b11), links(0b01, 0b10)
    measured = combine([(joined, {1: "A-1", 2: "A-2"}), (apart, {1: "A-2", 2: "B-1"}), (apart, {1: "B-1", 2: "C-1"})])
    assert measured.not_seen == {("A-1", "C-1")}
    assert measured.link("A-1", "B-1") is Link.APART and measured.link("A-2", "C-1") is Link.NOT_SEEN


@pytest.mark.parametrize("leads", [{1: "A-1", 2: "B-1"}, {1: "B-1", 2: "A-1"}])
def test_one_way_in_one_round_and_apart_in_another_is_doubtful_either_way_round(leads):
    measured = combine([(links(0b11, 0b10), leads), (links(0b01, 0b10), leads)])
    assert measured.doubtful == {("A-1", "B-1")} and not measured.directed and measured.proven == frozenset()


def test_one_way_links_both_ways_between_two_circuits_put_the_pairs_in_doubt_that_were_apart():
    # A-1 = A-2 and B-1 = B-2; A-1 pulls B-1 low and B-2 pulls A-2 low, each one way
    pairs = ChannelLinks((1, 2, 3, 4), frozenset({(1, 2), (3, 4)}), frozenset({(1, 3), (4, 2)}))
    measured = combine([(pairs, {1: "A-1", 2: "A-2", 3: "B-1", 4: "B-2"})])
    assert measured.doubtful == {("A-1", "B-2"), ("A-2", "B-1")} and not measured.directed


def test_one_way_links_from_all_of_a_circuit_are_kept_as_they_were_read():
    measured = combine([(links(0b111, 0b111, 0b100), {1: "A-1", 2: "A-2", 3: "B-1"})])
    assert measured.directed == {("A-1", "B-1"), ("A-2", "B-1")} and not measured.doubtful
    assert measured.proven == {"A-1", "A-2", "B-1"}


def test_a_one_way_link_of_a_circuit_with_a_wavering_pair_is_not_told():
    pairs = ChannelLinks((1, 2, 3), frozenset({(1, 2)}), frozenset({(1, 3)}), frozenset(), frozenset({(2, 3)}))
    measured = combine([(pairs, {1: "A-1", 2: "A-2", 3: "B-1"})])
    assert measured.doubtful == {("A-2", "B-1")} and not measured.directed


def test_a_pair_joined_through_a_third_that_conducts_one_way_is_doubtful():
    pairs = ChannelLinks((1, 2, 3), frozenset({(1, 2), (2, 3)}), frozenset({(3, 1)}))
    measured = combine([(pairs, {1: "A-1", 2: "A-2", 3: "A-3"})])
    assert measured.doubtful == {("A-1", "A-3")} and not measured.directed


def test_a_pair_joined_through_a_third_that_wavers_is_doubtful():
    pairs = ChannelLinks((1, 2, 3), frozenset({(1, 2), (2, 3)}), frozenset(), frozenset(), frozenset({(1, 3)}))
    assert combine([(pairs, {1: "A-1", 2: "A-2", 3: "A-3"})]).doubtful == {("A-1", "A-3")}


def part(first, again, ba=(None, None)):
    apart, leads = links(0b01, 0b10), {1: "A-1", 2: "B-1"}
    rounds = [Round(apart, leads, (PartReading("A-1", "B-1", x, y),)) for x, y in zip((first, again), ba, strict=True)]
    [found] = combine(rounds, grade="wire").parts
    return found


@pytest.mark.parametrize(("again", "stable"), [(1051.0, True), (1051.5, False), (1000.0, True), (949.0, False)])
def test_a_part_may_read_five_per_cent_and_an_ohm_otherwise_in_a_later_round(again, stable):
    # 5 % of the lower 1,000 ohm and 1 ohm are 51 ohm; 5 % of 949 ohm and 1 ohm are 48.45 ohm
    for first, second in ((1000.0, again), (again, 1000.0)):
        found = part(first, second)
        assert found.stable == stable and found.ohms_ab == first


def test_both_ways_of_a_part_must_read_alike_in_a_later_round():
    assert part(465.0, 465.0, (1000.0, 1001.0)).stable
    assert not part(465.0, 465.0, (1000.0, 2000.0)).stable
    assert not part(465.0, 465.0, (None, 2000.0)).stable


def test_a_part_proves_the_leads_at_its_ends_and_the_grade_is_kept():
    apart = Round(links(0b001, 0b010, 0b100), {1: "A-1", 2: "B-1", 3: "C-1"}, (PartReading("A-1", "C-1", 9.0, 9.0),))
    measured = combine([apart], grade="wire")
    assert measured.proven == {"A-1", "C-1"} and measured.grade == "wire"
    assert combine([apart]).grade == "scan" and combine([apart]).rounds == 1


def test_ohms_are_kept_by_pair_in_cavity_order_the_last_round_counting():
    def one(ohms):
        return Round(links(0b11, 0b11), {1: "A-10", 2: "A-9"}, (), (OhmsReading("A-10", "A-9", ohms, 0.1),))

    assert {key: r.ohms for key, r in combine([one(1.0), one(2.0)]).ohms.items()} == {("A-9", "A-10"): 2.0}


def test_a_round_is_anchored_by_a_joined_pair_of_any_earlier_round_under_other_channels():
    first = Round(links(0b11, 0b11), {1: "A-1", 2: "B-1"})
    second = Round(links(0b11, 0b11), {1: "C-1", 2: "D-1"})
    third = Round(links(0b011, 0b011, 0b100), {1: "B-1", 2: "A-1", 3: "E-1"})
    assert unanchored([first, second, third]) == (1,)
    assert unanchored([second, second]) == () and unanchored([first]) == ()
