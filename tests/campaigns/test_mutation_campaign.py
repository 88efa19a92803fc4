"""Mutation testing of the scan and judge rooms and the netlist algebra on a seeded sample."""

import os
import time

import pytest

from tests.campaigns.mutants import run, sample
from tests.campaigns.score import show

pytestmark = pytest.mark.campaign

SEED = 1
COUNT = int(os.environ.get("LOOMWRIGHT_MUTANTS", "300"))
LEAST_KILLED = 0.9


def test_nine_of_ten_mutants_are_noticed():
    start = time.monotonic()
    results = list(run(sample(300, SEED)[:COUNT]))
    survivors = sorted(str(mutant) for mutant, result in results if result == "survived")
    endless = sum(result == "killed (no end)" for _, result in results)
    killed = len(results) - len(survivors)
    took = f"seed {SEED}, {time.monotonic() - start:.0f} s"
    show(f"mutants ({took}): {killed} of {len(results)} killed, {endless} of them by running without end")
    show("survivors:\n" + "\n".join(survivors))
    assert killed >= LEAST_KILLED * len(results)
