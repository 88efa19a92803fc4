"""The fold over a job's events."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import pytest

from tester.job.state import fold


@dataclass
class Happened:
    serial: int
    kind: str
    data: dict[str, Any] = field(default_factory=dict)
    at: datetime = datetime(2026, 1, 1, tzinfo=UTC)
    blobs: dict[str, bytes] = field(default_factory=dict)


def story(*happened: tuple[str, dict[str, Any]]) -> list[Happened]:
    return [Happened(i, kind, data) for i, (kind, data) in enumerate(happened, 1)]


OPENED = [
    ("job-opened", {"tag": "T1"}),
    ("plan", {"name": "p.toml", "text": "format = 1"}),
    ("leads", {"maps": [{"name": "l.toml", "text": "format = 1"}]}),
    ("leads-done", {}),
    ("scan", {"purpose": "as found"}),
]


def test_the_stage_is_the_first_whose_work_is_not_done() -> None:
    stages = [fold(story(*OPENED[:n])).stage for n in range(len(OPENED) + 1)]
    assert stages == ["intake", "intake", "leads", "leads", "as found", "work sheet"]


def test_undo_takes_a_tick_back_and_makes_the_as_left_scan_stale() -> None:
    told = [*OPENED, ("tick", {"step": "1"}), ("scan", {"purpose": "as left"})]
    before = fold(story(*told))
    after = fold(story(*told, ("undo", {"step": "1"})))
    assert list(before.ticks) == ["1"] and before.scan_is_fresh
    assert not after.ticks and not after.scan_is_fresh


def test_a_verdict_counts_only_while_its_scan_is_the_newest_and_after_the_last_step() -> None:
    told = [*OPENED, ("scan", {"purpose": "as left"}), ("verdict", {"verdict": "PASS"})]
    assert fold(story(*told)).stage == "finish"
    for later in (("tick", {"step": "9"}), ("touched", {}), ("scan", {"purpose": "as left"})):
        assert fold(story(*told, later)).verdict is None


@pytest.mark.parametrize(
    "later",
    [
        ("wiggle", {"dropouts": [{"kind": "open"}]}),
        ("answer", {"question": "occupied D-1", "answer": "no"}),
        ("scan", {"purpose": "as found"}),
    ],
)
def test_what_a_verdict_would_have_to_say_otherwise_makes_it_stale_until_it_is_judged_again(later) -> None:
    told = [*OPENED, ("scan", {"purpose": "as left"}), ("verdict", {"verdict": "PASS"}), later]
    after = fold(story(*told))
    assert after.scan_is_fresh and after.verdict is None and after.stale and after.stage == "as left"
    assert fold(story(*told, ("verdict", {"verdict": "FAIL"}))).verdict == {"verdict": "FAIL"}
    for other in (("note", {"text": "x"}), ("photo", {}), ("scan", {"purpose": "comeback"})):
        assert fold(story(*told[:-1], other)).verdict == {"verdict": "PASS"}


def test_a_kind_from_a_newer_version_is_passed_over() -> None:
    assert fold(story(*OPENED, ("from-the-future", {"x": 1}))).stage == "work sheet"


@pytest.mark.parametrize("later", [("touched", {}), ("undo", {"step": "1"}), ("tick", {"step": "1"})])
def test_what_another_bench_did_later_makes_the_pass_of_this_bench_stale(later: tuple[str, dict[str, Any]]) -> None:
    """Each bench counts its own events, so the numbers of two benches say nothing of what came first."""
    told = [*OPENED, ("tick", {"step": "1"}), ("scan", {"purpose": "as left"}), ("verdict", {"verdict": "PASS"})]
    here = [Happened(500 + n, kind, data) for n, (kind, data) in enumerate(told)]
    assert fold(here).verdict == {"verdict": "PASS"}
    state = fold([*here, Happened(1, *later)])
    assert not state.scan_is_fresh and state.verdict is None and state.stage == "work sheet"
    state = fold([*here, Happened(1, "answer", {"question": "occupied D-1", "answer": "no"})])
    assert state.verdict is None and state.unjudged


def test_a_job_goes_on_at_another_bench_whose_log_is_younger() -> None:
    here = [Happened(500 + n, kind, data) for n, (kind, data) in enumerate([*OPENED, ("tick", {"step": "1"})])]
    there = [Happened(1, "scan", {"purpose": "as left"}), Happened(2, "verdict", {"verdict": "PASS"})]
    assert fold([*here, *there]).verdict == {"verdict": "PASS"}
