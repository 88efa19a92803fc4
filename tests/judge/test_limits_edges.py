"""Limits, isolation and facts at their limits."""

import pytest

from tester.harness.expected import ExpectedLink, PathWire
from tester.harness.reading import OhmsReading
from tester.judge import JudgeFacts, WatchResult, checks_of
from tester.judge.isolation import judge_isolation, reach_of, scan_reach, surely_seen
from tester.judge.limits import judge_links, limit_of
from tests.judge.benches import circuits, expect, measured

GOOD = "D-1 H-1 | D-2 H-2 | D-3"


def test_the_allowances_are_written_in_milliohm_with_their_numbers():
    one = limit_of(ExpectedLink("D-1", "H-1", size_mm2=0.5, length_m=1.5), {})
    assert one.source.endswith("; 2 contacts at 10 mohm, 2 crimps or splices at 5 mohm (common practice)")
    path = (PathWire("W1", 0.5, 1.0), PathWire("W2", 0.5, 1.0))
    more = limit_of(
        ExpectedLink("D-1", "H-1", path=path, splices=1, contacts=3), {"joint_ohms": 0.25, "contact_ohms": 0.5}
    )
    assert more.source.endswith("; 3 contacts at 500 mohm, 5 crimps or splices at 250 mohm (common practice)")
    assert more.ohms == pytest.approx(2 * 0.039 + 3 * 0.5 + 5 * 0.25) and more.nominal == pytest.approx(2 * 0.039)


def test_an_existing_link_without_uncertainty_may_rise_by_the_fixed_amounts_alone():
    limit = limit_of(ExpectedLink("D-1", "H-1", found_ohms=0.4), {})
    assert limit.ohms == pytest.approx(0.4 + 0.05 + 0.02) and limit.nominal == 0.4
    assert limit.source == "as found 0.4 ohm plus 0.07 ohm (common practice)"


def test_a_link_of_which_nothing_is_known_has_no_nominal():
    assert limit_of(ExpectedLink("D-1", "H-1"), {}).nominal == 0.0
    own = limit_of(ExpectedLink("D-1", "H-1", limit_ohms=0.0, source="drawing", found_ohms=0.1), {})
    assert (own.ohms, own.source, own.nominal) == (0.0, "drawing", 0.1)


def links(*which, blocked=(), ohms=(), checks=("continuity",), **more):
    expected = expect(GOOD, links=which, checks=checks, **more)
    readings = {(a, b): OhmsReading(a, b, value, 0.01) for a, b, value in ohms}
    found = judge_links(expected, circuits(GOOD), measured(GOOD, ohms=readings), blocked)
    return (
        [one.result for one in found.results],
        [f.sits + f.belongs for f in found.faults],
        [n for n, _ in found.untested],
    )


def test_a_link_is_judged_where_neither_end_is_blocked_and_both_are_known():
    own = ExpectedLink("D-1", "H-1", limit_ohms=0.3)
    high = [("D-1", "H-1", 0.9)]
    assert links(own, ohms=high) == (["fail"], [("D-1", "H-1")], [])
    for name in ("D-1", "H-1"):
        assert links(own, ohms=high, blocked=[name]) == ([], [], [])
    assert links(ExpectedLink("D-1", "X-1", limit_ohms=0.3), ohms=[("D-1", "X-1", 0.9)]) == ([], [], [])


def test_a_link_too_close_to_its_limit_leaves_both_ends_untested():
    own = ExpectedLink("D-1", "H-1", limit_ohms=0.3)
    assert links(own, ohms=[("D-1", "H-1", 0.31)]) == (["too close to call"], [], ["D-1", "H-1"])
    assert links(own, ohms=[("D-1", "H-1", 0.27)]) == (["pass"], [], [])


def test_a_link_that_reads_below_zero_is_untested_since_its_leads_were_calibrated_on_a_bad_contact():
    """1.5 ohm of a bad plug contact taken off hides 1 ohm of a bad crimp; 20 mohm come from plugging again."""
    own = ExpectedLink("D-1", "H-1", limit_ohms=0.3)
    assert links(own, ohms=[("D-1", "H-1", -0.5)]) == (["below zero"], [], ["D-1", "H-1"])
    assert links(own, ohms=[("D-1", "H-1", -0.041)])[0] == ["below zero"]
    assert links(own, ohms=[("D-1", "H-1", -0.039)])[0] == ["pass"]


def test_a_link_without_reading_is_untested_where_resistance_is_asked_for_and_the_next_is_still_judged():
    both = (ExpectedLink("D-1", "H-1"), ExpectedLink("D-2", "H-2"))
    asked = links(*both, ohms=[("D-2", "H-2", 5.0)], checks=("resistance",))
    assert asked == (["", "fail"], [("D-2", "H-2")], ["D-1", "H-1"])
    assert links(*both, ohms=[("D-2", "H-2", 5.0)]) == ([], [], [])


@pytest.mark.parametrize(
    ("points", "ohms"),
    [(2, 66e3), (3, 12.5e3), (6, 12.5e3), (7, 5.7e3), (11, 5.7e3), (12, 2.3e3), (21, 2.3e3), (22, 1.2e3), (31, 1.2e3),
     (32, 340.0), (51, 340.0), (52, 120.0), (61, 120.0), (62, 0.0)],
)  # fmt: skip
def test_each_deck_counts_up_to_its_number_of_points(points, ohms):
    assert surely_seen(points) == ohms


def test_the_second_largest_circuit_and_the_driver_set_the_reach_of_a_scan():
    assert scan_reach(circuits("A-1 A-2 A-3 A-4 A-5 A-6 A-7 | B-1 | C-1")) == 66e3
    assert scan_reach(circuits("A-1 A-2 A-3 A-4 A-5 A-6 | B-1 B-2 B-3 B-4 B-5 B-6")) == 5.7e3
    assert scan_reach(circuits("A-1 A-2")) == 66e3 == scan_reach(circuits("A-1"))


def leaks(lowest, limit=1e6, blocked=()):
    limits = {} if limit is None else {"isolation_ohms": limit}
    found = judge_isolation(expect(GOOD, limits=limits), circuits(GOOD), lowest, blocked)
    return [(f.sits, f.values["ohms"], f.values["limit_ohms"], f.explanation) for f in found]


def test_a_leak_of_exactly_the_limit_is_allowed_and_one_below_it_is_not():
    assert leaks({"D-1": 1e6, "D-2": 1e6 - 1}) == [(("D-2", "H-2"), 1e6 - 1, 1e6, 0)]


def test_no_leak_is_told_without_limit_reading_or_cavity_and_of_circuits_that_are_wrong_anyway():
    low = {"X-1": 5.0, "D-1": None, "D-2": 5.0, "D-3": 7.0}
    assert [sits for sits, *_ in leaks(low)] == [("D-2", "H-2"), ("D-3",)]
    assert leaks(low, limit=None) == []
    assert [sits for sits, *_ in leaks(low, blocked=["H-2"])] == [("D-3",)]


def test_the_weakest_of_what_the_converter_could_see_and_did_see_ends_the_reach():
    every = {"D-1": None, "D-2": None, "D-3": None}
    netlist = circuits(GOOD)
    assert reach_of(netlist, every, 3e6) == 3e6
    assert reach_of(netlist, every | {"D-2": 4e5, "D-3": 5e5}, 3e6) == 4e5
    assert reach_of(netlist, every | {"D-2": 4e6}, 3e6) == 3e6
    assert reach_of(netlist, {"D-1": None, "D-2": None}, 3e6) == 12.5e3 == reach_of(netlist, {}, 3e6)
    assert reach_of(netlist, {"H-1": None, "H-2": None, "D-3": None, "X-1": None}, 1e3) == 12.5e3


def test_a_watch_that_was_not_made_has_seen_nothing():
    assert WatchResult() == WatchResult((), 0.0, 0.0, 0.0, True, None)
    facts = JudgeFacts()
    assert not facts.stale and not facts.watch_stale and facts.watch is None and facts.isolation_seen_to == 0
    assert facts.can == checks_of(["scan"]) == {"continuity", "isolation", "direction"}
    assert (
        checks_of([]) == set() and checks_of(["watch"]) == {"dropout"} and checks_of(["resistance"]) == {"resistance"}
    )
