"""As found on one kind of board, as left on another: an untouched harness never fails for what one of them cannot see.

Through firmware and virtual board, with the product's own way from the scan to the expectation.
"""

from dataclasses import replace

import pytest

from tester.harness.expected import Expected
from tester.harness.reading import Measured
from tester.harness.verdict import FAIL, NOT_TESTED, PASS
from tester.judge import judge
from tester.plan.expect import expectation
from tester.plan.fromscan import plan_from_scan
from tests.campaigns.rig import Rig

NAMES = [f"D-{i}" for i in range(1, 7)]
LEADS = {i + 1: name for i, name in enumerate(NAMES)}


@pytest.fixture(scope="module")
def boards():
    rigs = {
        (build, seed): Rig(LEADS, seed=seed, build=build)
        for build, seed in (("starter", 1), ("starter", 5), ("full", 2))
    }
    yield rigs
    for rig in rigs.values():
        rig.close()


def harness(back: float | None = None, anode: str = "D-1", cathode: str = "D-3"):
    tables = {
        "link": [{"a": "D-1", "b": "D-2", "ohms": 0.05}, {"a": "D-3", "b": "D-4", "ohms": 0.05}],
        "diode": [{"anode": anode, "cathode": cathode, "drop_v": 0.6}],
    }
    if back is not None:
        tables["leak"] = [{"a": "D-1", "b": "D-3", "ohms": back}]
    return tables


def untouched(as_found: Measured) -> Expected:
    """What a plan without steps expects of a harness that was found so."""
    return expectation(plan_from_scan(as_found, "untouched").model_copy(update={"expected": None}), as_found)


@pytest.mark.parametrize("back", [None, 500.0, 6e4, 3e5])
@pytest.mark.parametrize("wire_ohms", [0.05, 1e3, 2e4])
def test_a_plan_made_from_a_scan_never_fails_its_own_harness_on_a_better_board(boards, back, wire_ohms):
    tables = harness(back)
    tables["leak"] = [*tables.get("leak", []), {"a": "D-5", "b": "D-6", "ohms": wire_ohms}]
    as_found, _ = boards["starter", 1].measure(tables)
    again, facts = boards["full", 2].measure(tables)
    verdict = judge(expectation(plan_from_scan(as_found, "reference"), None), again, facts)
    assert verdict.verdict != FAIL, (verdict.faults, as_found, again)
    if wire_ohms > 100:
        assert {"D-5", "D-6"} <= {name for _, names in verdict.untested for name in names}


@pytest.mark.parametrize("later", [("starter", 5), ("full", 2)])
@pytest.mark.parametrize("back", [None, 500.0, 6e4, 7.5e4, 1e5, 3e5])
def test_a_diode_with_a_leak_back_never_fails_untouched(boards, back, later):
    as_found, _ = boards["starter", 1].measure(harness(back))
    again, facts = boards[later].measure(harness(back))
    verdict = judge(untouched(as_found), again, facts)
    assert verdict.verdict != FAIL, (verdict.faults, as_found, again)
    if back is None:
        assert verdict.verdict == PASS
    elif verdict.verdict == NOT_TESTED and later[0] == "full":
        named = {name for _, names in verdict.untested for name in names}
        assert {"D-1", "D-3"} <= named and not named & {"D-5", "D-6"}, verdict.untested


def test_a_diode_turned_round_still_fails_on_the_other_board(boards):
    as_found, _ = boards["starter", 1].measure(harness())
    for later in (("starter", 5), ("full", 2)):
        again, facts = boards[later].measure(harness(anode="D-3", cathode="D-1"))
        verdict = judge(untouched(as_found), again, facts)
        assert verdict.verdict == FAIL and [f.kind for f in verdict.faults] == ["reversed"]


def test_a_strong_leak_back_that_came_later_still_fails(boards):
    as_found, _ = boards["starter", 1].measure(harness())
    for later in (("starter", 5), ("full", 2)):
        again, facts = boards[later].measure(harness(2_000.0))
        assert judge(replace(untouched(as_found)), again, facts).verdict == FAIL
