"""The shipped side door: each variant resolves, and its expectation is the harness that was fitted right."""

from __future__ import annotations

import pytest

from tester.plan.expect import expectation
from tester.plan.fromscan import from_scan
from tester.plan.load import load_plan, write_plan
from tester.plan.resolve import oddities, resolve
from tester.shipped import shipped
from tests.support.demo import EMPTY, demo_leads, demo_plan, perfect_scan

VARIANTS = ["heater", "signal", "plain"]


def ids(steps: object) -> set[str]:
    return {one.id for one in steps}  # type: ignore[attr-defined]


@pytest.mark.parametrize("path", sorted(shipped("fixtures", "plans").glob("*.toml")), ids=lambda p: p.name)
def test_shipped_plans_are_read_and_round_trip(path) -> None:  # type: ignore[no-untyped-def]
    plan = load_plan(path.read_bytes(), path.name)
    assert load_plan(write_plan(plan), "again") == plan


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_expectation_of_each_variant_is_the_harness_fitted_right(variant: str) -> None:
    before, after = perfect_scan(f"side-door-{variant}-before"), perfect_scan(f"side-door-{variant}-after")
    expected = expectation(demo_plan(), before, EMPTY, "left")
    assert [outcome.netlist for outcome in expected.outcomes] == [after.netlist]
    assert expected.diodes == after.directed == {("D-11", "D-10")}
    assert expected.required == set(demo_leads().cavities) and len(expected.required) == 50


def test_the_right_side_has_its_own_cavity() -> None:
    expected = expectation(demo_plan(), perfect_scan("side-door-plain-before"), EMPTY, "Right")
    assert expected.outcomes[0].netlist == perfect_scan("side-door-plain-right-after").netlist
    assert expected.wires["W6"] == ("D-17", "H-25")


@pytest.mark.parametrize("wrong", ["side-door-heater-wrong", "side-door-plain-wrong"])
def test_the_wrong_harnesses_are_not_what_is_expected(wrong: str) -> None:
    before = perfect_scan(wrong.replace("wrong", "before"))
    expected = expectation(demo_plan(), before, EMPTY, "left")
    assert expected.outcomes[0].netlist != perfect_scan(wrong).netlist


def test_a_terminal_that_the_scan_sees_must_come_out_without_asking() -> None:
    found = resolve(demo_plan(), perfect_scan("side-door-heater-before"), {}, "left")
    assert found.ready and {"out-d13", "cap-heater"} <= ids(found.todo)
    expected = expectation(demo_plan(), perfect_scan("side-door-heater-before"), {}, "left")
    assert expected.sealed_off == ("lead old heater",)


def test_a_wire_that_is_there_already_makes_the_kit_wire_sealed_off() -> None:
    found = resolve(demo_plan(), perfect_scan("side-door-signal-before"), EMPTY, "left")
    assert {"cap-w2", "tape-w2"} <= ids(found.todo) and "w2-d" not in ids(found.todo)
    assert any(one.step.id == "w2-d" and "not joined" in one.why for one in found.skipped)


def test_only_what_no_scan_can_tell_is_asked_by_eye() -> None:
    found = resolve(demo_plan(), perfect_scan("side-door-plain-before"), {}, "left")
    assert [(one.id, one.says) for one in found.questions] == [("occupied D-13", "Is there a terminal in D-13?")]
    assert ids(found.undecided) == {"out-d13", "cap-heater", "tape-heater"}


def test_facts_that_this_harness_contradicts_are_odd_before_work_starts() -> None:
    plan = demo_plan()
    assert oddities(plan, perfect_scan("side-door-plain-before"), EMPTY, "left") == []
    fitted = oddities(plan, perfect_scan("side-door-plain-after"), EMPTY, "left")
    assert [one.note for one in fitted] == ["someone may have fitted this kit before"]


def test_fitting_the_kit_twice_is_refused_as_already_there() -> None:
    found = resolve(demo_plan(), perfect_scan("side-door-plain-after"), EMPTY, "left")
    assert {one.kind for one in found.problems} == {"already there", "occupied"}
    first = next(one for one in found.problems if one.step == "w1-h")
    assert "H-21 is already joined to D-13" in first.says or "occupied" in first.says


def test_new_links_carry_size_length_and_splices_for_their_limits() -> None:
    expected = expectation(demo_plan("side-door-full.toml"), perfect_scan("side-door-plain-before"), EMPTY, "left")
    links = {(link.a, link.b): link for link in expected.links}
    w1 = links["D-13", "H-21"]
    assert (w1.size_mm2, w1.length_m, w1.limit_ohms, w1.splices) == (0.5, 0.82, 0.12, 0)
    assert "resets below 11 V" in w1.source
    ground = links["D-15", "H-23"]
    assert ground.size_mm2 is None and [w.wire for w in ground.path] == ["W3", "W4"] and ground.splices == 1


def test_a_plan_from_a_scan_expects_exactly_that_scan() -> None:
    scan = perfect_scan("side-door-heater-after")
    text = from_scan(scan, "reference")
    plan = load_plan(text, "reference.toml")
    assert 'restraint = "not declared"' in text
    assert plan.checks == ("continuity",) and not plan.prove_leads and not plan.step and plan.hazards.undeclared
    expected = expectation(plan, None)
    assert expected.outcomes[0].netlist == scan.netlist and expected.diodes == scan.directed


def test_the_plan_s_own_netlist_outranks_a_bad_as_found_scan_and_says_where_they_differ() -> None:
    good, bad = perfect_scan("side-door-heater-after"), perfect_scan("side-door-heater-wrong")
    expected = expectation(load_plan(from_scan(good, "reference"), "r"), bad)
    assert expected.outcomes[0].netlist == good.netlist
    assert any("D-13: reference H-21; here H-22" in note for note in expected.notes)


def test_the_expectation_carries_faces_and_sealed_off_leads_for_the_diagnosis() -> None:
    expected = expectation(demo_plan(), perfect_scan("side-door-heater-before"), {}, "left")
    assert expected.faces["D"][1][0] == "D-10" and len(expected.faces["H"]) == 4
    assert expected.sealed == {"H-15": "lead old heater"}
