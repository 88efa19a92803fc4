"""Restraint and high-voltage cavities, conditions without leads, wires that can be exchanged unseen, the sheet."""

from __future__ import annotations

from typing import Any

import pytest

from tester.errors import InputError
from tester.harness.leads import LeadMap
from tester.plan.blind import exchange_blind
from tester.plan.hazards import check_hazards, check_leads
from tester.plan.load import load_plan
from tester.plan.models import Plan
from tester.plan.resolve import resolve
from tester.plan.sheet import sheet_text
from tests.support.demo import EMPTY, demo_leads, demo_plan, perfect_scan

LEADS = LeadMap("set", {1: "D-1", 2: "D-2"})


def plan(**more: Any) -> Plan:
    tables = {"connector": [{"id": "D", "cavities": 4}, {"id": "H", "cavities": 4}]}
    return Plan.model_validate({"format": 1, "id": "p", "revision": "1"} | tables | more)


def test_undeclared_hazards_are_for_the_virtual_board_only() -> None:
    cautions = check_hazards(plan(), [LEADS], real_board=False)
    assert [one.id for one in cautions] == ["hazards: not declared"]
    with pytest.raises(InputError, match="restraint and high-voltage cavities are not declared in"):
        check_hazards(plan(), [LEADS], real_board=True)


def test_none_counts_only_with_where_it_was_checked() -> None:
    none = {"restraint": "none", "high_voltage": "none"}
    assert check_hazards(plan(hazards=none | {"checked": "book, sheet 3"}), [LEADS], real_board=True) == []
    with pytest.raises(InputError, match="not where that was checked"):
        check_hazards(plan(hazards=none), [LEADS], real_board=True)


def test_an_empty_list_is_no_declaration_without_where_it_was_checked() -> None:
    none: dict[str, Any] = {"restraint": [], "high_voltage": []}
    with pytest.raises(InputError, match="not where that was checked"):
        check_hazards(plan(hazards=none), [LEADS], real_board=True)
    assert check_hazards(plan(hazards=none | {"checked": "book, sheet 3"}), [LEADS], real_board=True) == []


def test_a_side_may_not_send_a_step_to_a_declared_cavity() -> None:
    text = """format = 1
id = "p"
revision = "1"
[hazards]
restraint = ["D-4"]
high_voltage = "none"
checked = "book"
[[connector]]
id = "D"
cavities = 4
[sides.left]
[sides.right.cavities]
D-3 = "{}"
[[step]]
do = "tug"
cavity = "D-3"
"""
    with pytest.raises(InputError, match="would both be D-4 on side right"):
        load_plan(text.format("D-4"), "p.toml")
    assert load_plan(text.format("D-2"), "p.toml").id == "p"


def test_a_declared_cavity_may_not_be_on_a_lead_and_its_connector_needs_a_caution() -> None:
    bag = {"restraint": ["D-3"], "high_voltage": "none", "checked": "book"}
    cautions = check_hazards(plan(hazards=bag), [LEADS], real_board=True)
    assert [one.id for one in cautions] == ["connector D"] and "restraint cavities (D-3)" in cautions[0].says
    with pytest.raises(InputError, match="channel 2 goes to D-2, which plan p declares as restraint"):
        check_hazards(plan(hazards=bag | {"restraint": ["D-2"]}), [LEADS], real_board=False)
    assert "D-3" not in plan(hazards=bag).required


def test_a_condition_on_a_cavity_without_lead_is_refused_unless_the_map_says_unreachable() -> None:
    asks = plan(step=[{"id": "s", "do": "tug", "cavity": "D-1", "when": {"occupied": "H-1"}}])
    with pytest.raises(InputError, match='step "s" of plan p asks whether H-1 is occupied, but no lead goes to H-1'):
        check_leads(asks, [LEADS])
    check_leads(asks, [LeadMap("set", {1: "D-1"}, unreachable=frozenset({"H-1"}))])
    check_leads(asks, [LEADS, LeadMap("second", {1: "H-1"})])


def test_a_lead_to_a_cavity_that_the_plan_lacks_is_refused() -> None:
    with pytest.raises(InputError, match="lead map set: channel 3 goes to K-1, which no connector of plan p has"):
        check_leads(plan(), [LeadMap("set", {3: "K-1"})])


def wire(id: str, a: dict[str, Any], b: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"id": id, "colour": "RD", "a": a, "b": b} | more


def test_two_loose_wires_can_always_be_exchanged_at_both_ends_unseen() -> None:
    kit = [
        wire("A", {"cavity": "D-1"}, {"cavity": "H-1"}, size_mm2=0.5),
        wire("B", {"cavity": "D-2"}, {"cavity": "H-2"}, size_mm2=1),
    ]
    found = exchange_blind(plan(wire=kit))
    assert [(one.first, one.second, one.how, one.differ) for one in found] == [("A", "B", "both ends", ("size",))]


def test_wires_whose_far_ends_no_lead_reaches_can_be_exchanged_at_the_near_end() -> None:
    kit = [wire("A", {"cavity": "D-1"}, {"lead": "camera 1"}), wire("B", {"cavity": "D-2"}, {"lead": "camera 2"})]
    assert [one.how for one in exchange_blind(plan(wire=kit))] == ["a"]


def test_fitted_far_ends_on_leads_show_an_exchange() -> None:
    kit = [
        wire("A", {"cavity": "D-1"}, {"cavity": "H-1", "fitted": True}),
        wire("B", {"cavity": "D-2"}, {"cavity": "H-2", "fitted": True}),
    ]
    assert exchange_blind(plan(wire=kit)) == []


def test_the_sheet_is_80_columns_and_holds_every_step_of_this_harness() -> None:
    found = resolve(demo_plan(), perfect_scan("side-door-signal-before"), EMPTY, "left")
    text = sheet_text(demo_plan(), found)
    assert max(map(len, text.splitlines())) <= 80
    for number in range(1, len(found.todo) + 1):
        assert f"[ ] {number:>2}. " in text
    assert "moulded numbers: 1, 9, 10, 18" in text and "NOT ON THIS HARNESS" in text
    assert "Finish one wire before you pick up the next" in text
    flat = " ".join(text.split())
    assert "Seal off wire W2 (GN green, 0.5 mm2)" in flat and "revision C" in flat and "side: left" in flat


def test_the_sheet_of_all_variants_shows_conditions() -> None:
    flat = " ".join(sheet_text(demo_plan()).split())
    assert "If D-13 is occupied: Pull the terminal out of D-13 (lead old heater)." in flat
    assert "STEPS (all variants)" in flat


def test_the_demo_leads_fit_the_demo_plan() -> None:
    for name in ("side-door.toml", "side-door-full.toml"):
        check_leads(demo_plan(name), [demo_leads()])
        assert check_hazards(demo_plan(name), [demo_leads()], real_board=True) == []
