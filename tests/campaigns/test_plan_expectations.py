"""5,000 random plans against a harness rebuilt wire by wire."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.plan_opinion import compare_once

COUNTS: Counter[str] = Counter()


@pytest.mark.campaign
@pytest.mark.timeout(900)
def test_as_found_plus_steps_equals_a_harness_rebuilt_from_scratch_in_5000_random_plans() -> None:
    COUNTS.clear()

    @settings(max_examples=5000, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(st.randoms(use_true_random=False), st.sampled_from([8, 12, 16, 24]))
    def run(random: Random, most: int) -> None:
        compare_once(random, most, COUNTS)

    run()
    print("\nrandom plans against brute force (derandomized hypothesis)")
    for kind, count in COUNTS.most_common():
        print(f"  {kind:<18}{count:>6}")
    assert sum(COUNTS.values()) >= 5000 and len(COUNTS) == 5
