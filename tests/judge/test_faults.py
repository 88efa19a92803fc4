"""From explanations to faults: untouched circuits send the person to leads and plugs first."""

import subprocess
import sys
from pathlib import Path

from tester.harness.expected import ExpectedPart
from tester.harness.reading import PartReading
from tester.harness.verdict import FAIL, NOT_TESTED
from tester.judge import Dropout, JudgeFacts, WatchResult, judge
from tester.words import says
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


def test_without_steps_every_circuit_is_untouched_and_the_leads_come_first():
    open_end = only(judge(expect(GOOD), measured("D-1 H-1 | D-2 H-2 | D-3 H-3 | D-4 H-4 H-5 | H-6 | D-7")))
    assert (open_end.kind, open_end.action) == ("open", "lead not touching")
    pair = only(judge(expect(GOOD), measured("D-1 | H-1 | D-2 H-2 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-7")))
    assert (pair.kind, pair.action, set(pair.cavities)) == ("open", "lead not touching", {"D-1", "H-1"})
    moved = only(judge(expect(GOOD), measured("D-7 H-1 | D-2 H-2 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-1")))
    assert (moved.action, moved.sits, moved.belongs) == ("leads exchanged", ("D-7",), ("D-1",))


def test_a_swap_stays_in_sight_where_the_leads_explain_it_too():
    # both ends of the two wires explain it, at each end the leads or the terminals: two sentences, both ways in each
    verdict = judge(expect(GOOD), measured("D-1 H-2 | D-2 H-1 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-7"))
    assert [f.action for f in verdict.faults] == ["leads exchanged", "leads exchanged"]
    for fault, names in zip(verdict.faults, ("D-1 and D-2", "H-1 and H-2"), strict=True):
        assert f"leads to {names} are exchanged" in says(fault)
        assert "if they are not, each terminal belongs in the other's cavity" in says(fault)


def test_a_swap_that_a_step_touched_is_named_before_the_leads_of_its_other_end():
    edited = frozenset({"H-1", "H-2"})
    verdict = judge(expect(GOOD, edited=edited), measured("D-1 H-2 | D-2 H-1 | D-3 H-3 | D-4 H-4 H-5 H-6 | D-7"))
    assert [f.action for f in verdict.faults] == ["swap", "leads exchanged"]
    assert set(verdict.faults[0].cavities) == edited


def test_openings_that_two_plugs_explain_name_both():
    good, text = "D-1 H-1 | D-2 H-2 | D-3 H-3 | E-1 G-1", "D-1 | D-2 | D-3 | H-1 | H-2 | H-3 | E-1 G-1"
    fault = only(judge(expect(good), measured(text)))
    assert fault.action == "plug not home" and set(fault.sits) == {"D-1", "D-2", "D-3", "H-1", "H-2", "H-3"}
    assert "look first whether D and H" in says(fault)
    part = PartReading("E-1", "D-1", 120.0, 120.0)
    with_part = judge(expect(good), measured(text, parts=(part,), grade="wire"))  # a part beside them changes nothing
    assert [f for f in with_part.faults if f.kind == "open"] == [fault]
    wider = f"{good} | E-2 H-4"
    fault = only(judge(expect(wider), measured(f"{text} | E-2 H-4")))
    assert set(fault.sits) == {"D-1", "D-2", "D-3"}


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


def test_a_part_read_at_a_cavity_that_the_plan_does_not_know_is_the_part_of_its_circuit():
    part = ExpectedPart("D-1", "D-2", 120.0, 120.0)
    expected = expect("D-1 H-1 | D-2 H-2", parts=(part,))
    reading = PartReading("A-1", "D-2", 120.0, 120.0)
    found = judge(expected, measured("A-1 D-1 H-1 | D-2 H-2", parts=(reading,), grade="wire"))
    assert found.faults == () and found.verdict == NOT_TESTED


def test_a_dropout_of_cavities_that_the_plan_does_not_know_still_names_them():
    watch = WatchResult((Dropout("open", ("X-1", "X-2"), 5.0, 3.0),), 10.0, 500.0, 0.9)
    found = judge(expect(GOOD), measured(f"{GOOD} | X-1 X-2"), JudgeFacts(watch=watch))
    (fault,) = [one for one in found.faults if one.kind == "dropout"]
    assert fault.cavities == ("X-1", "X-2") and found.verdict == FAIL


ORDERED = """
from tests.judge.benches import circuits, expect, measured
from tester.judge import diagnose, judge
wanted = " | ".join(f"A-{i} B-{i} C-{i}" for i in range(1, 17))
got = " | ".join(f"A-{i} B-{i % 16 + 1} C-{(i + 5) % 16 + 1}" for i in range(1, 17))
print(diagnose(circuits(wanted), circuits(got)).explanations[0].moved)
links = [(a, b) for a in ("D-1", "H-1", "E-1") for b in ("D-2", "H-2", "E-2")]
text = "D-1 H-1 E-1 | D-2 H-2 E-2"
print(judge(expect(text, diodes=frozenset(links)), measured(text)).faults)
print(judge(expect(text), measured(text, directed=links)).faults)
"""


def test_the_same_reading_is_told_in_the_same_words_in_every_run():
    """Strings hash anew in each process: nothing that is told may follow the order of a set."""
    told = {
        subprocess.run(
            [sys.executable, "-c", ORDERED], cwd=Path(__file__).parents[2], env={"PYTHONHASHSEED": str(seed)},
            capture_output=True, text=True, check=True, timeout=60,
        ).stdout
        for seed in range(4)
    }  # fmt: skip
    assert len(told) == 1
