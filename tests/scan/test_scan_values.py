"""Values that the scan hands on cannot be changed by whoever gets them, and netlists and readings at their limits."""

import dataclasses

import pytest

from tester.harness.netlist import Joiner, Netlist, pair
from tester.harness.reading import Link, Measured, PartReading
from tester.scan import ChannelLinks, PairOhms, Touch


@pytest.mark.parametrize("cls", [ChannelLinks, PairOhms, Touch, Netlist, Measured, PartReading])
def test_a_value_refuses_to_be_changed(cls):
    for field in dataclasses.fields(cls):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(object.__new__(cls), field.name, None)


def test_a_pair_is_in_cavity_order_whichever_comes_first():
    assert pair("D-10", "D-2") == ("D-2", "D-10") == pair("D-2", "D-10")
    assert pair("D-2", "D-2") == ("D-2", "D-2")


def test_cavities_in_two_circuits_are_named_and_no_others():
    with pytest.raises(ValueError, match=r"^in more than one circuit: D-2, D-10$"):
        Netlist.of([["D-1", "D-10", "D-2"], ["D-2", "D-3"], ["D-10"]])
    assert Netlist.of([["D-1", "D-1"]]).circuits == (("D-1",),)


def test_a_netlist_is_canonical_and_adds_lone_cavities_that_no_circuit_names():
    netlist = Netlist.of([["D-10", "D-2"], [], ["C-3"]], ["D-2", "A-1", "D-3"])
    assert netlist.circuits == (("A-1",), ("C-3",), ("D-2", "D-10"), ("D-3",))
    assert netlist.lone() == ("A-1", "C-3", "D-3") and netlist.cavities == ("A-1", "C-3", "D-2", "D-3", "D-10")
    assert netlist.partners("D-2") == ("D-10",) and netlist.partners("A-1") == ()
    assert "D-10" in netlist and "D-11" not in netlist and list(netlist) == list(netlist.circuits)
    assert netlist.joined("D-2", "D-10") and not netlist.joined("D-2", "D-3")
    with pytest.raises(KeyError):
        netlist.circuit_of("D-11")


def test_links_join_through_others_and_leave_the_rest_lone():
    netlist = Netlist.from_links([("A-1", "A-2"), ("A-3", "A-4"), ("A-2", "A-3"), ("A-1", "A-4")], ["A-1", "A-5"])
    assert netlist.circuits == (("A-1", "A-2", "A-3", "A-4"), ("A-5",))
    assert netlist.restricted(["A-4", "A-1", "A-9"]).circuits == (("A-1", "A-4"),)


def test_a_joiner_joins_what_it_has_not_seen_before():
    joiner = Joiner(["a"])
    joiner.join("b", "c")
    joiner.join("c", "d")
    assert joiner.joined("b", "d") and not joiner.joined("a", "b")
    assert sorted(map(sorted, joiner.circuits())) == [["a"], ["b", "c", "d"]]


def reading(**more):
    netlist = Netlist.of([["A-1", "A-2"], ["B-1", "B-2"], ["C-1"]])
    return Measured(netlist, **{key: frozenset(value) for key, value in more.items()})


def test_a_scan_is_one_round_at_scan_grade_unless_said():
    one = reading()
    assert (one.rounds, one.grade, one.unanchored, one.parts, dict(one.ohms)) == (1, "scan", (), (), {})
    assert PartReading("A-1", "B-1", 1.0, 1.0).stable


@pytest.mark.parametrize("pair_", [("A-1", "B-2"), ("B-2", "A-1")])
def test_doubt_and_blindness_between_two_circuits_hold_for_all_their_cavities_either_way(pair_):
    for kind, answer in (("doubtful", Link.DOUBTFUL), ("not_seen", Link.NOT_SEEN)):
        seen = reading(**{kind: [pair_]})
        for a in ("A-1", "A-2"):
            for b in ("B-1", "B-2"):
                assert seen.link(a, b) is seen.link(b, a) is answer
            assert seen.link(a, "C-1") is seen.link("C-1", a) is Link.APART
        assert seen.link("A-1", "A-2") is Link.JOINED and seen.link("B-1", "C-1") is Link.APART


def test_doubt_within_a_circuit_is_of_all_its_pairs_and_of_no_pair_with_another():
    seen = reading(doubtful=[("A-1", "A-2")])
    assert seen.link("A-2", "A-1") is Link.DOUBTFUL
    assert seen.link("A-1", "B-1") is Link.APART and seen.link("B-1", "B-2") is Link.JOINED


def test_a_reading_of_fewer_cavities_keeps_pairs_by_what_is_left_of_their_circuits():
    seen = reading(
        doubtful=[("A-1", "B-1")], directed=[("C-1", "A-1")], not_seen=[("B-1", "C-1")], proven=["A-1", "B-2"]
    )
    fewer = seen.restricted(["A-2", "B-2"])
    assert fewer.netlist.circuits == (("A-2",), ("B-2",))
    assert fewer.doubtful == {("A-2", "B-2")} and not fewer.directed and not fewer.not_seen
    assert fewer.proven == {"B-2"}
    assert seen.restricted(["C-1", "A-1"]).directed == {("C-1", "A-1")}
    assert seen.restricted(["A-1", "A-2", "B-1", "B-2", "C-1", "D-1"]) is seen
