"""The verdict: FAIL over NOT TESTED over PASS, and PASS only for what was seen."""

import pytest

from tester.harness.expected import Expected, ExpectedLink, Outcome
from tester.harness.reading import OhmsReading
from tester.harness.verdict import FAIL, NOT_TESTED, PASS
from tester.judge import Dropout, JudgeFacts, WatchResult, checks_of, judge
from tests.judge.benches import by_cavity, circuits, expect, kinds, measured

GOOD = "D-1 H-1 | D-2 H-2 | D-3"


def reasons(verdict):
    return [reason for reason, _ in verdict.untested]


def test_what_equals_the_expectation_passes_with_its_scope():
    verdict = judge(expect(GOOD), measured(GOOD))
    assert verdict.verdict == PASS
    assert verdict.scope == ("continuity", "isolation")
    assert dict(verdict.not_in_scope)["resistance"] == "not asked for"
    assert set(by_cavity(verdict).values()) == {PASS}
    assert verdict.explanations == 0 and not verdict.faults
    assert verdict.exact and verdict.complete and verdict.at_least == 0


def test_a_lone_cavity_on_a_lead_never_seen_joined_passes_as_unproven():
    verdict = judge(expect(GOOD), measured(GOOD))
    contact = {c.cavity: c.contact for c in verdict.cavities}
    assert contact["D-3"] == "unproven"
    assert contact["D-1"] == "proven"
    assert verdict.unproven == ("D-3",)
    assert judge(expect(GOOD), measured(GOOD, touched=["D-3"])).unproven == ()


def test_where_leads_must_be_proven_an_unproven_required_one_is_not_tested():
    expected = expect(GOOD, prove_leads=True, required=frozenset({"D-1", "D-3"}))
    verdict = judge(expected, measured(GOOD))
    assert verdict.verdict == NOT_TESTED
    assert by_cavity(verdict)["D-3"] == NOT_TESTED
    assert verdict.untested == (("its lead is not proven", ("D-3",)),)
    assert judge(expected, measured(GOOD, touched=["D-3"])).verdict == PASS


def test_an_unproven_lead_blocks_nothing_where_the_cavity_is_not_required():
    expected = expect(GOOD, prove_leads=True, required=frozenset({"D-1"}))
    assert judge(expected, measured(GOOD)).verdict == PASS


def test_a_required_cavity_without_a_lead_is_not_tested_and_named():
    expected = expect("D-1 H-1 | D-2 H-2", required=frozenset({"D-1", "H-1", "D-2", "H-2"}))
    verdict = judge(expected, measured("D-1 H-1 | D-2"))
    assert verdict.verdict == NOT_TESTED
    assert ("not on a lead", ("H-2",)) in verdict.untested
    assert by_cavity(verdict) == {"D-1": PASS, "H-1": PASS, "D-2": NOT_TESTED, "H-2": NOT_TESTED}
    told = judge(expected, measured("D-1 H-1 | D-2"), JudgeFacts(no_lead_why={"H-2": "the lead set cannot reach it"}))
    assert {c.cavity: c.why for c in told.cavities}["H-2"] == "not on a lead: the lead set cannot reach it"


def test_a_cavity_without_lead_that_is_not_required_blocks_nothing():
    verdict = judge(expect("D-1 H-1 | D-2 H-2"), measured("D-1 H-1 | D-2"))
    assert verdict.verdict == PASS
    assert by_cavity(verdict)["H-2"] == NOT_TESTED


def test_a_required_cavity_that_the_expectation_does_not_hold_is_still_listed():
    verdict = judge(expect("D-1 H-1", required=frozenset({"X-1"})), measured("D-1 H-1"))
    assert verdict.verdict == NOT_TESTED
    assert by_cavity(verdict)["X-1"] == NOT_TESTED


def test_a_wrong_circuit_fails_and_the_rest_passes():
    verdict = judge(expect(GOOD), measured("D-1 H-2 | D-2 H-1 | D-3"))
    assert verdict.verdict == FAIL
    assert by_cavity(verdict) == {"D-1": FAIL, "H-1": FAIL, "D-2": FAIL, "H-2": FAIL, "D-3": PASS}
    assert set(kinds(verdict)) == {"miswire"}


def test_fail_outranks_not_tested():
    expected = expect(GOOD, checks=("continuity", "resistance"), required=frozenset({"X-1"}))
    assert judge(expected, measured("D-1 | H-1 | D-2 H-2 | D-3")).verdict == FAIL


def test_not_tested_outranks_pass():
    facts = JudgeFacts(steps_open=("put-3",))
    verdict = judge(expect(GOOD), measured(GOOD), facts)
    assert verdict.verdict == NOT_TESTED
    assert verdict.untested == (("steps not ticked", ("put-3",)),)
    assert set(by_cavity(verdict).values()) == {PASS}


def test_a_scan_older_than_the_last_step_is_not_tested():
    verdict = judge(expect(GOOD), measured(GOOD), JudgeFacts(stale=True))
    assert verdict.verdict == NOT_TESTED
    assert reasons(verdict) == ["the scan is older than the last step"]


@pytest.mark.parametrize("check", ["resistance", "dropout"])
def test_a_check_that_the_board_cannot_do_is_not_tested_and_named(check):
    verdict = judge(expect(GOOD, checks=("continuity", check)), measured(GOOD))
    assert verdict.verdict == NOT_TESTED
    assert verdict.untested == (("check not done: this board cannot do it", (check,)),)
    assert dict(verdict.not_in_scope)[check] == "this board cannot do it"


def test_a_check_that_the_board_can_do_but_was_not_done_is_not_tested():
    facts = JudgeFacts(can=checks_of(["scan", "resistance", "watch"]))
    verdict = judge(expect(GOOD, checks=("continuity", "resistance", "dropout")), measured(GOOD), facts)
    assert verdict.verdict == NOT_TESTED
    assert verdict.untested == (
        ("check not done: not measured", ("resistance",)), ("check not done: not done", ("dropout",)),
    )  # fmt: skip


def test_capability_words_of_a_board_become_checks():
    assert checks_of(["scan"]) == {"continuity", "isolation", "direction"}
    assert checks_of(["scan", "voltage", "resistance", "watch"]) == {
        "continuity", "isolation", "direction", "resistance", "dropout",
    }  # fmt: skip
    assert checks_of([]) == frozenset()


def test_a_pair_not_seen_is_not_tested_for_both_circuits_only():
    verdict = judge(expect(GOOD), measured(GOOD, not_seen=[("D-1", "D-3")]))
    assert verdict.verdict == NOT_TESTED
    assert by_cavity(verdict) == {
        "D-1": NOT_TESTED, "H-1": NOT_TESTED, "D-3": NOT_TESTED, "D-2": PASS, "H-2": PASS,
    }  # fmt: skip


def test_an_expected_link_that_was_not_seen_is_not_tested_rather_than_open():
    verdict = judge(expect("D-1 H-1"), measured("D-1 | H-1", not_seen=[("D-1", "H-1")]))
    assert verdict.verdict == NOT_TESTED
    assert not verdict.faults


def test_doubtful_readings_are_never_pass_and_never_fail():
    for text in ("D-1 H-1 | D-2 H-2", "D-1 | H-1 | D-2 H-2"):
        verdict = judge(expect("D-1 H-1 | D-2 H-2"), measured(text, doubtful=[("D-1", "H-1")]))
        assert verdict.verdict == NOT_TESTED
        assert kinds(verdict) == ["doubtful"]
        assert by_cavity(verdict)["D-1"] == NOT_TESTED
        assert by_cavity(verdict)["D-2"] == PASS


def test_doubt_between_two_circuits_does_not_hide_an_open_that_is_sure():
    verdict = judge(expect("D-1 H-1 | D-2 H-2"), measured("D-1 | H-1 | D-2 H-2", doubtful=[("D-1", "D-2")]))
    assert verdict.verdict == FAIL
    assert sorted(kinds(verdict)) == ["doubtful", "open"]


def test_a_short_seen_for_certain_fails_although_the_circuit_is_doubtful():
    # D-1 joins H-1 and H-1 joins D-2, while D-1 and D-2 disagree: D-2 must not be there in any case
    verdict = judge(expect("D-1 H-1 | D-2"), measured("D-1 H-1 D-2", doubtful=[("D-1", "D-2")]))
    assert verdict.verdict == FAIL


def test_the_outcome_that_fits_is_taken_and_reported():
    expected = Expected(
        (
            Outcome(circuits("D-2 H-2 | D-1"), "D-1 was not the junction"),
            Outcome(circuits("D-2 | H-2 | D-1"), "D-1 was the junction"),
        )
    )
    assert judge(expected, measured("D-2 H-2 | D-1")).outcome == "D-1 was not the junction"
    apart = judge(expected, measured("D-2 | H-2 | D-1"))
    assert (apart.verdict, apart.outcome) == (PASS, "D-1 was the junction")
    wrong = judge(expected, measured("D-2 D-1 | H-2"))
    assert wrong.verdict == FAIL


def test_of_two_wrong_outcomes_the_one_with_fewer_faults_in_all_is_taken():
    good = "D-1 H-1 | D-2 H-2 | D-3 | D-4"
    expected = Expected(
        (Outcome(circuits(good), "joined"), Outcome(circuits(good.replace("D-1 H-1", "D-1 | H-1")), "apart"))
    )
    seen = measured(good, directed=[("D-1", "D-2"), ("D-1", "D-3"), ("D-1", "D-4")])
    assert judge(expected, seen).outcome == "apart"


def test_a_cavity_that_the_plan_does_not_know_is_not_tested_and_blocks_only_what_it_touches():
    aside = judge(expect("D-1 H-1"), measured("D-1 H-1 | X-1"))
    assert aside.verdict == PASS
    assert by_cavity(aside)["X-1"] == NOT_TESTED
    touching = judge(expect("D-1 H-1"), measured("D-1 H-1 X-1"))
    assert touching.verdict == NOT_TESTED
    assert by_cavity(touching)["D-1"] == NOT_TESTED
    assert touching.untested == (("joined to X-1, of which the plan says nothing", ("D-1", "H-1")),)


def test_nothing_on_a_lead_is_not_tested():
    verdict = judge(expect("D-1 H-1"), measured("X-1"))
    assert verdict.verdict == NOT_TESTED
    assert "no cavity of the plan is on a lead" in reasons(verdict)


def test_an_expectation_without_outcome_is_refused():
    with pytest.raises(ValueError, match="outcome"):
        judge(Expected(()), measured("D-1 H-1"))


def test_dropouts_of_the_watch_fail_their_circuit():
    watch = WatchResult((Dropout("open", ("D-1", "H-1"), 812.0, 3.0),), seconds=30)
    facts = JudgeFacts(can=checks_of(["scan", "watch"]), watch=watch)
    verdict = judge(expect(GOOD, checks=("continuity", "dropout")), measured(GOOD), facts)
    assert verdict.verdict == FAIL
    assert verdict.faults[0].kind == "dropout" and verdict.faults[0].values == {"ms": 3.0, "at_ms": 812.0}
    assert verdict.faults[0].explanation == 0 and verdict.explanations == 1
    assert by_cavity(verdict)["D-1"] == FAIL and by_cavity(verdict)["D-2"] == PASS


def test_a_clean_watch_after_the_last_step_puts_dropout_in_the_scope():
    expected = expect(GOOD, checks=("continuity", "dropout"))
    can = checks_of(["scan", "watch"])
    clean = judge(expected, measured(GOOD), JudgeFacts(can=can, watch=WatchResult(seconds=30)))
    assert clean.verdict == PASS and "dropout" in clean.scope
    stale = judge(expected, measured(GOOD), JudgeFacts(can=can, watch=WatchResult(seconds=30), watch_stale=True))
    assert stale.verdict == NOT_TESTED
    broken = judge(expected, measured(GOOD), JudgeFacts(can=can, watch=WatchResult(complete=False)))
    assert "dropout_ms" in clean.reach and "dropout_ms" not in broken.reach
    assert broken.verdict == NOT_TESTED


def test_resistance_is_judged_with_its_uncertainty_on_the_safe_side():
    link = ExpectedLink("D-1", "H-1", limit_ohms=0.1, source="the plan")
    expected = expect(GOOD, checks=("continuity", "resistance"), links=(link,))
    facts = JudgeFacts(can=checks_of(["scan", "resistance"]))

    def with_ohms(ohms, u):
        reading = {("D-1", "H-1"): OhmsReading("D-1", "H-1", ohms, u)}
        return judge(expected, measured(GOOD, grade="wire", ohms=reading), facts)

    assert with_ohms(0.07, 0.01).verdict == PASS
    close = with_ohms(0.09, 0.01)
    assert close.verdict == NOT_TESTED and "too close to its limit" in reasons(close)[0]
    high = with_ohms(0.13, 0.01)
    assert high.verdict == FAIL and kinds(high) == ["high-resistance"]
    assert high.faults[0].explanation == 0 and high.explanations == 1


def test_a_required_resistance_that_was_not_read_is_not_tested_by_name():
    links = (ExpectedLink("D-1", "H-1", limit_ohms=0.1), ExpectedLink("D-2", "H-2", limit_ohms=0.1))
    expected = expect(GOOD, checks=("continuity", "resistance"), links=links)
    reading = {("D-1", "H-1"): OhmsReading("D-1", "H-1", 0.05, 0.001)}
    facts = JudgeFacts(can=checks_of(["scan", "resistance"]))
    verdict = judge(expected, measured(GOOD, grade="wire", ohms=reading), facts)
    assert verdict.verdict == NOT_TESTED
    assert verdict.untested == (("resistance of D-2 to H-2 not measured", ("D-2", "H-2")),)
