"""Which steps can be done now, and why the others must wait."""

from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.job.steps import views
from tester.plan.load import load_plan
from tester.plan.resolve import resolve
from tester.shipped import shipped

PLAN = load_plan(shipped("fixtures", "plans", "side-door.toml").read_text(), "side-door.toml")
FOUND = Measured(Netlist.from_links([("D-13", "H-15"), ("D-7", "H-7"), ("H-7", "H-8")], PLAN.cavities))
RESOLVED = resolve(PLAN, FOUND, {}, "left")


def waiting(*done: str) -> dict[str, str]:
    """Step -> why it waits, for the open ones."""
    return {view.id: view.blocked for view in views(RESOLVED, dict.fromkeys(done, "hand")) if view.state == "open"}


def test_nothing_is_pulled_or_pushed_before_the_lock_is_open() -> None:
    reasons = waiting()
    assert reasons["open-d"] == reasons["open-h"] == ""
    assert "open the lock of connector D" in reasons["out-d13"]
    assert "open the lock of connector H" in reasons["w1-h"]


def test_a_cavity_is_filled_only_after_it_was_emptied() -> None:
    assert "the cavity must be emptied" in waiting("open-d", "open-h")["w1-d"]
    assert waiting("open-d", "open-h", "out-d13")["w1-d"] == ""


def test_a_wire_that_no_scan_tells_from_another_waits_until_the_other_is_finished() -> None:
    begun = ("open-d", "open-h", "out-d13", "w1-d")
    assert "first finish wire W1" in waiting(*begun)["w2-d"]
    assert waiting(*begun)["w1-h"] == ""
    assert waiting(*begun, "w1-h")["w2-d"] == ""


def test_a_housing_is_locked_last() -> None:
    everything = [view.id for view in views(RESOLVED, {}) if view.id not in ("w6-d", "close-d")]
    assert "still works on connector D" in waiting(*everything)["close-d"]
    assert waiting(*everything, "w6-d")["close-d"] == ""


def test_a_lead_is_sealed_off_only_after_the_step_that_frees_it() -> None:
    assert "makes the lead" in waiting("open-d")["cap-heater"]
    assert waiting("open-d", "out-d13")["cap-heater"] == ""
