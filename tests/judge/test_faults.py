"""From explanations to faults: untouched circuits send the person to leads and plugs first."""

from tester.judge import judge
from tests.judge.benches import expect, measured

GOOD = "D-1 H-1 | D-2 H-2 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-7"


def only(verdict):
    [fault] = [f for f in verdict.faults if f.explanation == 0]
    return fault


def test_a_swap_that_no_step_touched_points_at_the_leads():
    edited = frozenset({"D-7"})
    verdict = judge(expect(GOOD, edited=edited), measured("D-1 H-2 | D-2 H-1 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-7"))
    assert only(verdict).action == "leads exchanged"
    touched = judge(
        expect(GOOD, edited=frozenset({"H-1", "H-2"})), measured("D-1 H-2 | D-2 H-1 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-7")
    )
    assert only(touched).action == "swap" and set(only(touched).cavities) == {"H-1", "H-2"}


def test_an_untouched_terminal_that_is_open_points_at_its_lead():
    text = "D-1 H-1 | D-2 H-2 | D-3 H-3 | D-4 H-4 H-5 | H-6 | D-7"
    assert only(judge(expect(GOOD, edited=frozenset({"D-1"})), measured(text))).action == "lead not touching"
    assert only(judge(expect(GOOD, edited=frozenset({"H-6"})), measured(text))).action == "open terminal"
    assert only(judge(expect(GOOD), measured(text))).action == "open terminal"


def test_a_plug_of_which_nothing_is_joined_is_one_fault():
    text = "D-1 | D-2 | D-3 | D-4 | H-1 | H-2 | H-3 | H-4 H-5 H-6 | D-7"
    fault = only(judge(expect(GOOD, edited=frozenset({"H-1"})), measured(text)))
    assert fault.action == "plug not home"
    assert set(fault.cavities) == {"D-1", "D-2", "D-3", "D-4"}


def test_the_larger_part_of_an_open_splice_is_not_blamed():
    text = "D-1 H-1 | D-2 H-2 | D-3 H-3 | D-4 | H-4 H-5 H-6 | D-7"
    fault = only(judge(expect(GOOD), measured(text)))
    assert fault.cavities == ("D-4",) and set(fault.belongs) == {"H-4", "H-5", "H-6"}


def test_two_halves_of_a_splice_are_a_splice_that_is_incomplete():
    text = "D-1 H-1 | D-2 H-2 | D-3 H-3 | D-4 H-4 | H-5 H-6 | D-7"
    fault = only(judge(expect(GOOD), measured(text)))
    assert fault.action == "splice incomplete" and set(fault.cavities) == {"D-4", "H-4", "H-5", "H-6"}


def test_a_sealed_off_lead_that_touches_is_named():
    expected = expect(GOOD, sealed={"D-7": "old feed"})
    fault = only(judge(expected, measured("D-1 H-1 D-7 | D-2 H-2 | D-3 H-3 | D-4 H-4 H-5 H-6")))
    assert fault.action == "sealed-off lead touching" and fault.sits == ("D-7",)


def test_ties_carry_the_number_of_their_explanation():
    verdict = judge(expect(GOOD), measured("D-1 H-2 | D-2 H-1 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-7"))
    assert verdict.explanations == 2
    assert [f.explanation for f in verdict.faults] == [0, 1]
    assert [set(f.cavities) for f in verdict.faults] == [{"D-1", "D-2"}, {"H-1", "H-2"}]
