"""Campaign: the virtual board's circuit solver against ngspice on twenty random harnesses."""

from __future__ import annotations

import pytest

from hwspec.virtual.parts import Parts
from tests.support.spice_bench import LEADS, random_harness, random_states, worst


@pytest.mark.campaign
def test_twenty_harnesses_three_of_them_faulty_agree_with_ngspice():
    print("\nharness  faulty  states  largest difference, %")
    for seed in range(20):
        faulty = seed >= 17
        states = random_states(seed, faulty)
        found = max(worst(Parts.drawn(16, seed), random_harness(seed, faulty), LEADS, state) for state in states)
        print(f"{seed:7d}  {faulty!s:6}  {len(states):6d}  {100 * found:.5f}")
        assert found < 1e-3
