"""500 random lead plans against brute force, and how far from the bound they end."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest

from tests.support.lead_cover import check_once


@pytest.mark.campaign
@pytest.mark.timeout(900)
def test_500_random_lead_plans_show_everything_that_is_needed() -> None:
    over = Counter(check_once(Random(seed)) for seed in range(500))
    print("\nrounds above the lower bound, 500 random lead plans (seeds 0 to 499)")
    for more, count in sorted(over.items()):
        print(f"  +{more:<3}{count:>5}")
    assert sum(over.values()) == 500
