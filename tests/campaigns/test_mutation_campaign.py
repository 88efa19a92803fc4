"""Mutation testing of the scan and judge rooms and the netlist algebra on a seeded sample."""

import os
import time

import pytest

from tests.campaigns.mutants import Mutant, run, sample, unchanged
from tests.campaigns.score import show

pytestmark = pytest.mark.campaign

SEED = 1
COUNT = int(os.environ.get("LOOMWRIGHT_MUTANTS", "300"))
LEAST_KILLED = 0.9  # of those that change what the product does

# Survivors that change nothing a person or a program can see, with the reason. Matched by file, change and line.
SAME = {
    ("tester/scan/grading.py", "Lt becomes LtE", "pair, kept = "): "a pair never holds one channel twice",
    ("tester/scan/grading.py", "Lt becomes LtE", "self._also = "): "a pair never holds one channel twice",
    ("tester/scan/walk.py", "Lt becomes LtE", "return (a, b) if a < b"): "a pair never holds one channel twice",
    (
        "tester/scan/rounds.py",
        "0 becomes 1",
        "self.seen = ",
    ): "the first cavity is looked for from its own circuit only",
    ("tester/judge/search.py", "min becomes max", "self._works[key] = "): "only the memory of the search is worse",
    ("tester/judge/geometry.py", "Add becomes Sub", "yield {name: run[(i + step)"): "every step is tried both ways",
    ("tester/judge/geometry.py", "Add becomes Sub", "for other in connectors"): "pairs of plugs are tried twice",
    ("tester/judge/geometry.py", "0 becomes 1", "return self._place.get("): "rows and columns of it are not used",
    ("tester/judge/geometry.py", "2 becomes 3", "if len(found) > 2"): "plugs are exchanged in pairs of cavities",
    (
        "tester/judge/geometry.py",
        "1 becomes 2",
        "connector, number = split_cavity(",
    ): "the number is not used without one",
    ("tester/judge/branches.py", "LtE becomes Lt", "if n <= 6"): "of six, the next three around are all pairs",
    ("tester/judge/branches.py", "6 becomes 7", "if n <= 6"): "of seven, the next three around are all pairs",
    ("tester/judge/branches.py", "break dropped", "break"): "no row is left in which to find anything",
    ("tester/judge/excess.py", "Lt becomes LtE", "if not guilty or any(min("): "no weight in a group is zero",
    ("tester/judge/ranking.py", "NotIn becomes In", "holes = "): "a cycle without holes cannot all move one way",
    ("tester/judge/dropout.py", "0 becomes 1", "until = 0"): "it is set anew with the first entry",
    ("tester/judge/branches.py", "Add becomes Sub", "found = {tuple(sorted((i, (i + step)"): "the same pairs",
    ("tester/judge/compare.py", "2 becomes 3", "order = {"): "the same order",
    ("tester/judge/search.py", "max becomes min", "self._fails[key] = "): "only the memory of the search is worse",
    ("tester/judge/search.py", "1 becomes 2", "if budget <= self._fails.get("): "a budget is never below zero",
    ("tester/judge/search.py", "1 becomes 2", "self._fails[key] = "): "a budget is never below zero",
    ("tester/judge/search.py", "LtE becomes Lt", "if budget <= self._fails.get("): "only the memory is worse",
    ("tester/judge/search.py", "GtE becomes Gt", "if budget >= self._works.get("): "only the memory is worse",
    ("tester/judge/search.py", "1 becomes 2", "if budget >= self._works.get("): "a larger default is no more reached",
    ("tester/judge/diagnosis.py", "Gt becomes GtE", "if len(best) > 1"): "one explanation needs no order",
    ("tester/judge/verdict.py", "Gt becomes GtE", "best = min(looks"): "the least of one is that one",
    ("tester/judge/diagnosis.py", "min becomes max", "cost = min("): "the search lists explanations of one cost only",
}


def why_the_same(mutant: Mutant) -> str:
    """Reason why a mutant behaves as the product does, "" when none is known."""
    if mutant.what == "True becomes False" and "strict=True" in mutant.text:
        return "both have one length, made or checked above"
    for (file, what, start), reason in SAME.items():
        if (mutant.file, mutant.what) == (file, what) and mutant.text.startswith(start):
            return reason
    return ""


def test_the_product_as_it_is_passes_the_tests_that_mutants_must_fail():
    assert {str(mutant): result for mutant, result in run(unchanged()) if result != "survived"} == {}


def test_most_mutants_are_noticed():
    start = time.monotonic()
    results = list(run(sample(300, SEED)[:COUNT]))
    survivors = [mutant for mutant, result in results if result == "survived"]
    same = [mutant for mutant in survivors if why_the_same(mutant)]
    endless = sum(result == "killed (no end)" for _, result in results)
    killed = len(results) - len(survivors)
    took = f"seed {SEED}, {time.monotonic() - start:.0f} s"
    share = killed / max(1, len(results) - len(same))
    show(
        f"mutants ({took}): {killed} of {len(results)} killed, {endless} of them by running without end; "
        f"{len(same)} survivors change nothing: {share:.0%} of the others killed"
    )
    lines = sorted(f"{mutant}" + (f" ({why_the_same(mutant)})" if why_the_same(mutant) else "") for mutant in survivors)
    show("survivors:\n" + "\n".join(lines))
    assert share >= LEAST_KILLED
