"""What stands beside an outcome, and the scope of a verdict, at their limits."""

import pytest

from tester.harness.expected import ExpectedPart
from tester.harness.reading import PartReading
from tester.harness.verdict import FAIL, NOT_TESTED, PASS
from tester.judge import JudgeFacts, WatchResult, checks_of, judge
from tester.judge.facts import Dropout
from tester.judge.look import look_at, wrong_cavities
from tests.judge.benches import by_cavity, circuits, expect, kinds, measured

GOOD = "D-1 H-1 | D-2 H-2 | D-3"
TWO = "D-1 H-1 | D-2 H-2"
JOINED = "D-1 H-1 D-2 H-2"
WATCH = checks_of(["scan", "watch"])


def look(expected, seen, facts=None):
    return look_at(expected.outcomes[0], expected, seen, facts or JudgeFacts())


def test_the_cavities_of_every_circuit_that_is_not_as_expected_are_wrong():
    assert wrong_cavities(circuits(GOOD), circuits(GOOD)) == set()
    assert wrong_cavities(circuits(GOOD), circuits("D-1 H-1 D-3 | D-2 H-2")) == {"D-1", "H-1", "D-3"}


def test_the_outcome_that_fits_best_needs_the_fewest_faults_then_the_fewest_cavities():
    leak = PartReading("D-2", "D-3", 900.0, 900.0)
    assert look(expect(GOOD), measured(GOOD)).fit == (False, 0, 0, 0)
    seen = measured("D-1 | H-1 | D-2 H-2 | D-3", grade="wire", parts=(leak,))
    assert look(expect(GOOD), seen).fit == (True, 2, 2, 0)  # one opening, one leak, D-1 and H-1 wrong
    doubt = look(expect(GOOD), measured(GOOD, doubtful=[("D-1", "D-3")]))
    assert doubt.fit == (False, 0, 0, 3) and [fault.kind for fault in doubt.faults] == ["doubtful"] and doubt.hard == []


def part(ab, ba):
    return ExpectedPart("D-1", "D-2", ab, ba)


@pytest.mark.parametrize(
    ("ab", "ba", "grade", "verdict"),
    [(9e3, 9e3, "scan", NOT_TESTED), (9e3, None, "scan", FAIL), (None, 9e3, "scan", FAIL), (9e3, 9e3, "wire", FAIL)],
)
def test_only_a_part_that_conducts_both_ways_may_read_as_wire_and_only_at_a_scan(ab, ba, grade, verdict):
    assert judge(expect(TWO, parts=(part(ab, ba),)), measured(JOINED, grade=grade)).verdict == verdict


def hidden(**more):
    """A part within a circuit that an earlier scan read as wire, between D-1 H-1 and D-2 H-2."""
    options = {"grade": "scan", "ab": 9e3, "ba": 9e3, "now": "wire", "edited": frozenset()} | more
    seen = measured(TWO, grade=options["now"], parts=(PartReading("D-1", "D-2", options["ab"], options["ba"]),))
    return judge(expect(JOINED, grade=options["grade"], edited=options["edited"]), seen)


def test_a_part_that_the_earlier_scan_could_not_tell_from_wire_is_not_tested():
    verdict = hidden()
    assert verdict.verdict == NOT_TESTED and by_cavity(verdict)["D-1"] == by_cavity(verdict)["D-2"] == NOT_TESTED
    assert by_cavity(verdict)["H-1"] == PASS


@pytest.mark.parametrize(
    "more",
    [{"grade": "wire"}, {"grade": ""}, {"now": "scan"}, {"ab": None}, {"ba": None}, {"edited": frozenset({"H-2"})},
     {"edited": frozenset({"H-1"})}],
)  # fmt: skip
def test_what_an_earlier_scan_would_have_told_or_a_step_touched_fails(more):
    assert hidden(**more).verdict == FAIL


def test_pieces_in_doubt_get_the_benefit_and_others_of_the_circuit_do_not():
    whole = "D-1 D-2 D-3 D-4 | E-1"
    doubt = judge(expect(whole), measured("D-1 D-2 | D-3 D-4 | E-1", doubtful=[("D-4", "D-1")]))
    assert doubt.verdict == NOT_TESTED
    third = judge(expect(whole), measured("D-1 | D-2 | D-3 D-4 | E-1", doubtful=[("D-3", "D-2")]))
    assert third.verdict == FAIL
    unseen = judge(expect(whole), measured("D-1 D-2 | D-3 D-4 | E-1", not_seen=[("D-1", "D-3")]))
    assert unseen.verdict == NOT_TESTED
    middle = judge(expect(whole), measured("D-1 | D-2 D-3 | D-4 | E-1", not_seen=[("D-2", "D-4"), ("D-1", "D-4")]))
    assert middle.verdict == NOT_TESTED


def test_circuits_never_on_leads_together_name_the_first_cavity_of_the_other():
    verdict = judge(expect(GOOD), measured(GOOD, not_seen=[("D-1", "D-2")]))
    why = {c.cavity: c.why for c in verdict.cavities}
    assert why["D-1"] == why["H-1"] == "never on leads together with D-2"
    assert why["D-2"] == why["H-2"] == "never on leads together with D-1" and why["D-3"] == ""


def test_a_circuit_that_holds_a_cavity_unknown_to_the_plan_is_not_tested_and_strangers_alone_are_nothing():
    verdict = judge(expect(GOOD), measured("D-1 H-1 X-1 | D-2 H-2 | D-3 | Y-1 Y-2", not_seen=[("Y-1", "D-3")]))
    why = {c.cavity: c.why for c in verdict.cavities}
    assert why["D-1"] == "joined to X-1, of which the plan says nothing" and why["D-2"] == why["D-3"] == ""
    assert verdict.verdict == NOT_TESTED


def dropout(lasted, cadence_us=500.0, **limits):
    watch = WatchResult((Dropout("open", ("D-1", "H-1"), 7.0, lasted),), 10.0, cadence_us, 0.5)
    verdict = judge(expect(GOOD, limits=limits), measured(GOOD), JudgeFacts(can=WATCH, watch=watch))
    return kinds(verdict) == ["dropout"]


def test_a_dropout_counts_with_one_reading_more_against_what_the_plan_allows():
    # 2 ms and a cadence of 500 us are 2.5 ms
    assert not dropout(2.0, dropout_ms=2.5) and dropout(2.0, dropout_ms=2.4999)
    assert dropout(0.25, 0.0) and dropout(0.0, 500.0)  # none is allowed unless the plan says so


def test_a_touch_counts_with_a_whole_round_more():
    """Seen in two rounds 20 ms apart it may have lasted up to 20 ms more than was seen: by hand."""

    def touch(allowed_ms):
        drop = Dropout("short", ("D-1", "D-2"), 7.0, 5.0)
        watch = WatchResult((drop,), 10.0, 500.0, 0.5, shorts_missed_ms=20.0)
        return judge(
            expect(GOOD, limits={"dropout_ms": allowed_ms}), measured(GOOD), JudgeFacts(can=WATCH, watch=watch)
        )

    assert kinds(touch(24.9)) == ["dropout"] and kinds(touch(25.0)) == []


def scope(limits=None, facts=None, checks=("continuity", "isolation", "dropout"), seen=None):
    facts = facts or JudgeFacts(can=WATCH)
    verdict = judge(expect(GOOD, checks=checks, limits=limits or {}), seen or measured(GOOD), facts)
    return verdict, dict(verdict.not_in_scope)


def test_isolation_is_done_where_the_plan_asks_for_exactly_what_was_seen():
    # the second largest circuit has two points: 12,500 ohm
    assert "isolation" in scope({"isolation_ohms": 12_500.0})[0].scope
    assert "isolation" in scope({"isolation_ohms": 12_501.0})[1]


def watched(seconds=5.0, missed=1.0, stale=False, complete=True, **limits):
    watch = WatchResult((), seconds, 500.0, missed, complete)
    verdict, missing = scope(limits, JudgeFacts(can=WATCH, watch=watch, watch_stale=stale))
    return missing.get("dropout", ""), verdict


def test_a_watch_of_exactly_the_seconds_and_milliseconds_that_the_plan_asks_for_will_do():
    assert watched(5.0, 1.0, wiggle_s=5.0, dropout_ms=1.0)[0] == ""
    assert watched(4.5, wiggle_s=5.0)[0] == "watched for 4.5 s, the plan asks for 5 s"
    assert watched(missed=1.25, dropout_ms=1.0)[0].startswith("up to 1.25 ms could have been missed")
    assert watched(0.5)[0] == "" and watched(complete=False)[0] == "broken off"


def test_a_watch_before_the_last_step_is_not_in_the_scope_and_has_no_reach():
    why, verdict = watched(stale=True)
    assert why == "done before the last step" and "dropout_ms" not in verdict.reach
    assert watched()[1].reach["dropout_ms"] == 1.0
    assert scope()[1]["dropout"] == "not done"


def test_the_lowest_leak_of_a_cavity_on_leads_is_told():
    facts = JudgeFacts(isolation={"D-1": 9e6, "D-2": 5e6, "D-3": None, "X-1": 1.0}, isolation_seen_to=2e7)
    assert scope(facts=facts, checks=("continuity",))[0].reach["leak_ohms"] == 5e6
    none = JudgeFacts(isolation={"D-1": None, "X-1": 1.0})
    assert "leak_ohms" not in scope(facts=none, checks=("continuity",))[0].reach
