"""Branches at their limits: how many pairs, which group, what does not fit."""

from itertools import combinations

import pytest

from tester.harness.expected import ExpectedLink, PathWire
from tester.harness.netlist import pair
from tester.harness.reading import OhmsReading
from tester.judge import JudgeFacts, checks_of, judge
from tester.judge.branches import PairReading, solve_branches, splice_pairs
from tests.judge.benches import expect, measured

FULL = JudgeFacts(can=checks_of(["scan", "resistance"]))


def test_up_to_seven_cavities_every_pair_is_measured():
    for n in range(3, 8):
        names = [f"D-{i}" for i in range(n)]
        assert splice_pairs(names) == list(combinations(names, 2))


def test_of_more_cavities_each_is_measured_with_the_next_three_around():
    names = [f"D-{i}" for i in range(9)]
    around = {frozenset((a, b)) for a in range(9) for b in range(9) if (b - a) % 9 in (1, 2, 3)}
    assert {frozenset(int(name[2:]) for name in one) for one in splice_pairs(names)} == around
    assert splice_pairs(names) == sorted(splice_pairs(names)) and len(around) == 27


def test_a_branch_read_against_itself_out_and_back_counts_twice():
    [group] = solve_branches([PairReading(("a", "a"), 3.0, 0.2)]).groups
    assert group.alone == "a" and group.ohms == pytest.approx(1.5) and group.u_ohms == pytest.approx(0.1)


def test_readings_weigh_by_their_uncertainty_and_the_rest_is_left_over():
    # weights 100 and 25: (100 x 1.0 + 25 x 2.0) / 125 = 1.2; left over 0.2^2 x 100 + 0.8^2 x 25 = 20
    solved = solve_branches([PairReading(("a",), 1.0, 0.1), PairReading(("a",), 2.0, 0.2)])
    assert solved.groups[0].ohms == pytest.approx(1.2) and solved.freedom == 1
    assert solved.chi2 == pytest.approx(20.0) and solved.covariance[0][0] == pytest.approx(1 / 125)


def splice(readings, links, text="D-1 D-2 D-3", **more):
    """Faults of a splice with these readings {(a, b): ohms or (ohms, u)} and links."""
    values = {key: value if isinstance(value, tuple) else (value, 0.002) for key, value in readings.items()}
    ohms = {pair(a, b): OhmsReading(a, b, r, u) for (a, b), (r, u) in values.items()}
    expected = expect(text, checks=("continuity", "resistance"), links=tuple(links), **more)
    return judge(expected, measured(text, grade="wire", ohms=ohms), FULL).faults


def test_a_difference_of_two_branches_names_neither():
    # a + b and b + c are known, so a - c is: it may not be told as an excess of a and c
    links = [ExpectedLink("D-1", "D-2", limit_ohms=0.3), ExpectedLink("D-2", "D-3", limit_ohms=0.3)]
    [fault] = splice({("D-1", "D-2"): 2.0, ("D-2", "D-3"): 0.1}, links)
    assert (fault.action, set(fault.cavities)) == ("", {"D-1", "D-2"})
    both = splice({("D-1", "D-2"): 3.0, ("D-2", "D-3"): 1.0}, links)
    assert [fault.action for fault in both] == ["", ""]


def test_two_readings_over_one_wire_name_it_with_the_one_that_cannot_be_told_apart():
    # W1 + W2 and W1 + W3 are both 1 ohm too high: W1 + W3 is a sum, W2 - W3 has no excess
    ways = {"D-2": ("W1", "W2"), "D-3": ("W1", "W3")}
    links = [ExpectedLink("D-1", b, path=tuple(PathWire(w, 0.5, 1.0) for w in way)) for b, way in ways.items()]
    [fault] = splice({("D-1", "D-2"): 1.078, ("D-1", "D-3"): 1.078}, links, wires={"W1": ("D-1",), "W3": ("D-3",)})
    assert fault.action == "branches not told apart" and fault.sits == ("W1", "W3")
    assert fault.cavities == ("D-1", "D-3") and fault.values["ohms"] == pytest.approx(1.0, abs=1e-6)


def test_one_reading_alone_is_told_as_it_was_read():
    [fault] = splice({("D-1", "D-2"): 2.0}, [ExpectedLink("D-1", "D-2", limit_ohms=0.3)])
    assert fault.action == "" and fault.sits == ("D-1",) and fault.belongs == ("D-2",)


def test_a_reading_between_cavities_without_a_link_counts_whole_as_excess():
    # 0.1, 0.1 and 0.9 ohm: the pair D-2, D-3 has no link, so no nominal to take off its 1.0 ohm
    links = [ExpectedLink("D-1", "D-2", limit_ohms=0.3), ExpectedLink("D-1", "D-3", limit_ohms=0.3)]
    [fault] = splice({("D-1", "D-2"): 0.2, ("D-1", "D-3"): 1.0, ("D-2", "D-3"): 1.0}, links)
    assert fault.cavities == ("D-3",) and fault.values["ohms"] == pytest.approx(0.9)
    assert fault.values["limit_ohms"] == pytest.approx(0.3)


def test_a_reading_without_uncertainty_takes_no_part_in_the_tracing():
    links = [ExpectedLink("D-1", "D-3", limit_ohms=0.3)]
    readings = {("D-1", "D-2"): 0.2, ("D-1", "D-3"): 1.0, ("D-2", "D-3"): (1.0, 0.0)}
    [fault] = splice(readings, links)
    # two readings are left: D-1 and D-3 come out as their sum only
    assert fault.action == "branches not told apart" and fault.cavities == ("D-1", "D-3")


def test_readings_fit_a_splice_up_to_four_times_their_uncertainty_squared_a_degree_of_freedom():
    # six pairs of four cavities, two degrees of freedom; a third of d^2 of one reading is left over, so d = 4.8 u
    # leaves 7.7 and d = 5 u leaves 8.3 of the allowed 8
    text, names = "D-1 D-2 D-3 D-4", ["D-1", "D-2", "D-3", "D-4"]
    branch = dict.fromkeys(names, 0.1) | {"D-4": 0.9}
    links = [ExpectedLink(a, b, limit_ohms=0.5) for a, b in combinations(names, 2)]
    for off, action in ((4.8, "branch"), (5.0, "")):
        readings = {(a, b): (branch[a] + branch[b], 0.01) for a, b in combinations(names, 2)}
        readings["D-1", "D-2"] = (0.2 + off * 0.01, 0.01)
        assert {fault.action for fault in splice(readings, links, text)} == {action}, off
