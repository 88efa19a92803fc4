"""Rounds combined into one three-valued reading."""

import pytest

from tester.harness.netlist import Netlist
from tester.harness.reading import Link, PartReading
from tester.scan import ChannelLinks, Round, combine, decode_walk, unanchored
from tests.scan.covers import check_coverings


def _links(*rows: int) -> ChannelLinks:
    channels = range(1, len(rows) + 1)
    return decode_walk(channels, channels, rows)


def test_one_round_names_cavities_for_channels():
    measured = combine([(_links(0b011, 0b011, 0b100), {1: "D-1", 2: "H-11", 3: "D-2"})])
    assert measured.netlist == Netlist.of([["D-1", "H-11"], ["D-2"]])
    assert measured.proven == {"D-1", "H-11"}
    assert measured.link("D-1", "D-2") is Link.APART


def test_circuits_join_over_rounds_and_are_apart_where_any_cross_pair_was_seen_apart():
    first = (_links(0b11, 0b11), {1: "A-1", 2: "B-1"})
    second = (_links(0b011, 0b011, 0b100), {1: "B-1", 2: "C-1", 3: "C-2"})
    measured = combine([first, second])
    assert measured.netlist == Netlist.of([["A-1", "B-1", "C-1"], ["C-2"]])
    assert measured.link("A-1", "C-2") is Link.APART
    assert measured.not_seen == frozenset()


def test_a_pair_that_no_round_had_on_leads_is_not_seen():
    measured = combine([(_links(0b01, 0b10), {1: "A-1", 2: "B-1"}), (_links(0b01, 0b10), {1: "B-1", 2: "C-1"})])
    assert measured.not_seen == {("A-1", "C-1")}
    assert measured.link("C-1", "A-1") is Link.NOT_SEEN


def test_rounds_that_contradict_each_other_are_doubtful():
    joined = (_links(0b11, 0b11), {1: "A-1", 2: "B-1"})
    apart = (_links(0b01, 0b10), {1: "A-1", 2: "B-1"})
    measured = combine([joined, apart])
    assert measured.doubtful == {("A-1", "B-1")}
    assert measured.link("A-1", "B-1") is Link.DOUBTFUL


def test_a_directed_link_keeps_its_direction_and_proves_both_leads():
    measured = combine([(_links(0b11, 0b10), {1: "A-1", 2: "B-1"})])
    assert measured.directed == {("A-1", "B-1")}
    assert measured.proven == {"A-1", "B-1"}
    assert measured.netlist == Netlist.of([["A-1"], ["B-1"]])


def test_a_link_that_conducts_one_way_from_one_cavity_of_a_circuit_only_is_doubtful():
    # 1 and 2 are joined; 3 follows 1 but not 2
    measured = combine([(_links(0b111, 0b011, 0b100), {1: "A-1", 2: "A-2", 3: "B-1"})])
    assert not measured.directed
    assert measured.doubtful == {("A-2", "B-1")}


def test_directed_in_one_round_and_apart_in_another_is_doubtful():
    leads = {1: "A-1", 2: "B-1"}
    measured = combine([(_links(0b11, 0b10), leads), (_links(0b01, 0b10), leads)])
    assert not measured.directed
    assert measured.doubtful == {("A-1", "B-1")}


def test_one_way_and_the_other_way_in_another_round_is_doubtful():
    leads = {1: "A-1", 2: "B-1"}
    measured = combine([(_links(0b11, 0b10), leads), (_links(0b01, 0b11), leads)])
    assert not measured.directed
    assert measured.doubtful == {("A-1", "B-1")}


def test_a_pair_that_varied_is_doubtful_and_never_joins_or_points():
    varied = ChannelLinks((1, 2), frozenset(), frozenset(), frozenset({(1, 2)}), frozenset({(1, 2)}))
    measured = combine([(varied, {1: "A-1", 2: "B-1"})])
    assert measured.doubtful == {("A-1", "B-1")}
    assert measured.link("A-1", "B-1") is Link.DOUBTFUL
    assert measured.proven == frozenset()


def test_touching_proves_a_lead_that_joins_nothing():
    measured = combine([(_links(0b01, 0b10), {1: "A-1", 2: "B-1"})], touched=["A-1", "X-9"])
    assert measured.proven == {"A-1"}


def test_a_round_without_a_joined_pair_seen_before_is_not_anchored():
    first = Round(_links(0b011, 0b011, 0b100), {1: "A-1", 2: "B-1", 3: "C-1"})
    again = Round(_links(0b11, 0b11), {1: "A-1", 2: "B-1"})
    other = Round(_links(0b01, 0b10), {1: "A-1", 2: "C-1"})
    assert unanchored([first, again]) == ()
    assert unanchored([first, other, again]) == (1,)
    measured = combine([first, other])
    assert measured.unanchored == (1,)
    assert measured.rounds == 2


def test_wrong_lead_maps_are_refused():
    links = _links(0b01, 0b10)
    with pytest.raises(ValueError, match="two channels"):
        combine([(links, {1: "A-1", 2: "A-1"})])
    with pytest.raises(ValueError, match="not in the lead map"):
        combine([(links, {1: "A-1"})])
    with pytest.raises(ValueError, match="no round"):
        combine([])


def _with_part(leads, part):
    return Round(_links(*(1 << i for i in range(len(leads)))), dict(enumerate(leads, 1)), (part,))


def test_a_part_seen_in_two_rounds_under_other_cavities_is_one_part():
    joined = Round(_links(0b11, 0b11), {1: "A-1", 2: "A-2"})
    first = _with_part(["A-1", "B-1"], PartReading("A-1", "B-1", 465.0, None))
    again = _with_part(["B-1", "A-2"], PartReading("B-1", "A-2", None, 466.0))
    [part] = combine([joined, first, again], grade="wire").parts
    assert part == PartReading("A-1", "B-1", 465.0, None)


@pytest.mark.parametrize(("ab", "ba", "stable"), [(None, 900.0, True), (466.0, None, True), (None, 465.0, False)])
def test_a_part_that_reads_otherwise_in_a_later_round_is_not_stable(ab, ba, stable):
    joined = Round(_links(0b11, 0b11), {1: "A-1", 2: "A-2"})
    first = _with_part(["A-1", "B-1"], PartReading("A-1", "B-1", 465.0, None))
    other = _with_part(["B-1", "A-2"], PartReading("B-1", "A-2", ab, ba, None, stable))
    [part] = combine([joined, first, other], grade="wire").parts
    assert not part.stable and part.ohms_ab == 465.0


def test_random_coverings_equal_brute_force():
    tally = check_coverings(600, seed=11)
    assert all(tally.values()), f"the sample must hold every kind of answer: {tally}"
