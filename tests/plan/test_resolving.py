"""Conditions, occupied cavities, several outcomes, parts that move, all on small plans."""

from __future__ import annotations

from typing import Any

import pytest

from tester.errors import InputError
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured, OhmsReading, PartReading
from tester.judge import JudgeFacts, judge
from tester.plan.conditions import Condition
from tester.plan.expect import expectation
from tester.plan.models import Plan
from tester.plan.resolve import resolve

WIRE = {"id": "W1", "colour": "RD", "a": {"cavity": "D-1"}, "b": {"cavity": "H-1"}}


def plan(*steps: dict[str, Any], wire: tuple[dict[str, Any], ...] = (), **more: Any) -> Plan:
    tables = {"connector": [{"id": "D", "cavities": 9}, {"id": "H", "cavities": 9}], "wire": list(wire)}
    return Plan.model_validate({"format": 1, "id": "p", "revision": "1", "step": list(steps)} | tables | more)


def scan(*circuits: list[str], **more: Any) -> Measured:
    names = [f"{c}-{n}" for c in "DH" for n in range(1, 10)]
    return Measured(Netlist.of(circuits, names), **more)


@pytest.mark.parametrize(
    ("when", "value"),
    [
        ({"joined": ["D-1", "H-1"]}, True),
        ({"joined": ["D-1", "H-1", "D-2"]}, False),
        ({"not": {"joined": ["D-1", "D-2"]}}, True),
        ({"occupied": "D-1"}, True),
        ({"occupied": "D-9"}, None),
        ({"lone": "D-9"}, True),
        ({"lone": "D-1"}, False),
        ({"joined": ["D-3", "D-4"]}, None),
        ({"lone": "D-3"}, None),
        ({"all": [{"occupied": "D-1"}, {"occupied": "D-9"}]}, None),
        ({"all": [{"occupied": "D-9"}, {"lone": "D-1"}]}, False),
        ({"any": [{"occupied": "D-9"}, {"occupied": "D-1"}]}, True),
        ({"any": [{"occupied": "D-9"}, {"lone": "D-1"}]}, None),
        ({"occupied": "D-5"}, True),
        ({"eye": "Is the boot grey?"}, True),
    ],
)
def test_conditions_are_true_false_or_open(when: dict[str, Any], value: bool | None) -> None:
    as_found = scan(["D-1", "H-1"], not_seen=frozenset({("D-3", "D-4")}), directed=frozenset({("D-5", "D-6")}))
    found = resolve(plan({"do": "tug", "cavity": "D-1", "when": when}), as_found, {"eye Is the boot grey?": True})
    got = True if found.todo else None if found.undecided else False
    assert got is value
    assert bool(found.questions) == (value is None)


def test_a_condition_says_itself_in_words() -> None:
    when = Condition.model_validate(
        {"all": [{"occupied": "d13"}, {"not": {"joined": ["D5", "D14"]}}, {"not": {"lone": "D-1"}}]}
    )
    assert when.words == "D-13 is occupied and D-5 and D-14 are not joined and D-1 is joined to something"


def test_another_wire_in_the_way_is_told_apart_from_the_wanted_circuit() -> None:
    steps = ({"id": "in", "do": "insert", "wire": "W1", "end": "a"},)
    other = resolve(plan(*steps, wire=(WIRE,)), scan(["D-1", "D-2"])).problems
    wanted = resolve(plan(*steps, wire=(WIRE,)), scan(["D-1", "H-1"])).problems
    assert [one.kind for one in other] == ["occupied"] and "joined to D-2" in other[0].says
    assert [one.kind for one in wanted] == ["already there"]
    with pytest.raises(InputError, match="step in of plan p cannot be done here: D-1 is occupied"):
        expectation(plan(*steps, wire=(WIRE,)), scan(["D-1", "D-2"]))


def test_an_occupied_cavity_may_be_filled_once_a_step_emptied_it() -> None:
    steps = (
        {"do": "remove", "cavity": "D-1"},
        {"do": "insert", "wire": "W1", "end": "a"},
        {"do": "insert", "wire": "W1", "end": "b"},
    )
    expected = expectation(plan(*steps, wire=(WIRE,)), scan(["D-1", "D-2"]))
    assert expected.outcomes[0].netlist == scan(["D-1", "H-1"]).netlist


def test_a_removed_junction_keeps_both_outcomes_and_says_what_each_would_mean() -> None:
    expected = expectation(plan({"do": "remove", "cavity": "D-1"}), scan(["D-1", "D-2", "H-1"]))
    assert {o.note: o.netlist for o in expected.outcomes} == {
        "D-1 was not a junction: D-2, H-1 stay joined": scan(["D-2", "H-1"]).netlist,
        "D-1 was a junction: it leaves D-2 | H-1 apart": scan().netlist,
    }


@pytest.mark.parametrize(("junction", "circuits"), [(False, [["D-2", "H-1"]]), (True, [])])
def test_the_plan_or_the_person_settles_a_junction(junction: bool, circuits: list[list[str]]) -> None:
    as_found = scan(["D-1", "D-2", "H-1"])
    told = expectation(plan({"do": "remove", "cavity": "D-1", "junction": junction}), as_found)
    seen = expectation(plan({"id": "x", "do": "remove", "cavity": "D-1"}), as_found, {"junction x": junction})
    assert [o.netlist for o in told.outcomes] == [o.netlist for o in seen.outcomes] == [scan(*circuits).netlist]


def test_beyond_sixteen_outcomes_it_asks_and_then_wants_groups() -> None:
    big = scan(["D-1", "D-2", "D-3", "D-4", "H-1", "H-2", "H-3"])
    asked = resolve(plan({"id": "x", "do": "remove", "cavity": "D-1"}), big)
    assert [one.id for one in asked.questions] == ["junction x"]
    assert (
        len(expectation(plan({"id": "x", "do": "remove", "cavity": "D-1"}), big, {"junction x": False}).outcomes) == 1
    )
    yes = resolve(plan({"id": "x", "do": "remove", "cavity": "D-1"}), big, {"junction x": True})
    assert "needs groups" in yes.problems[0].says
    groups = [["D-2", "D-3"], ["D-4", "H-1", "H-2", "H-3"]]
    told = expectation(plan({"do": "remove", "cavity": "D-1", "groups": groups}), big)
    assert [o.netlist for o in told.outcomes] == [scan(*groups).netlist]


def test_exactly_sixteen_outcomes_are_kept() -> None:
    expected = expectation(plan({"do": "remove", "cavity": "D-1"}), scan(["D-1", "D-2", "D-3", "D-4", "H-1", "H-2"]))
    assert len(expected.outcomes) == 16


def test_a_cut_wire_is_spliced_to_a_kit_wire() -> None:
    tail = {"id": "W2", "colour": "BN", "a": {"cavity": "H-2"}, "b": {"splice": "S"}}
    steps = (
        {"do": "cut", "cavity": "D-1", "lead": "far", "stub": "near"},
        {"do": "insert", "wire": "W2", "end": "a"},
        {"do": "splice", "splice": "S", "leads": ["far"], "ways": 2},
    )
    expected = expectation(plan(*steps, wire=(tail,)), scan(["D-1", "H-1", "H-3"]))
    assert [o.netlist for o in expected.outcomes] == [scan(["H-1", "H-2", "H-3"]).netlist]


def test_a_cut_wire_that_shares_its_terminal_is_not_guessed_at_when_it_is_used_again() -> None:
    tail = {"id": "W2", "colour": "BN", "a": {"cavity": "H-2"}, "b": {"splice": "S"}}
    cut = {"id": "x", "do": "cut", "cavity": "D-1", "lead": "far", "stub": "near"}
    rest = ({"do": "insert", "wire": "W2", "end": "a"}, {"do": "splice", "splice": "S", "leads": ["far"], "ways": 2})
    as_found = scan(["D-1", "H-1", "H-3"])
    told = resolve(plan({**cut, "junction": True}, *rest, wire=(tail,)), as_found).problems
    seen = resolve(plan(cut, *rest, wire=(tail,)), as_found, {"junction x": True}).problems
    for found in (told, seen):
        assert [(one.kind, one.cavities) for one in found] == [("junction", ("D-1",))]
        assert "two jobs" in found[0].says
    assert not resolve(plan({**cut, "junction": False}, *rest, wire=(tail,)), as_found).problems


def test_a_lead_that_was_sealed_off_goes_into_no_splice() -> None:
    tail = {"id": "W2", "colour": "BN", "a": {"cavity": "H-2"}, "b": {"splice": "S"}}
    steps = (
        {"do": "cut", "cavity": "D-1", "lead": "far"},
        {"do": "seal-off", "lead": "far"},
        {"do": "insert", "wire": "W2", "end": "a"},
        {"do": "splice", "splice": "S", "leads": ["far"], "ways": 2},
    )
    found = resolve(plan(*steps, wire=(tail,)), scan(["D-1", "H-1"])).problems
    assert found[0].kind == "sealed off" and "lead far was sealed off before" in found[0].says


def test_a_splice_with_the_wrong_number_of_leads_is_named() -> None:
    one = {"id": "W2", "colour": "BN", "a": {"cavity": "H-2"}, "b": {"splice": "S"}}
    two = {"id": "W3", "colour": "BN", "a": {"cavity": "H-3"}, "b": {"splice": "S"}}
    steps = (
        {"do": "insert", "wire": "W2", "end": "a"},
        {"do": "insert", "wire": "W3", "end": "a", "when": {"lone": "D-1"}},
        {"do": "splice", "splice": "S", "ways": 2, "taps": []},
    )
    found = resolve(plan(*steps, wire=(one, two)), scan(["D-1", "H-1"]))
    assert [p.says for p in found.problems] == ["splice S should join 2 leads, but 1 come to it here"]


def test_a_ring_on_a_lead_is_part_of_the_new_circuit() -> None:
    tables = {"connector": [{"id": "D", "cavities": 2}, {"id": "G", "cavities": 1, "kind": "ring"}]}
    tail = {"id": "W1", "colour": "BN", "a": {"cavity": "D-1"}, "b": {"ring": "G-1"}}
    step = {"do": "insert", "wire": "W1", "end": "a"}
    expected = expectation(plan(step, wire=(tail,), **tables), Measured(Netlist.of([], ["D-1", "D-2", "G-1"])))
    assert expected.outcomes[0].netlist == Netlist.of([["D-1", "G-1"]], ["D-2"])
    assert expected.required == {"D-1", "D-2"}


def test_parts_follow_the_terminals_that_move() -> None:
    part = PartReading("D-1", "H-1", 470.0, 470.0)
    as_found = scan(
        ["D-1", "D-2"], ["H-1", "H-2"], parts=(part,), ohms={("D-1", "D-2"): OhmsReading("D-1", "D-2", 0.1, 0.01)}
    )
    expected = expectation(plan({"do": "move", "from": "D-1", "to": "D-5"}), as_found)
    assert [(p.a, p.b, p.ohms_ab) for p in expected.parts] == [("D-5", "H-1", 470.0)]
    link = next(link for link in expected.links if link.source == "as found")
    assert (link.a, link.b, link.found_ohms) == ("D-2", "D-5", 0.1)


def test_a_part_that_loses_one_side_or_will_not_hold_still_is_named() -> None:
    parts = (PartReading("D-1", "H-1", 470.0, 470.0), PartReading("D-3", "H-3", 1e4, 2e4, stable=False))
    gone = expectation(plan({"do": "remove", "cavity": "D-1"}), scan(["H-1", "H-2"], parts=parts))
    assert gone.parts == () and "part between D-1 and H-1 cannot be seen any more" in gone.notes[0]
    assert gone.unsteady == {("D-3", "H-3")}


def test_what_only_eyes_can_confirm_is_listed() -> None:
    steps = ({"do": "remove", "cavity": "D-1"}, {"do": "plug", "cavity": "D-1"}, {"do": "tug", "cavity": "D-2"})
    expected = expectation(plan(*steps), scan())
    assert expected.by_eye == {"D-1": "a plug closes D-1", "D-2": "the wire in D-2 holds when tugged"}


def test_without_as_found_and_without_a_reference_there_is_nothing_to_expect() -> None:
    with pytest.raises(InputError, match="an as-found scan is needed"):
        expectation(plan(), None)


def test_open_questions_say_how_to_answer_them() -> None:
    step = {"do": "remove", "cavity": "D-1", "when": {"occupied": "D-1"}}
    with pytest.raises(InputError, match='--answer "occupied D-1=yes" or "=no"'):
        expectation(plan(step), scan())


def test_a_plan_with_sides_wants_one_and_a_plan_without_refuses_one() -> None:
    sided = plan({"do": "tug", "cavity": "D-1"}, sides={"left": {}, "right": {"cavities": {"D-1": "D-2"}}})
    assert resolve(sided, scan(), {}, "RIGHT").todo[0].cavities == ("D-2",)
    with pytest.raises(InputError, match="say which: left, right"):
        resolve(sided, scan())
    with pytest.raises(InputError, match="no side 'rihgt'; did you mean \"right\""):
        resolve(sided, scan(), {}, "rihgt")
    with pytest.raises(InputError, match="has no sides"):
        resolve(plan(), scan(), {}, "left")


def test_a_part_seen_in_several_rounds_under_other_cavities_is_carried_once() -> None:
    parts = (PartReading("D-1", "H-1", 470.0, 470.0), PartReading("H-2", "D-2", 480.0, 470.0))
    expected = expectation(plan({"do": "tug", "cavity": "D-9"}), scan(["D-1", "D-2"], ["H-1", "H-2"], parts=parts))
    assert [(p.a, p.b) for p in expected.parts] == [("D-1", "H-1")]


def test_the_plans_own_limit_between_two_cavities_holds_for_a_circuit_that_was_there() -> None:
    """Measured by itself, and judged by it although resistance is not asked for otherwise."""
    own = plan({"do": "tug", "cavity": "D-1"}, limit=[{"between": ["H-1", "D-1"], "ohms": 0.5, "why": "heater"}])
    found = Measured(Netlist.of([["D-1", "H-1"]]), ohms={("D-1", "H-1"): OhmsReading("D-1", "H-1", 0.3, 0.01)})
    (link,) = expectation(own, found).links
    assert (link.a, link.b, link.limit_ohms, link.found_ohms) == ("D-1", "H-1", 0.5, 0.3)
    assert link.source == "the plan's own limit (heater)"
    (bare,) = expectation(own, Measured(Netlist.of([["D-1", "H-1"]]))).links
    assert (bare.limit_ohms, bare.found_ohms) == (0.5, None)
    worse = Measured(Netlist.of([["D-1", "H-1"]]), ohms={("D-1", "H-1"): OhmsReading("D-1", "H-1", 0.8, 0.01)})
    facts = JudgeFacts(can=frozenset({"continuity", "isolation", "direction", "resistance"}))
    assert judge(expectation(own, found), worse, facts).verdict == "FAIL"
    twice = [{"between": ["D-1", "H-1"], "ohms": ohms} for ohms in (0.5, 0.2, 0.4)]
    (lowest,) = expectation(plan({"do": "tug", "cavity": "D-1"}, limit=twice), found).links
    assert lowest.limit_ohms == 0.2
    apart = expectation(own, Measured(Netlist.of([["D-1"], ["H-1"]])))
    assert apart.links == () and "the limit between D-1 and H-1 is for nothing" in apart.notes[0]
