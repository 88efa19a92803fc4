"""One comparison of the product's expectation with the harness rebuilt from scratch."""

from __future__ import annotations

from collections import Counter
from random import Random

from tester.plan.crosscheck import wrongs
from tester.plan.expect import expectation
from tester.plan.models import Plan
from tester.plan.resolve import resolve
from tests.support.rough_harness import random_work


def compare_once(random: Random, most: int, counts: Counter[str]) -> None:
    """Assert that expectation and rough harness agree on one random plan; count what kind of plan it was."""
    work = random_work(random, most)
    plan = Plan.model_validate(work.tables)
    assert wrongs(plan) == []
    resolved = resolve(plan, work.as_found, work.answers)
    if work.wrong:
        counts["refused"] += 1
        kinds = [one.kind for one in resolved.problems]  # a circuit that may fall apart is told beside the mistake
        assert kinds.count(work.wrong) == 1 and set(kinds) <= {work.wrong, "junction"}, resolved.problems
        return
    if resolved.problems:
        assert [one.kind for one in resolved.problems] == ["junction"], resolved.problems
        assert True in work.answers.values() or any(step.get("junction") for step in work.tables["step"])
        counts["groups needed"] += 1
        return
    if resolved.questions:
        counts["asked"] += 1
        assert all(question.id.startswith("junction ") for question in resolved.questions)
        return
    expected = expectation(plan, work.as_found, work.answers)
    truth = work.after.netlist()
    netlists = [outcome.netlist for outcome in expected.outcomes]
    assert 1 <= len(netlists) <= 16 and len(set(netlists)) == len(netlists)
    assert truth in netlists, (truth, netlists)
    counts["one outcome" if len(netlists) == 1 else "several outcomes"] += 1
    told = all(split.known is not None and not split.known for split in resolved.bench.splits)
    assert not told or len(netlists) == 1
