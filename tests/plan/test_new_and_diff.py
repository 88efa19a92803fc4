"""Plans begun from flags, and two plans compared in circuits and steps."""

from __future__ import annotations

import re

import pytest

from tester.errors import InputError
from tester.plan.diff import diff_plans, diff_text, same_on_side
from tester.plan.load import load_plan, write_plan
from tester.plan.models import Plan
from tester.plan.new import new_plan, parse_connector
from tests.support.demo import demo_plan


def test_a_new_plan_is_read_as_it_stands_and_declares_nothing() -> None:
    plan = load_plan(new_plan("hatch-lamp", [("D", 18), ("H", 32)], "Lamp", ["left", "right"]), "new.toml")
    assert plan.id == "hatch-lamp" and plan.prove_leads and plan.hazards.undeclared
    assert [one.cavities for one in plan.connector] == [18, 32] and list(plan.sides) == ["left", "right"]


@pytest.mark.parametrize("connectors", [[("D", 18), ("H", 32)], [("D", 2)], [("D", 1), ("H", 1)]])
def test_every_example_in_its_comments_works_when_uncommented(connectors: list[tuple[str, int]]) -> None:
    text = new_plan("x", connectors)
    live = re.sub(r'(?m)^# (?=\[|[a-z_0-9]+ = |"[A-Z])', "", text)
    if connectors != [("D", 18), ("H", 32)]:
        live = re.sub(r"(?m)^rows = .*\n", "", live)
    plan = load_plan(live, "new.toml")
    assert [step.do for step in plan.step] == ["remove", "seal-off", "insert"]
    assert plan.wire and plan.fact and plan.function and set(plan.sides) == {"left", "right"}


def test_names_with_quotes_and_other_scripts_survive() -> None:
    for name in ('a "b" \\ c', "дверь", "x # y", "50 %a% of %sides%"):
        assert load_plan(new_plan(name, [("D", 2)], name, [name]), "new.toml").title == name


@pytest.mark.parametrize("text", ["D", "D=0", "18", "=18", "D=many", "1=2"])
def test_a_connector_is_a_letter_and_a_count(text: str) -> None:
    with pytest.raises(InputError, match="such as D=18"):
        parse_connector(text)
    assert parse_connector("d:18") == ("D", 18)


def changed(old: str, new: str) -> list[str]:
    text = write_plan(demo_plan())
    assert old in text
    other = load_plan(text.replace(old, new), "other.toml")
    return [one.says for one in diff_plans(demo_plan(), other)]


def test_the_same_plan_written_otherwise_has_no_difference() -> None:
    text = "# comment\n" + write_plan(demo_plan()).replace('"D-13"', '"d 13"')
    assert diff_text(diff_plans(demo_plan(), load_plan(text, "x"))) == "The plans say the same.\n"


def test_another_cavity_shows_as_a_circuit_and_in_its_wire() -> None:
    found = changed('b = {cavity = "H-25", terminal = "1.5 mm"}', 'b = {cavity = "H-26", terminal = "1.5 mm"}')
    assert (
        "circuit D-16 H-25 (side left) becomes D-16 H-26 (side left)".replace(" (side left) becomes", " becomes")
        in found
    )
    assert "wire W6: b.cavity H-25 becomes H-26" in found and len(found) == 3


def test_a_changed_condition_is_told_in_words() -> None:
    found = changed(
        'lead = "old heater"\nwhen = {occupied = "D-13"}\n\n', 'lead = "old heater"\nwhen = {lone = "D-13"}\n\n'
    )
    assert "step cap-heater: when D-13 is occupied becomes D-13 is joined to nothing" in found


def test_steps_new_gone_and_in_another_order_are_told_apart() -> None:
    plan = demo_plan()
    steps = list(plan.step)
    moved = Plan.model_validate(
        plan.model_dump(by_alias=True)
        | {"step": [s.model_dump(by_alias=True) for s in [steps[1], steps[0], *steps[2:-1]]]}
    )
    said = [one.says for one in diff_plans(plan, moved)]
    assert said == [
        "step grommet: Look: the grommet sits flat all round.",
        "step open-d: comes in another order, now after open-h",
    ]


def test_the_two_sides_of_a_plan_are_compared_like_two_plans() -> None:
    found = diff_plans(same_on_side(demo_plan(), "left"), same_on_side(demo_plan(), "right"))
    assert [one.says for one in found] == ["circuit D-16 H-25 becomes D-17 H-25", "wire W6: a.cavity D-16 becomes D-17"]


def test_rules_are_compared_one_by_one() -> None:
    said = [one.says for one in diff_plans(demo_plan(), demo_plan("side-door-full.toml"))]
    assert "prove_leads: False becomes True" in said and "limits: celsius (not said) becomes 20" in said
