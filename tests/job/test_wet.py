"""A voltage that is possibly wet: what the error carries, what the record keeps, what the fold makes of it."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import pytest

from tester.harness.leads import LeadMap
from tester.job.judging import held_back
from tester.job.measure import Source, VoltagePresent
from tester.job.state import JobState, fold
from tester.job.wet import photographed, refusal, refusal_facts, soiled

WEAK, OTHER = Source("B-2", 0.6, 8000.0), Source("B-5", -0.4, 5000.0)
REAL = Source("B-2", 12.6, 50.0)
LEFT_OUT = ("left-out", {"cavities": ["B-2"], "why": "possibly wet", "purpose": "as left", "unproven": ["B-1", "B-2"]})
LEADS = ("leads", {"maps": [{"name": "l.toml", "text": "one"}]})


@dataclass
class Happened:
    serial: int
    kind: str
    data: dict[str, Any]
    at: datetime = datetime(2026, 1, 1, tzinfo=UTC)
    blobs: dict[str, bytes] = field(default_factory=dict)


def after(*happened: tuple[str, dict[str, Any]]) -> JobState:
    return fold([Happened(n, kind, data) for n, (kind, data) in enumerate(happened, 1)])


def refused(*sources: Source, left_out: tuple[str, ...] = (), purpose: str = "as left") -> tuple[str, dict[str, Any]]:
    error = VoltagePresent(sources)
    return "aborted", {"purpose": purpose, "message": error.message, **refusal_facts(error, left_out)}


@pytest.mark.parametrize(
    ("volts", "ohms", "weak"), [(0.99, 1001, True), (-0.99, 1001, True), (1.0, 8000, False), (0.6, 1000, False)]
)
def test_weak_is_under_a_volt_behind_more_than_a_kilohm(volts: float, ohms: float, weak: bool) -> None:
    assert VoltagePresent([Source("B-2", volts, ohms)]).wet is weak


def test_one_real_voltage_among_weak_ones_leaves_nothing_to_offer() -> None:
    error = VoltagePresent([WEAK, Source("A-1", 12.6, 50.0)])
    assert not error.wet and error.code == "voltage" and "leave-out" not in error.hint
    assert "B-2 +0.60 V" in error.message and "A-1 +12.60 V or more" in error.message


def test_what_a_run_left_out_already_is_left_out_again() -> None:
    error = VoltagePresent([OTHER])
    error.leave_out(["B-2"])
    assert "--leave-out B-2 --leave-out B-5" in error.hint
    found = refusal(after(refused(OTHER, left_out=("B-2",))), "as left")
    assert found is not None and found.wet and found.cavities == ["B-2", "B-5"]


def test_a_refusal_stands_until_something_else_was_measured() -> None:
    assert refusal(after(refused(WEAK)), "comeback") is None
    assert refusal(after(refused(WEAK), ("scan", {"purpose": "as left"})), "as left") is None
    cancelled = ("aborted", {"purpose": "as left", "message": "cancelled by hand"})
    assert refusal(after(refused(WEAK), cancelled), "as left") is None
    real = refusal(after(refused(REAL)), "as left")
    assert real is not None and not real.wet


def test_the_lead_set_is_unproven_from_the_moment_that_a_wet_cavity_is_acknowledged() -> None:
    proven = ("lead-proven", {"cavities": ["A-1", "B-1", "B-2"]})
    state = after(LEADS, proven, LEFT_OUT)
    assert state.proven == {"A-1"} and state.unclean == {"B-1", "B-2"} and state.left_out == {"B-2"}
    half = after(LEADS, LEFT_OUT, ("lead-proven", {"cavities": ["B-2"]}))
    assert half.unclean == {"B-1"}


def test_only_another_lead_set_is_clean_without_being_proven() -> None:
    assert after(LEADS, LEFT_OUT, LEADS).unclean == {"B-1", "B-2"}
    assert not after(LEADS, LEFT_OUT, ("leads", {"maps": [{"name": "l.toml", "text": "two"}]})).unclean


def test_a_scan_keeps_what_it_left_out_and_whether_its_leads_were_clean() -> None:
    part = ("scan", {"purpose": "as left", "left_out": ["B-2"]})
    whole = ("scan", {"purpose": "as left"})
    proven = ("lead-proven", {"cavities": ["B-1", "B-2"]})
    state = after(LEADS, LEFT_OUT, part, whole, proven, whole)
    reasons = [[reason for reason, _ in held_back(scan, None)] for scan in state.scans]
    assert [len(one) for one in reasons] == [2, 1, 0], "a proof made after a scan does not clean the leads of then"
    assert held_back(None, state.scans[0]) == (("possibly wet, left out of the scan as found", ("B-2",)),)


def test_an_event_of_an_earlier_version_counts_its_own_cavities_as_unproven() -> None:
    old = ("left-out", {"cavities": ["B-2"], "why": "possibly wet", "purpose": "as left"})
    assert after(LEADS, old).unclean == {"B-2"}


def test_a_photo_of_the_first_job_is_none_of_the_harness_that_came_back() -> None:
    photo, scan = ("photo", {"name": "x.png"}), ("scan", {"purpose": "as left"})
    assert not photographed(after(photo, scan)) and photographed(after(scan, photo))


def test_every_lead_set_that_goes_to_a_wet_cavity_is_soiled() -> None:
    maps = [LeadMap(f"m{n}", {1: "A-1", 2: f"B-{n}"}) for n in range(1, 4)]
    assert soiled(maps, ["B-2"]) == ["A-1", "B-2"]
    assert soiled(maps, ["A-1"]) == ["A-1", "B-1", "B-2", "B-3"]
