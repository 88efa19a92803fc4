"""Figures against a count by hand over the events themselves, on both kinds of choice: all, and some."""

from __future__ import annotations

import itertools
import random
from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest

from tester.records.figures import FirstPass, figures
from tester.records.search import Query
from tester.records.statistics import pareto, wilson
from tester.records.store import Store
from tests.support.logs import fill

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def by_hand(log: Store, jobs: list[str]) -> dict[str, object]:
    """The same figures, counted by reading every event."""
    first: Counter[str] = Counter()
    cavities: Counter[str] = Counter()
    steps: Counter[str] = Counter()
    revisions: Counter[str] = Counter()
    minutes = []
    for job in jobs:
        events = log.read(job)
        plan, revision = events[0].terms["plan"][0], events[0].terms["revision"][0]
        verdicts = [event for event in events if event.kind == "verdict"]
        if verdicts:
            first[verdicts[0].data["verdict"]] += 1
            gaps = [(b.at - a.at).total_seconds() for a, b in itertools.pairwise(events)]
            minutes.append(sum(round(gap * 1000) for gap in gaps if 0 < gap <= 1800) / 60000)
        bad = {value for event in verdicts for value in event.terms.get("fault-cavity", ())}
        cavities.update(bad)
        steps.update({f"{plan} {value}" for event in verdicts for value in event.terms.get("fault-step", ())})
        revisions[f"{plan}, revision {revision}"] += bool(bad)
    return {
        "first": FirstPass(first["PASS"], first["FAIL"], first["NOT TESTED"]),
        "cavities": tuple(pareto(cavities)),
        "steps": tuple(pareto(steps)),
        "revisions": tuple(pareto(+revisions)),
        "minutes": sorted(minutes),
    }


@pytest.mark.parametrize("query", [Query(), Query(plan="mirror"), Query(since=datetime(2026, 1, 3, tzinfo=UTC))])
def test_figures_equal_a_count_by_hand(query: Query) -> None:
    with Store.in_memory() as log:
        fill(log, 150, 11)
        jobs = [summary.job for summary in log.jobs(query)]
        assert 20 < len(jobs) <= 150
        hand, found = by_hand(log, jobs), figures(log, query)
    assert found.records == len(jobs)
    assert found.first_pass == hand["first"]
    assert found.first_pass.interval == wilson(found.first_pass.passed, len(jobs))
    assert found.by_cavity == hand["cavities"]
    assert found.by_step == hand["steps"]
    assert found.by_revision == hand["revisions"]
    minutes = hand["minutes"]
    assert isinstance(minutes, list) and found.bench_time is not None
    middle = len(minutes) // 2
    median = minutes[middle] if len(minutes) % 2 else (minutes[middle - 1] + minutes[middle]) / 2
    assert found.bench_time.median == pytest.approx(median)
    whole = FirstPass(
        *(sum(getattr(one, name) for _, one in found.by_plan) for name in ("passed", "failed", "untested"))
    )
    assert whole == found.first_pass


def test_a_fault_that_stays_through_three_tests_counts_once() -> None:
    with Store.in_memory() as log:
        job = log.new_job(terms={"plan": "mirror"}, at=NOON)
        for _ in range(3):
            log.append(
                job, "verdict", terms={"verdict": "FAIL", "fault": "open", "fault-cavity": ["D-1", "H-2"]}, at=NOON
            )
        log.append(job, "verdict", terms={"verdict": "PASS"}, at=NOON)
        found = figures(log)
    assert (found.first_pass.passed, found.first_pass.failed) == (0, 1)
    assert [(bar.name, bar.count) for bar in found.by_cavity] == [("D-1", 1), ("H-2", 1)]


def test_an_empty_log_and_few_data_say_so() -> None:
    with Store.in_memory() as log:
        assert figures(log).notes == ("No record has a verdict yet: there is no yield to speak of.",)
        assert figures(log).first_pass.share is None and figures(log).bench_time is None
        for _ in range(3):
            log.append(log.new_job(), "verdict", terms={"verdict": "PASS"})
        (note,) = figures(log).notes
        assert note.startswith("Only 3 records have a verdict: the yield may be anything from 44 to 100 %")


def test_a_first_verdict_that_was_not_tested_is_no_pass() -> None:
    with Store.in_memory() as log:
        job = log.new_job()
        log.append(job, "verdict", terms={"verdict": "NOT TESTED"})
        log.append(job, "verdict", terms={"verdict": "PASS"})
        found = figures(log)
    assert (found.first_pass.entered, found.first_pass.share) == (1, 0.0)
    assert any("1 first verdicts were NOT TESTED" in note for note in found.notes)


def test_drift_of_the_reference_resistor_is_found_by_board() -> None:
    rng = random.Random(3)
    with Store.in_memory() as log:
        for day in range(0, 365, 5):
            job = log.new_job(at=NOON + timedelta(days=day))
            ohms = 10.0 * (1 + 200e-6 * day / 365.25) + rng.gauss(0, 1e-5)
            terms = {"reference-ohms": f"{ohms:.6f}", "board": "0042"}
            log.append(job, "self-check", terms=terms, at=NOON + timedelta(days=day))
        log.append(job, "self-check", terms={"reference-ohms": "9.999", "board": "0043"})
        log.append(job, "self-check", terms={"reference-ohms": "nonsense", "board": "0043"})
        old, new = figures(log).drift
    assert (old.board, old.readings) == ("0042", 73) and (new.board, new.readings) == ("0043", 1)
    assert old.ppm_a_year == pytest.approx(200, abs=3 * (old.u_ppm or 0)) and (old.u_ppm or 99) < 2
    assert new.ppm_a_year is None


def test_when_none_failed_the_share_that_may_is_bounded() -> None:
    with Store.in_memory() as log:
        for _ in range(20):
            log.append(log.new_job(), "verdict", terms={"verdict": "PASS"})
        # 1 - 0.05^(1/20), see tests/outside
        assert figures(log).notes == ("None of 20 failed at the first test: at most 13.9 % do (95 %, one-sided).",)


def test_a_run_that_was_broken_off_is_no_verdict() -> None:
    with Store.in_memory() as log:
        job = log.new_job()
        log.append(job, "aborted", terms={"verdict": "aborted"})
        assert figures(log).first_pass.entered == 0
        log.append(job, "verdict", terms={"verdict": "PASS"})
        assert figures(log).first_pass == FirstPass(passed=1)
        log.append(job, "aborted", terms={"verdict": "aborted"})
        assert log.jobs()[0].term("verdict") == "aborted" and figures(log).first_pass == FirstPass(passed=1)
