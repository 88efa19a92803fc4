"""The branch with the excess, by least squares; scipy is the reference."""

import math
import random
from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from tester.harness.expected import ExpectedLink, PathWire
from tester.harness.netlist import pair
from tester.harness.reading import OhmsReading
from tester.judge import JudgeFacts, checks_of, judge
from tester.judge.branches import PairReading, solve_branches, splice_pairs
from tests.judge.benches import expect, kinds, measured

FULL = JudgeFacts(can=checks_of(["scan", "resistance"]))


def test_three_branches_of_a_splice_come_out_of_their_three_pairs():
    true = {"D-1": 0.1, "D-2": 0.2, "D-3": 1.4}
    readings = [PairReading((a, b), true[a] + true[b], 0.01) for a, b in splice_pairs(list(true))]
    solved = solve_branches(readings)
    assert {group.alone: round(group.ohms, 9) for group in solved.groups} == true
    assert solved.chi2 == pytest.approx(0, abs=1e-12) and solved.freedom == 0
    # each branch is (x + y - z) / 2 of three readings of u = 0.01: u = 0.01 x sqrt(3) / 2
    assert solved.groups[0].u_ohms == pytest.approx(0.01 * math.sqrt(3) / 2)


def test_a_tree_of_any_shape_agrees_with_scipy():
    rng = random.Random(23)
    for _ in range(40):
        leaves, ways = _tree(rng)
        true = {name: rng.uniform(0.01, 3) for name in {n for way in ways.values() for n in way}}
        readings = []
        for way in ways.values():
            u = rng.uniform(0.005, 0.05)
            readings.append(PairReading(way, sum(true[name] for name in way) + rng.gauss(0, u), u))
        solved = solve_branches(readings)
        names = list(dict.fromkeys(name for r in readings for name in r.branches))
        design = np.array([[r.branches.count(name) / r.u_ohms for name in names] for r in readings])
        wanted = lsq_linear(design, np.array([r.ohms / r.u_ohms for r in readings]), tol=1e-14)
        pseudo = np.linalg.pinv(design.T @ design)
        assert len(solved.groups) == np.linalg.matrix_rank(design)
        assert solved.chi2 == pytest.approx(2 * wanted.cost, rel=1e-6, abs=1e-9)
        for group in solved.groups:
            weights = np.array([float(group.weights.get(name, 0)) for name in names])
            assert group.ohms == pytest.approx(float(weights @ wanted.x), rel=1e-6, abs=1e-7)
            assert group.u_ohms == pytest.approx(math.sqrt(weights @ pseudo @ weights), rel=1e-6)
        assert leaves


def _tree(rng):
    """Leaves of a random splice tree, and for each pair of them the branches on the way."""
    nodes = rng.randint(4, 10)
    up = {n: rng.randrange(n) for n in range(1, nodes)}
    inner = set(up.values())
    leaves = [n for n in range(nodes) if n not in inner]

    def way(a, b):
        def chain(n):
            found = []
            while n:
                found.append(n)
                n = up[n]
            return found

        return tuple(f"w{n}" for n in sorted(set(chain(a)) ^ set(chain(b))))

    pairs = {(a, b): way(a, b) for a in leaves for b in leaves if a < b}
    return leaves, pairs or {(0, nodes - 1): way(0, nodes - 1)}


def test_branches_that_always_come_together_are_one_group_and_never_a_guess():
    # D-1 - w1 - joint - w2 - splice: no cavity between w1 and w2
    readings = [
        PairReading(("w1", "w2", "w3"), 0.6, 0.01),
        PairReading(("w1", "w2", "w4"), 0.7, 0.01),
        PairReading(("w3", "w4"), 0.5, 0.01),
    ]
    solved = solve_branches(readings)
    together = next(group for group in solved.groups if "w1" in group.weights)
    assert dict(together.weights) == {"w1": Fraction(1), "w2": Fraction(1)} and not together.alone
    assert together.ohms == pytest.approx(0.4)


def test_too_few_pairs_leave_sums_only():
    [group] = solve_branches([PairReading(("a", "b"), 0.5, 0.01)]).groups
    assert dict(group.weights) == {"a": 1, "b": 1}


def test_readings_that_cannot_be_weighed_are_refused():
    with pytest.raises(ValueError, match="no readings"):
        solve_branches([])
    with pytest.raises(ValueError, match="above zero"):
        solve_branches([PairReading(("a",), 0.5, 0.0)])
    with pytest.raises(ValueError, match="finite"):
        solve_branches([PairReading(("a",), math.inf, 0.1)])


@pytest.mark.parametrize("n", range(3, 20))
def test_the_pairs_of_a_splice_are_enough_to_tell_every_branch_apart(n):
    cavities = [f"D-{i}" for i in range(1, n + 1)]
    pairs = splice_pairs(cavities)
    solved = solve_branches([PairReading(p, 0.2, 0.01) for p in pairs])
    assert {group.alone for group in solved.groups} == set(cavities)
    assert len(pairs) == len(set(pairs)) <= max(3 * n, n * (n - 1) // 2)


def test_two_cavities_have_no_branches_to_tell_apart():
    assert splice_pairs(["D-1", "D-2"]) == []


SPLICE = "D-1 D-2 D-3 D-4 | H-1"


def spliced(branch, *, links=None, u=0.01):
    """A splice whose cavities lie `branch` ohm from the joint, judged with limits of 0.3 ohm a pair."""
    pairs = splice_pairs(list(branch))
    links = links or tuple(ExpectedLink(a, b, found_ohms=0.2, found_u_ohms=0.0) for a, b in pairs)
    readings = {pair(a, b): OhmsReading(a, b, branch[a] + branch[b], u) for a, b in pairs}
    expected = expect(SPLICE, checks=("continuity", "resistance"), links=links)
    return judge(expected, measured(SPLICE, grade="wire", ohms=readings), FULL)


def test_one_bad_crimp_in_a_splice_is_named_and_not_the_whole_circuit():
    verdict = spliced({"D-1": 0.1, "D-2": 0.1, "D-3": 0.9, "D-4": 0.1})
    [fault] = verdict.faults
    assert fault.kind == "high-resistance" and fault.cavities == ("D-3",) and fault.action == "branch"
    assert fault.values["ohms"] == pytest.approx(0.8)
    cavities = {c.cavity: c.verdict for c in verdict.cavities}
    assert cavities["D-3"] == "FAIL"


def test_two_bad_branches_are_both_named():
    verdict = spliced({"D-1": 0.1, "D-2": 0.7, "D-3": 0.9, "D-4": 0.1})
    assert {fault.cavities for fault in verdict.faults} == {("D-2",), ("D-3",)}


def test_readings_that_fit_no_splice_blame_the_pairs_instead():
    branch = {"D-1": 0.1, "D-2": 0.1, "D-3": 0.1, "D-4": 0.1}
    pairs = splice_pairs(list(branch))
    links = tuple(ExpectedLink(a, b, found_ohms=0.2, found_u_ohms=0.0) for a, b in pairs)
    readings = {pair(a, b): OhmsReading(a, b, 0.2 + (0.8 if "D-1" in (a, b) and "D-2" in (a, b) else 0), 0.01)
                for a, b in pairs}  # fmt: skip
    expected = expect(SPLICE, checks=("continuity", "resistance"), links=links)
    verdict = judge(expected, measured(SPLICE, grade="wire", ohms=readings), FULL)
    assert [fault.action for fault in verdict.faults] == [""]
    assert set(verdict.faults[0].cavities) == {"D-1", "D-2"}


def test_kit_wires_in_a_row_without_a_cavity_between_are_said_to_be_one():
    way = {"D-1": ("W1", "W2"), "D-2": ("W3",), "D-3": ("W4",)}
    ohms = {"D-1": 1.2, "D-2": 0.04, "D-3": 0.04}
    pairs = splice_pairs(["D-1", "D-2", "D-3"])
    links = tuple(
        ExpectedLink(a, b, path=tuple(PathWire(w, 0.5, 1.0) for w in (*way[a], *way[b])), splices=2) for a, b in pairs
    )
    readings = {pair(a, b): OhmsReading(a, b, ohms[a] + ohms[b], 0.002) for a, b in pairs}
    wires = {"W1": ("D-1",), "W2": (), "W3": ("D-2",), "W4": ("D-3",)}
    expected = expect("D-1 D-2 D-3", checks=("continuity", "resistance"), links=links, wires=wires)
    verdict = judge(expected, measured("D-1 D-2 D-3", grade="wire", ohms=readings), FULL)
    assert kinds(verdict) == ["high-resistance"]
    [fault] = verdict.faults
    assert fault.action == "branches not told apart" and fault.sits == ("W1", "W2") and fault.cavities == ("D-1",)


def test_the_smallest_allowance_of_the_failed_links_decides_which_branch_has_too_much():
    branch = {"D-1": 0.1, "D-2": 0.3, "D-3": 0.9, "D-4": 0.1}
    pairs = splice_pairs(list(branch))
    links = tuple(
        ExpectedLink(a, b, limit_ohms=0.3 if "D-2" in (a, b) else 0.9, found_ohms=0.2, found_u_ohms=0.0)
        for a, b in pairs
    )
    verdict = spliced(branch, links=links, u=0.002)
    assert {fault.cavities for fault in verdict.faults} == {("D-2",), ("D-3",)}


def test_wires_are_told_apart_only_where_the_way_of_every_reading_is_known():
    ohms = {"D-1": 0.04, "D-2": 0.04, "D-3": 1.2}
    pairs = splice_pairs(["D-1", "D-2", "D-3"])
    links = [
        ExpectedLink(a, b, path=(PathWire(f"W{a[-1]}", 0.5, 1.0), PathWire(f"W{b[-1]}", 0.5, 1.0)), splices=1)
        for a, b in pairs
    ]
    links[0] = ExpectedLink(*pairs[0], found_ohms=0.08, found_u_ohms=0.0)
    readings = {pair(a, b): OhmsReading(a, b, ohms[a] + ohms[b], 0.002) for a, b in pairs}
    expected = expect("D-1 D-2 D-3", checks=("continuity", "resistance"), links=tuple(links))
    [fault] = judge(expected, measured("D-1 D-2 D-3", grade="wire", ohms=readings), FULL).faults
    assert fault.sits == ("D-3",) and fault.action == "branch"
