"""A verdict as JSON values and back: what a person reads of the stored one is what was said at first."""

import json
from dataclasses import replace

import pytest

from tester.job.verdicts import verdict_object, verdict_of
from tester.judge import judge
from tester.reports.html import page_html
from tester.reports.pages import bench_page, customer_page
from tester.words import fault_lines, verdict_lines
from tests.judge.benches import expect, measured
from tests.support.jobs import good_job

GOOD = expect(" | ".join(f"A-{i} B-{i}" for i in range(1, 11)))
MANY = measured("A-1 A-2 A-3 B-4 | B-1 B-5 A-6 | A-4 | B-2 B-3 A-7 | A-5 B-6 B-7 A-8 | B-8 B-9 A-9 B-10 | A-10")
BOUND = "(a bound: too many to search every explanation)"


def test_explanations_beyond_the_search_are_told_as_a_bound_in_json_and_from_the_record():
    verdict = judge(GOOD, MANY)
    told = json.loads(json.dumps(verdict_object(verdict)))
    assert told["exact"] is False and told["complete"] is False and told["at_least"] == verdict.at_least > 4
    assert [line for line in told["says"] if BOUND in line]
    stored = verdict_of(told)
    assert verdict_lines(stored) == verdict_lines(verdict)
    bench = page_html(bench_page(replace(good_job(), verdict=stored)))
    assert f"At least {verdict.at_least} faults {BOUND}" in bench


def test_what_a_customer_reads_holds_no_sentence_on_a_fault_and_no_cause():
    page = page_html(customer_page(replace(good_job(), verdict=judge(GOOD, MANY), accepted=(), answers=())))
    assert "Not as they should be" in page
    for guess in ("look", "damage", "damp", "exchanged", "tester&#x27;s leads", "belongs in"):
        assert guess not in page, guess


def test_a_record_without_the_bound_still_says_that_it_is_one():
    told = verdict_object(judge(GOOD, MANY))
    for name in ("complete", "at_least", "reach"):
        del told[name]
    first = fault_lines(verdict_of(told))[0]
    assert first.startswith(f"Several faults {BOUND}")


@pytest.mark.parametrize("seen", ["D-1 H-1 | D-2 H-2", "D-1 H-2 | D-2 H-1", "D-1 | H-1 | D-2 H-2"])
def test_small_verdicts_come_back_with_every_line(seen):
    verdict = judge(expect("D-1 H-1 | D-2 H-2"), measured(seen))
    assert verdict_lines(verdict_of(verdict_object(verdict))) == verdict_lines(verdict)
