"""Sentences: exact where a person reads them."""

from dataclasses import replace

import pytest

from tester.harness.reading import PartReading
from tester.harness.verdict import FAULT_KINDS, Fault, Verdict
from tester.judge import JudgeFacts, judge
from tester.words import (
    CAUTIONS,
    STAGES,
    connector_caution,
    count_line,
    fault_lines,
    headline,
    listed,
    lone_line,
    ohms,
    reading_lines,
    says,
    stage_line,
    verdict_lines,
)
from tests.judge.benches import expect, measured

GOOD = "D-1 H-1 | D-2 H-2 | D-3"


def test_lists_read_as_a_person_writes_them():
    assert listed([]) == ""
    assert listed(["D-2"]) == "D-2"
    assert listed(["D-10", "D-2"]) == "D-2 and D-10"
    assert listed(["D-10", "D-2", "D-1"], last="or") == "D-1, D-2 or D-10"
    assert listed([f"D-{i}" for i in range(1, 11)], most=2) == "D-1, D-2 and 8 more"


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0619, "61.9 mohm"), (0.99949, "999 mohm"), (0.9999, "1 ohm"), (120, "120 ohm"), (999.9, "1 kohm"),
     (22000, "22 kohm"), (1.4e6, "1.4 Mohm"), (float("inf"), "no conduction"), (-0.002, "-2 mohm")],
)  # fmt: skip
def test_ohms_take_a_fitting_unit(value, text):
    assert ohms(value) == text


def test_a_pass_is_never_printed_without_its_scope_and_its_lone_cavities():
    lines = verdict_lines(judge(expect(GOOD), measured(GOOD)))
    assert lines[0].startswith("PASS: continuity and isolation; resistance not tested (not asked for)")
    assert lines[1] == "1 lone cavity: known only to touch nothing else; 1 lead not proven (D-3)."


def test_a_swap_names_both_cavities_and_the_step():
    expected = expect(GOOD, edited=frozenset({"D-1", "D-2"}), steps={"D-1": ("put-1",), "D-2": ("put-2",)})
    verdict = judge(expected, measured("D-1 H-2 | D-2 H-1 | D-3"))
    assert fault_lines(verdict)[0] == (
        "The terminals in D-1 and D-2 are exchanged: each belongs in the other's cavity (steps put-1 and put-2)."
    )
    assert fault_lines(verdict)[1] == "Or, which would measure the same:"


def test_a_move_says_where_the_terminal_sits_and_where_it_belongs():
    seen = measured("D-3 H-1 | D-2 H-2 | D-1")
    verdict = judge(expect(GOOD, edited=frozenset({"D-1"}), steps={"D-1": ("put-1",)}), seen)
    assert fault_lines(verdict)[0] == "The terminal in D-3 belongs in D-1 (step put-1)."
    assert fault_lines(judge(expect(GOOD), seen))[0] == (
        "What belongs in D-1 is measured in D-3, and no step touched them: look first whether the tester's leads "
        "to D-1 and D-3 are exchanged; if they are not, the terminal in D-3 belongs in D-1."
    )


def test_what_was_not_tested_is_a_line_of_its_own():
    expected = expect(GOOD, checks=("continuity", "resistance"))
    verdict = judge(expected, measured(GOOD), JudgeFacts(steps_open=("put-1",)))
    lines = verdict_lines(verdict)
    assert "Not tested: resistance (this board cannot do it)" in lines
    assert "Not tested: steps not ticked: put-1" in lines
    assert "Not tested: steps not ticked: 7" in verdict_lines(verdict, {"put-1": 7})
    assert lines[0].startswith("NOT TESTED: ")


def test_cavities_are_counted_by_verdict():
    assert count_line(judge(expect(GOOD), measured("D-1 | H-1 | D-2 H-2 | D-3"))) == "5 cavities: 3 PASS, 2 FAIL"
    assert lone_line(judge(expect("D-1 H-1"), measured("D-1 H-1"))) == "No lone cavities."
    assert headline(judge(expect(GOOD), measured("D-1 | H-1 | D-2 H-2 | D-3"))).startswith("FAIL: continuity")


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_every_kind_of_fault_has_a_sentence(kind):
    values = {"ohms": 3.2, "limit_ohms": 0.09, "expected_ohms": 120.0, "ms": 3.0}
    fault = Fault(kind, ("D-1", "H-2"), 0, "", ("D-1",), ("H-2",), ("put-1",), values)
    text = says(fault)
    assert "D-1" in text and text.endswith("(step put-1)") and text[0].isupper()


def test_stages_and_cautions_are_said():
    assert next(iter(STAGES)) == "intake" and stage_line("wiggle")
    with pytest.raises(KeyError):
        stage_line("lunch")
    assert "battery" in CAUTIONS and "inflator" in CAUTIONS["restraint"]
    assert "D-7" in connector_caution("D", "D-7")


def test_a_scan_in_words_holds_every_cavity_and_every_doubt():
    parts = (PartReading("D-2", "D-3", 465.0, None, 0.6), PartReading("D-1", "D-3", 120.0, 120.0, stable=False))
    seen = measured(GOOD, directed=[("D-1", "D-2"), ("H-1", "H-2")], doubtful=[("D-2", "H-2")],
                    not_seen=[("D-1", "D-3")], parts=parts, unanchored=(1,))  # fmt: skip
    assert reading_lines(seen) == [
        "Circuit of 2 cavities: D-1 and H-1",
        "Circuit of 2 cavities: D-2 and H-2",
        "1 lone cavity: D-3",
        "One way only: conducts from D-2 to D-1, not back",
        "Diode between D-2 and D-3: 465 ohm, the other way no conduction, 0.60 V",
        "Part between D-1 and D-3: 120 ohm; it does not hold still",
        "Doubtful: readings of D-2 and H-2 disagree",
        "Never on leads together: D-1 with D-3",
        "Round 2 saw no circuit of an earlier round again: nothing shows that it was plugged right",
    ]


def test_groups_of_terminals_say_where_each_sits_and_belongs():
    sits, belongs = ("A-2", "A-3", "A-1"), ("A-1", "A-2", "A-3")
    fault = Fault("miswire", belongs, 0, "rotated group", sits, belongs, ("put-1",))
    places = "the one in A-2 belongs in A-1, the one in A-3 belongs in A-2 and the one in A-1 belongs in A-3"
    assert says(fault) == f"3 terminals sit in wrong cavities: {places} (step put-1)"
    assert says(Fault("miswire", belongs, 0, "rotated group", sits, belongs)) == (
        f"3 terminals sit in wrong cavities: {places}; no step touched them, so look first at the tester's leads there"
    )
    assert says(Fault("miswire", belongs, 0, "mirrored face", sits, belongs)).startswith(
        "3 terminals of A sit as in a mirror image of its face: the one in A-2"
    )
    assert says(Fault("miswire", belongs, 0, "row offset", sits, belongs)).startswith(
        "3 terminals of A sit off by the same number of places: the one in A-2 belongs in A-1"
    )


def test_untouched_circuits_send_the_person_to_the_leads_first():
    lead = Fault("open", ("H-6",), 0, "lead not touching", ("H-6",), ("D-4", "H-5"))
    assert says(lead) == (
        "H-6 is not joined to D-4 and H-5, and no step touched it: "
        "look first at the tester's lead to H-6, then at its terminal"
    )
    both = Fault("open", ("D-1", "H-1"), 0, "lead not touching", ("D-1",), ("H-1",))
    assert says(both) == (
        "D-1 is not joined to H-1, and no step touched them: "
        "look first at the tester's leads to D-1 and H-1, then at both terminals and the wire"
    )
    exchanged = Fault("miswire", ("D-1", "D-2"), 0, "leads exchanged", ("D-2", "D-1"), ("D-1", "D-2"))
    assert "leads to D-1 and D-2 are exchanged" in says(exchanged)
    plug = Fault("open", ("D-1", "D-2", "D-3"), 0, "plug not home", ("D-1", "D-2", "D-3"), ("H-1", "H-2", "H-3"))
    assert says(plug) == (
        "No wired cavity of D is joined to anything (D-1, D-2 and D-3): "
        "look first whether D and the tester's plug for it are pushed home"
    )


def test_beyond_the_exact_search_the_sentence_says_at_least():
    many = measured("A-1 A-2 A-3 B-4 | B-1 B-5 A-6 | A-4 | B-2 B-3 A-7 | A-5 B-6 B-7 A-8 | B-8 B-9 A-9 B-10 | A-10")
    wanted = expect(" | ".join(f"A-{i} B-{i}" for i in range(1, 11)))
    verdict = judge(wanted, many)
    text = fault_lines(verdict)
    assert not verdict.exact
    assert text[0] == (
        f"At least {verdict.at_least} faults (a bound: too many to search every explanation). "
        f"The following would measure so; fewer faults may as well:"
    )


# words for how something came about: a person reads where to look, not what the program imagines
CAUSES = ("damp", "damage", "wet", "corro", "moist", "broken", "worn", "chafed", "crushed", "because", "probably",
          "likely", "may have", "forgot", "mistake", "loose", "bad crimp", "water")  # fmt: skip


def every_fault():
    """One fault of each kind and action that judge makes."""
    values = {"ohms": 3.2, "limit_ohms": 0.09, "expected_ohms": 120.0, "ms": 3.0}
    actions = {
        "miswire": ("swap", "leads exchanged", "move", "rotated group", "moved group", "row offset", "mirrored face",
                    "plugs exchanged"),
        "short": ("bridge", "sealed-off lead touching", "one-way link", "both ways"),
        "open": ("open terminal", "missing wire", "splice incomplete", "lead not touching", "plug not home",
                 "part missing"),
        "reversed": ("part turned round", "part differs"), "leakage": ("leakage", "part differs", "to any other"),
        "high-resistance": ("", "branch", "branches not told apart", "part differs"),
        "dropout": ("open for a moment", "short for a moment"), "doubtful": ("",),
    }  # fmt: skip
    assert set(actions) == set(FAULT_KINDS)
    for kind, named in actions.items():
        for action in named:
            sits, belongs = ("D-1", "D-2"), ("D-2", "D-1")
            if action in ("move", "one-way link", "both ways", "lead not touching", "part missing"):
                sits, belongs = ("D-1",), ("D-2",)
            for steps in ((), ("put-1",)):
                yield Fault(kind, ("D-1", "D-2"), 0, action, sits, belongs, steps, values)


def test_no_sentence_about_a_fault_guesses_at_a_cause():
    for fault in every_fault():
        text = says(fault)
        assert not [word for word in CAUSES if word in text.lower()], text


def test_every_sentence_about_a_fault_says_what_to_look_at_or_where_the_terminal_belongs():
    for fault in every_fault():
        text = says(fault)
        assert ("D-1" in text and "D-2" in text) or "terminals of D sit" in text  # of two plugs, here one
        assert "look" in text or "belongs" in text or "turn it" in text, text
        assert text.endswith("(step put-1)") == bool(fault.steps)


def test_more_explanations_than_are_listed_are_counted_as_at_least_so_many():
    groups = tuple(Fault("open", ("D-1",), n, "open terminal", ("D-1",), ("H-1", "H-2")) for n in range(5))
    whole = Verdict("FAIL", (), (), (), groups, 5)
    assert fault_lines(whole)[-1] == "2 more explanations would measure the same."
    assert fault_lines(replace(whole, complete=False))[-1] == "At least 2 more explanations would measure the same."


def test_steps_are_named_by_their_numbers_on_the_sheet_where_these_are_known():
    swap = Fault("miswire", ("D-13", "D-14"), 0, "swap", ("D-14", "D-13"), ("D-13", "D-14"), ("w2-d", "w1-d"))
    assert says(swap).endswith("(steps w2-d and w1-d)")
    assert says(swap, {"w1-d": 6, "w2-d": 9, "other": 1}).endswith("(steps 6 and 9)")
    assert says(swap, {"w1-d": 6}).endswith("(steps w2-d and w1-d)")
