"""Limits with their sources, the guard band, and how far isolation was seen."""

import pytest

from tester.harness.expected import ExpectedLink, PathWire
from tester.harness.netlist import Netlist
from tester.harness.reading import OhmsReading, PartReading
from tester.harness.verdict import FAIL, NOT_TESTED, PASS
from tester.judge import JudgeFacts, WatchResult, checks_of, judge
from tester.judge.isolation import SHORT_OHMS, SURELY_SEEN, scan_reach
from tester.judge.limits import decide, limit_of
from tests.judge.benches import expect, kinds, measured

FULL = JudgeFacts(can=checks_of(["scan", "resistance"]))
GOOD = "D-1 H-1 | D-2 H-2 | D-3"


def test_the_plans_own_limit_comes_first():
    limit = limit_of(ExpectedLink("D-1", "H-1", limit_ohms=0.3, size_mm2=0.5, length_m=1.5), {})
    assert (limit.ohms, limit.source) == (0.3, "the plan's own limit")
    assert limit.nominal == pytest.approx(0.0585)


def test_a_wire_of_known_size_and_length_gives_wire_and_joints_with_both_sources():
    limit = limit_of(ExpectedLink("D-1", "H-1", size_mm2=0.5, length_m=1.5), {"celsius": 35.0})
    # 61.948575 mohm at 35 degrees C (standards vector 1), two contacts of 10 and two crimps of 5 mohm (common practice)
    assert limit.ohms == pytest.approx(0.061948575 + 0.020 + 0.010)
    assert limit.nominal == pytest.approx(0.061948575)
    assert "IEC 60228 class 5" in limit.source and "common practice" in limit.source


def test_allowances_and_table_come_from_the_plan():
    link = ExpectedLink("D-1", "H-1", path=(PathWire("W1", 0.5, 1.0), PathWire("W2", 0.5, 0.5)), splices=1)
    limit = limit_of(link, {"contact_ohms": 0.02, "joint_ohms": 0.001}, "ISO 6722-1")
    assert limit.ohms == pytest.approx(1.5 * 0.0371 + 2 * 0.02 + 5 * 0.001)
    assert "ISO 6722-1" in limit.source


def test_a_way_with_a_wire_of_unknown_length_gives_no_computed_limit():
    link = ExpectedLink("D-1", "H-1", path=(PathWire("W1", 0.5, 1.0), PathWire("W2", 0.5, None)))
    assert limit_of(link, {}).ohms == 2.0


def test_an_existing_link_is_held_to_its_own_as_found_reading():
    limit = limit_of(ExpectedLink("D-1", "H-1", found_ohms=0.4, found_u_ohms=0.01), {})
    assert limit.ohms == pytest.approx(0.4 + 0.05 + 0.02 + 0.02)
    assert limit.source.startswith("as found 0.4 ohm")


def test_without_anything_known_the_limit_only_proves_a_path():
    limit = limit_of(ExpectedLink("D-1", "H-1"), {})
    assert limit.ohms == 2.0 and "common practice" in limit.source


@pytest.mark.parametrize(
    ("ohms", "u", "result"),
    [(0.08, 0.01, "pass"), (0.08, 0.0100001, "too close to call"), (0.12, 0.01, "too close to call"),
     (0.1201, 0.01, "fail"), (0.1, 0.0, "pass"), (0.1000001, 0.0, "fail")],
)  # fmt: skip
def test_the_guard_band_is_two_standard_uncertainties_on_either_side(ohms, u, result):
    assert decide(ohms, u, 0.1) == result


def with_reading(expected, ohms, u=0.005, pair=("D-1", "H-1")):
    reading = {pair: OhmsReading(*pair, ohms, u)}
    return judge(expected, measured(GOOD, grade="wire", ohms=reading), FULL)


def test_a_link_without_its_own_limit_is_judged_only_where_resistance_is_asked_for():
    link = ExpectedLink("D-1", "H-1", size_mm2=0.5, length_m=1.5)
    asked = with_reading(expect(GOOD, checks=("continuity", "resistance"), links=(link,)), 0.8)
    assert asked.verdict == FAIL and kinds(asked) == ["high-resistance"]
    not_asked = with_reading(expect(GOOD, links=(link,)), 0.8)
    assert not_asked.verdict == PASS and "resistance" not in not_asked.scope


def test_every_judged_resistance_is_in_the_verdict_with_its_limit_and_source():
    link = ExpectedLink("D-1", "H-1", size_mm2=0.5, length_m=1.5)
    verdict = with_reading(expect(GOOD, checks=("continuity", "resistance"), links=(link,)), 0.065)
    [one] = verdict.links
    assert (one.a, one.b, one.ohms, one.result) == ("D-1", "H-1", 0.065, "pass")
    assert "resistance" in verdict.scope and "class 5" in one.source


def test_resistance_asked_for_without_a_link_to_judge_is_not_tested():
    verdict = with_reading(expect(GOOD, checks=("continuity", "resistance")), 0.065)
    assert verdict.verdict == NOT_TESTED
    assert "names no wire" in verdict.untested[0][0]


def test_a_wrong_circuit_is_not_blamed_for_its_resistance_too():
    link = ExpectedLink("D-1", "H-1", limit_ohms=0.1)
    expected = expect(GOOD, checks=("continuity", "resistance"), links=(link,))
    seen = measured("D-1 H-2 | D-2 H-1 | D-3", grade="wire", ohms={("D-1", "H-2"): OhmsReading("D-1", "H-2", 5, 0.1)})
    assert set(kinds(judge(expected, seen, FULL))) == {"miswire"}


def test_the_scan_sees_leaks_as_far_as_the_smaller_circuit_of_a_pair_allows():
    pairs = Netlist.of([[f"A-{i}", f"B-{i}"] for i in range(1, 4)])
    assert scan_reach(pairs) == 12_500.0  # two points and the driver make three: the next size listed is six
    assert scan_reach(Netlist.of([["A-1"], ["A-2"]])) == 66_000.0
    assert scan_reach(Netlist.of([["A-1", "A-2"]])) == 66_000.0
    big = Netlist.of([[f"A-{i}" for i in range(55)], [f"B-{i}" for i in range(61)]])
    assert scan_reach(big) == 120.0
    middling = Netlist.of([[f"A-{i}" for i in range(40)], [f"B-{i}" for i in range(61)]])
    assert scan_reach(middling) == 340.0
    huge = Netlist.of([[f"A-{i}" for i in range(70)], [f"B-{i}" for i in range(70)]])
    assert scan_reach(huge) == 0.0


def test_what_the_scan_surely_sees_is_what_the_board_promises():
    import tomllib
    from pathlib import Path

    data = tomllib.loads(Path("hwspec/limits.toml").read_text("utf-8"))
    assert tuple((row["points"], row["ohm"]) for row in data["joined_by_points"]) == SURELY_SEEN
    assert data["limits"]["joined_measured"]["value"] == 100.0


def test_an_isolation_limit_beyond_what_was_seen_is_not_tested_with_both_figures():
    expected = expect(GOOD, checks=("continuity", "isolation"), limits={"isolation_ohms": 1e6})
    verdict = judge(expected, measured(GOOD))
    assert verdict.verdict == NOT_TESTED
    assert verdict.untested[0] == (
        "check not done: seen up to 12,500 ohm only, the plan asks for 1,000,000 ohm", ("isolation",),
    )  # fmt: skip
    easy = expect(GOOD, checks=("continuity", "isolation"), limits={"isolation_ohms": SHORT_OHMS})
    assert judge(easy, measured(GOOD)).verdict == PASS


def test_isolation_readings_of_every_circuit_reach_as_far_as_the_converter_sees():
    expected = expect(GOOD, checks=("continuity", "isolation"), limits={"isolation_ohms": 1e6})
    every = {"D-1": None, "D-2": None, "D-3": None}
    full = judge(expected, measured(GOOD), JudgeFacts(isolation=every, isolation_seen_to=3e6))
    assert full.verdict == PASS and full.reach["isolation_ohms"] == 3e6
    some = judge(expected, measured(GOOD), JudgeFacts(isolation={"D-1": None}, isolation_seen_to=3e6))
    assert some.verdict == NOT_TESTED
    leaky = judge(expected, measured(GOOD), JudgeFacts(isolation=every | {"D-2": 4e5}, isolation_seen_to=3e6))
    assert leaky.explanations == 1 and leaky.faults[0].explanation == 0
    assert leaky.verdict == FAIL and kinds(leaky) == ["leakage"] and set(leaky.faults[0].cavities) == {"D-2", "H-2"}


@pytest.mark.parametrize(
    ("ohms", "verdict"), [(1.2e6, PASS), (1.05e6, NOT_TESTED), (0.95e6, NOT_TESTED), (0.8e6, FAIL), (1e6, NOT_TESTED)]
)
def test_a_leak_too_close_to_its_limit_for_the_boards_accuracy_is_neither_passed_nor_failed(ohms, verdict):
    """Guard bands of U = 2 u on both sides (JCGM 106, from memory), here U = 0.1 Mohm."""
    expected = expect(GOOD, checks=("continuity", "isolation"), limits={"isolation_ohms": 1e6})
    readings = {circuit[0]: None for circuit in measured(GOOD).netlist} | {"D-1": ohms}
    facts = JudgeFacts(isolation=readings, isolation_u={"D-1": 0.05e6}, isolation_seen_to=3e6)
    found = judge(expected, measured(GOOD), facts)
    assert found.verdict == verdict
    assert found.reach["isolation_ohms"] == pytest.approx(ohms - 0.1e6)


def test_a_leak_above_the_plans_isolation_limit_is_allowed():
    expected = expect(GOOD, limits={"isolation_ohms": 5000.0})
    weak = measured(GOOD, grade="wire", parts=(PartReading("D-1", "D-2", 22000.0, 22000.0),))
    assert judge(expected, weak).verdict == PASS
    strong = measured(GOOD, grade="wire", parts=(PartReading("D-1", "D-2", 2200.0, 2200.0),))
    assert judge(expected, strong).verdict == FAIL


def test_the_grade_says_what_joined_may_mean():
    assert judge(expect(GOOD), measured(GOOD)).reach["joined_ohms"] == 66_000.0
    assert judge(expect(GOOD), measured(GOOD, grade="wire")).reach["joined_ohms"] == 100.0


def test_a_wire_without_length_or_size_has_no_resistance_to_compute():
    with pytest.raises(ValueError, match="gives no resistance"):
        limit_of(ExpectedLink("D-1", "H-1", size_mm2=0.5, length_m=0.0), {})
    assert limit_of(ExpectedLink("D-1", "H-1", size_mm2=0.5), {}).ohms == 2.0


def test_a_link_to_a_cavity_without_lead_is_left_out():
    links = (ExpectedLink("D-1", "H-1", limit_ohms=0.1), ExpectedLink("D-1", "X-9", limit_ohms=0.1))
    expected = expect("D-1 H-1 X-9 | D-2 H-2 | D-3", checks=("continuity", "resistance"), links=links)
    assert with_reading(expected, 0.05).verdict == PASS


def test_a_watch_that_nobody_asked_for_is_in_the_scope_when_it_was_made():
    can = checks_of(["scan", "watch"])
    without = judge(expect(GOOD), measured(GOOD), JudgeFacts(can=can))
    assert dict(without.not_in_scope)["dropout"] == "not asked for" and without.verdict == PASS
    made = judge(expect(GOOD), measured(GOOD), JudgeFacts(can=can, watch=WatchResult(seconds=5.0)))
    assert "dropout" in made.scope
