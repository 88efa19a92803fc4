"""What a touch says while leads are proven."""

from tester.harness.leads import LeadMap
from tester.job.touch import LeadProof, Touched

LEADS = LeadMap("set", {1: "D-1", 2: "D-2", 3: "D-3"}, probe=22)


def test_a_lead_that_answers_with_others_asks_whether_the_harness_is_off() -> None:
    proof = LeadProof(LEADS, ["D-1", "D-2", "D-3"])
    said = proof.judge(Touched(1, "D-1", ("D-1", "D-3"), True))
    assert said.kind == "wrong" and not proof.proven
    assert said.says == "D-1 answers, and D-3 with it: is the harness off? If it is, these leads touch each other."
    assert proof.findings() == [said.says]
    assert proof.judge(Touched(1, "D-1", ("D-1",), True)).kind == "right" and proof.findings() == []


def test_a_lead_that_does_not_answer_itself_is_plugged_in_wrongly() -> None:
    proof = LeadProof(LEADS, ["D-1", "D-2", "D-3"])
    assert proof.judge(Touched(2, "D-2", ("D-2",), True)).says == "D-1 was asked for, but D-2 answered."
    assert proof.findings() == ["The lead for D-1 is plugged in wrongly: D-2 answered."]
