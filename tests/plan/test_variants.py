"""Combinations against truth tables, variants against harnesses built by hand, contradictions named."""

from __future__ import annotations

from itertools import product
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tester.plan.combos import ELSEWHERE, combos, leaf_key, questions_of
from tester.plan.conditions import Condition
from tester.plan.expect import expectation
from tester.plan.models import Plan
from tester.plan.report_text import report_text
from tester.plan.resolve import resolve
from tester.plan.variants import check_plan
from tests.support.demo import demo_plan
from tests.support.rough_harness import Rough
from tests.support.rough_steps import Impossible, carry_out

HEAD = {"format": 1, "id": "p", "revision": "1"}


def plan(steps: list[dict[str, Any]], wire: list[dict[str, Any]] | None = None, **more: Any) -> Plan:
    tables = {"connector": [{"id": "D", "cavities": 9}, {"id": "H", "cavities": 9}]}
    return Plan.model_validate(HEAD | tables | {"step": steps, "wire": wire or []} | more)


def random_question(random: Random, names: list[str]) -> dict[str, Any]:
    kind = random.choice(("occupied", "lone", "joined", "joined", "eye"))
    if kind == "joined":
        return {"joined": random.sample(names, random.choice((2, 2, 3)))}
    return {kind: random.choice(names) if kind != "eye" else f"Question {random.randint(1, 2)}?"}


def set_partitions(names: list[str]) -> list[list[list[str]]]:
    if not names:
        return [[]]
    found = []
    for rest in set_partitions(names[1:]):
        found += [[*rest[:n], [names[0], *rest[n]], *rest[n + 1 :]] for n in range(len(rest))]
        found.append([[names[0]], *rest])
    return found


def truth_table(keys: list[tuple[str, ...]]) -> set[tuple[bool, ...]]:
    """Every answer vector of every harness over the cavities asked about: circuits, far ends, terminals, eyes."""
    names = sorted({name for key in keys if key[0] != "eye" for name in key[1:]})
    eyes = sorted({key[1] for key in keys if key[0] == "eye"})
    rows = set()
    for circuits in set_partitions(names):
        singles = [c[0] for c in circuits if len(c) == 1]
        for states in product(("empty", "terminal", "far end"), repeat=len(singles)):
            state = dict(zip(singles, states, strict=True))
            for seen in product((False, True), repeat=len(eyes)):
                row = []
                for key in keys:
                    if key[0] == "eye":
                        row.append(seen[eyes.index(key[1])])
                    elif key[0] == "joined":
                        row.append(any(set(key[1:]) <= set(circuit) for circuit in circuits))
                    elif key[0] == "lone":
                        row.append(state.get(key[1], "joined") in ("empty", "terminal"))
                    else:
                        row.append(state.get(key[1], "joined") != "empty")
                rows.add(tuple(row))
    return rows


@settings(max_examples=120, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_combinations_are_those_of_a_truth_table_over_all_harnesses(random: Random) -> None:
    names = [f"D-{n}" for n in range(1, random.randint(3, 5) + 1)]
    whens = [random_question(random, names) for _ in range(random.randint(1, 6))]
    made = plan([{"do": "tug", "cavity": "D-9", "when": when} for when in whens])
    keys = [leaf_key(one) for one in questions_of(made)]
    found = combos(made)
    assert found.complete
    assert {tuple(one.holds[key] for key in keys) for one in found.made} == truth_table(keys)
    assert len(found.made) == len(truth_table(keys))


@settings(max_examples=60, deadline=None)
@given(st.randoms(use_true_random=False))
def test_each_combination_s_harness_gives_the_answers_that_it_stands_for(random: Random) -> None:
    names = [f"D-{n}" for n in range(1, 5)]
    whens = [random_question(random, names) for _ in range(random.randint(1, 5))]
    steps = [{"id": str(n), "do": "tug", "cavity": "D-9", "when": when} for n, when in enumerate(whens)]
    made = plan(steps)
    for combo in combos(made).made:
        found = resolve(made, combo.as_found, combo.answers)
        assert not found.questions
        wanted = {str(n) for n, when in enumerate(whens) if combo.holds[leaf_key(Condition.model_validate(when))]}
        assert {one.id for one in found.todo} == wanted


def conditional_plan(random: Random) -> tuple[Plan, list[dict[str, Any]], list[dict[str, Any]]]:
    """A random plan of conditional steps that may well contradict itself."""
    names = [f"D-{n}" for n in range(1, 6)]
    kit: list[dict[str, Any]] = [
        {"id": f"W{n}", "colour": "RD", "a": {"cavity": random.choice(names)}, "b": {"cavity": f"H-{n}"}}
        for n in range(1, 4)
    ]
    kit += [{"id": f"S{n}", "colour": "BN", "a": {"cavity": f"H-{n + 5}"}, "b": {"splice": "S"}} for n in (1, 2)]
    steps: list[dict[str, Any]] = []
    for wire in ("W1", "W2", "W3"):
        when = random_question(random, names)
        if random.random() < 0.5:
            steps.append({"do": "remove", "cavity": random.choice(names), "junction": False, "when": when})
        steps.append({"do": "insert", "wire": wire, "end": "a", "when": when})
        steps.append({"do": "insert", "wire": wire, "end": "b", "when": when})
        if random.random() < 0.5:
            steps.append({"do": "seal-off", "wire": wire, "when": {"not": when}})
    steps.append({"do": "move", "from": random.choice(names), "to": "H-9", "when": random_question(random, names)})
    steps.append({"do": "plug", "cavity": random.choice(names), "when": random_question(random, names)})
    steps.append({"do": "insert", "wire": "S1", "end": "a", "when": random_question(random, names)})
    steps.append({"do": "insert", "wire": "S2", "end": "a"})
    steps.append({"do": "splice", "splice": "S", "ways": random.choice((1, 2)) + 1 if random.random() < 0.2 else 2})
    steps = [{"id": str(n)} | step for n, step in enumerate(steps)]
    return plan(steps, kit), steps, kit


@settings(max_examples=60, deadline=None)
@given(st.randoms(use_true_random=False))
def test_each_variant_comes_out_as_on_a_harness_built_by_hand(random: Random) -> None:
    made, steps, kit = conditional_plan(random)
    for combo in combos(made).made:
        found = resolve(made, combo.as_found, combo.answers)
        rough = Rough(list(combo.as_found.netlist.cavities))
        for circuit in combo.as_found.netlist:
            if len(circuit) > 1:
                rough.sits |= {name: f"terminal {name}" for name in circuit}
                rough.wires += [(f"terminal {name}", f"joint {circuit[0]}") for name in circuit]
        eyes = {id.removeprefix("occupied "): yes for id, yes in combo.answers.items() if id.startswith("occupied ")}
        rough.sits |= {name: f"terminal {name}" for name, yes in eyes.items() if yes and name not in rough.sits}
        todo = [step for step in steps if step["id"] in {one.id for one in found.todo}]
        try:
            carry_out(rough, todo, kit, {name for name, yes in eyes.items() if not yes})
        except Impossible as wrong:
            assert found.problems and found.problems[0].step == str(wrong)
            continue
        assert found.problems == ()
        expected = expectation(made, combo.as_found, combo.answers)
        assert [one.netlist for one in expected.outcomes] == [rough.netlist()]


def test_the_demo_plan_fits_on_all_variants_and_both_sides() -> None:
    report = check_plan(demo_plan())
    assert report.fits and report.possible == 8 and len(report.variants) == 8
    assert report.dead == report.always == report.never_used == ()
    circuits = {one.circuits for one in report.variants if one.side == "right"}
    assert (("D-13", "H-21"), ("D-14", "H-22"), ("D-15", "H-23", "H-24"), ("D-17", "H-25")) in circuits
    assert report.taken_empty == ("D-15", "D-16", "H-23", "H-24", "H-25")
    text = report_text(demo_plan(), report)
    assert max(map(len, text.splitlines())) <= 80 and text.count("fits") == 8


W1 = {"id": "W1", "colour": "RD", "a": {"cavity": "D-1"}, "b": {"cavity": "H-1"}}
IN = [{"id": "a", "do": "insert", "wire": "W1", "end": "a"}, {"id": "b", "do": "insert", "wire": "W1", "end": "b"}]
SEALED = [{"id": "D", "cavities": 9, "sealed": True, "lock": "slide"}, {"id": "H", "cavities": 9}]
OUT = {"id": "out", "do": "remove", "cavity": "D-1", "lead": "old"}
CAP = {"id": "cap", "do": "seal-off", "lead": "old"}
OPEN, SHUT = {"id": "o", "do": "unlock", "connector": "D"}, {"id": "c", "do": "lock", "connector": "D"}
TAIL = [{"id": f"T{n}", "colour": "BN", "a": {"cavity": f"D-{n}"}, "b": {"splice": "S"}} for n in (4, 5)]


@pytest.mark.parametrize(
    ("steps", "wire", "kind", "words"),
    [
        ([{"id": "x", **IN[0], "when": {"occupied": "D-1"}}, IN[1]], [W1], "occupied", "D-1 is occupied"),
        ([{**IN[0], "when": {"joined": ["D-1", "H-1"]}}], [W1], "already there", "D-1 is already joined to H-1"),
        ([OPEN, OUT, CAP, SHUT], [], "unplugged", 'add a step with do = "plug" and cavity = "D-1"'),
        ([OPEN, OUT, {"do": "plug", "cavity": "D-1"}, SHUT], [], "not sealed off", "lead old is left bare"),
        ([{"do": "cut", "cavity": "D-1"}], [], "not sealed off", "stub end of the wire cut behind D-1"),
        ([IN[0]], [W1], "loose end", "end b of wire W1 (cavity H-1) is put nowhere"),
        ([OPEN, *IN], [W1], "lock", "connector D is left open"),
        (IN, [W1], "lock", "works on connector D while its lock is closed"),
        (
            [OPEN, {"id": "t", "do": "insert", "wire": "T4", "end": "a"},
             {"id": "u", "do": "insert", "wire": "T5", "end": "a", "when": {"eye": "Is it long?"}},
             {"id": "s", "do": "splice", "splice": "S", "ways": 2}, SHUT],
            TAIL, "splice", "splice S should join 2 leads, but 1 come to it here",
        ),
    ],
)  # fmt: skip
def test_each_contradiction_names_its_step_and_the_way_out(
    steps: list[dict[str, Any]], wire: list[dict[str, Any]], kind: str, words: str
) -> None:
    report = check_plan(plan(steps, wire, connector=SEALED))
    assert not report.fits
    found = [finding for one in report.variants for finding in one.findings]
    assert any(one.kind == kind and words in one.says for one in found), found
    assert "CONTRADICTS ITSELF" in report_text(plan(steps, wire, connector=SEALED), report)


def test_a_step_for_one_side_only_needs_a_note_that_says_so() -> None:
    steps = [{"id": "x", "do": "look", "see": "the clip", "when": {"side": "left"}}]
    quiet = check_plan(plan(steps, sides={"left": {}, "right": {}}))
    assert [one.kind for one in quiet.findings] == ["sides"] and "only side left" in quiet.findings[0].says
    assert check_plan(plan(steps, sides={"left": {}, "right": {"note": "has no clip"}})).fits


def test_dead_and_idle_conditions_and_wires_never_used_are_listed() -> None:
    steps = [
        {"id": "never", "do": "tug", "cavity": "D-1", "when": {"all": [{"lone": "D-1"}, {"joined": ["D-1", "D-2"]}]}},
        {"id": "always", "do": "tug", "cavity": "D-1", "when": {"any": [{"eye": "Q?"}, {"not": {"eye": "Q?"}}]}},
        {"id": "fact", "do": "tug", "cavity": "D-1", "when": {"occupied": "D-7"}},
    ]
    report = check_plan(plan(steps, [W1], fact=[{"that": {"not": {"occupied": "D-7"}}}]))
    assert report.dead == ("never", "fact") and report.always == ("always",)
    text = report_text(plan(steps, [W1]), report)
    assert "step never is never done" in text and "step always is always done" in text


def test_a_wire_that_no_step_uses_is_left_over_or_never_used() -> None:
    when = {"eye": "Q?"}
    used = check_plan(plan([{**one, "when": when} for one in IN], [W1]))
    assert {one.left_over for one in used.variants} == {("W1",), ()}
    assert check_plan(plan([], [W1])).never_used == ("W1",)


def test_too_many_combinations_are_tried_in_pairs_and_it_says_what_was_not() -> None:
    steps = [{"id": str(n), "do": "look", "see": "it", "when": {"eye": f"Q{n}?"}} for n in range(20)]
    report = check_plan(plan(steps), most=500)
    assert "20 questions give up to 2^20 combinations" in report.not_tried and report.possible < 800
    seen = {(a, b, a in one.steps, b in one.steps) for one in report.variants for a in ("3", "7") for b in ("11", "19")}
    assert len(seen) == 4 * 4


def test_with_very_many_questions_each_is_tried_by_itself_in_bounded_time() -> None:
    steps = [{"id": str(n), "do": "look", "see": "it", "when": {"eye": f"Q{n}?"}} for n in range(150)]
    report = check_plan(plan(steps), most=500)
    assert "each question answered both ways by itself" in report.not_tried and report.possible == 151
    assert report.dead == () and report.always == ()


def test_far_ends_stay_out_of_what_is_shown() -> None:
    steps = [{"id": "m", "do": "move", "from": "D-1", "to": "D-2", "when": {"not": {"lone": "D-1"}}}]
    report = check_plan(plan(steps))
    assert {one.circuits for one in report.variants} == {(), (("D-2",),)}
    assert ELSEWHERE not in report_text(plan(steps), report)
