"""A reading seen on some cavities only."""

from tester.harness.netlist import Netlist
from tester.harness.reading import Link
from tests.judge.benches import measured


def test_a_pair_counts_when_a_cavity_of_each_of_its_circuits_is_left():
    seen = measured("D-1 H-1 | D-2 H-2 | D-3", doubtful=[("H-1", "D-2")], not_seen=[("D-1", "D-3")], touched=["D-3"])
    some = seen.restricted(["D-1", "D-2", "H-2"])
    assert some.netlist == Netlist.of([["D-1"], ["D-2", "H-2"]])
    assert some.doubtful == {("D-1", "D-2")} and some.not_seen == frozenset()
    assert some.proven == {"D-1", "D-2", "H-2"}
    assert some.link("D-1", "H-2") is Link.DOUBTFUL


def test_one_way_links_keep_their_direction_and_pairs_without_a_cavity_left_are_gone():
    seen = measured("D-1 H-1 | D-2 H-2 | D-3", directed=[("H-1", "H-2"), ("D-3", "D-2")])
    assert seen.restricted(["D-1", "D-2"]).directed == {("D-1", "D-2")}
    assert seen.restricted(["D-3", "H-2"]).directed == {("D-3", "H-2")}
    assert seen.restricted(["D-3"]).directed == frozenset()


def test_all_cavities_give_the_reading_itself():
    seen = measured("D-1 H-1 | D-2")
    assert seen.restricted(["D-2", "D-1", "H-1"]) is seen
