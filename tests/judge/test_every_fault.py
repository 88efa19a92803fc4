"""The short form of the fault campaign: the same harnesses and faults, the circuits seen as they are."""

import random
from collections import defaultdict

import pytest

from tester.harness.reading import Measured
from tester.harness.verdict import PASS
from tester.judge import judge
from tests.campaigns.harnesses import build, circuit_faults, expectation, several_faults
from tests.campaigns.score import Score, bound, count, table


def _seen(harness):
    netlist = harness.netlist
    return Measured(netlist, proven=frozenset(name for circuit in netlist if len(circuit) > 1 for name in circuit))


def wires_only(harness):
    """Without diodes: here the circuits are seen as they are, with no board in between."""
    harness.tables["diode"].clear()
    return harness


@pytest.mark.parametrize("seed", range(12))
def test_every_single_fault_of_a_harness_is_found_and_located(seed):
    rng = random.Random(f"short {seed}")
    good = wires_only(build(rng, rng.randint(10, 20), parts=False))
    expected = expectation(good.netlist, _seen(good), ("continuity", "isolation"))
    assert judge(expected, _seen(good)).verdict == PASS
    scores = defaultdict(Score)
    for broken in circuit_faults(good):
        seen = _seen(broken.harness)
        assert not count(broken, good, expected, seen, judge(expected, seen), scores[broken.kind])
    assert scores and all(s.detected == s.injected == s.minimal == s.located for s in scores.values())


def test_double_and_triple_faults_are_found_and_located_where_they_are_as_few_as_can_be():
    rng = random.Random(33)
    scores = defaultdict(Score)
    for _ in range(30):
        good = wires_only(build(rng, rng.randint(10, 20), parts=False))
        expected = expectation(good.netlist, _seen(good), ("continuity", "isolation"))
        for number in (2, 3):
            broken = several_faults(good, rng, number)
            seen = _seen(broken.harness)
            assert not count(broken, good, expected, seen, judge(expected, seen), scores[broken.kind])
    assert all(s.minimal == s.located > 0 for s in scores.values())
    assert "2 faults" in table(scores)


def test_the_bound_on_escapes_is_the_rule_of_three():
    # n = 20: exact 1 - 0.05^(1/20) = 0.139108; about 3/n for larger n. Jovanovic and Levy 1997
    assert float(bound(0, 20)) == pytest.approx(0.139108, abs=5e-4)
    assert float(bound(0, 300)) == pytest.approx(1 / 100, rel=0.02)
    assert float(bound(0, 1500)) == pytest.approx(1 / 500, rel=0.02)
    assert bound(2, 20) == "2 escaped"
