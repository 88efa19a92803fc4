"""`loomwright test` killed at random moments of its run, each time taken up again, to PASS.

pytest -n 0 -m campaign -s tests/campaigns/test_run_kills.py
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.run_kills import Runs

pytestmark = [pytest.mark.campaign, pytest.mark.timeout(600)]
SEED, KILLS = 20260412, 60


def test_runs_killed_at_random_moments_lose_nothing_acknowledged_and_are_taken_up_to_pass(tmp_path: Path) -> None:
    tally = Runs(tmp_path, SEED).series(KILLS)
    print("\n" + "\n".join(tally.lines()))
    assert tally.lost == tally.half == 0
    assert tally.kills == KILLS and tally.passed == tally.records > 1
    assert tally.taken_up > KILLS // 4 and tally.acknowledged > 10 * KILLS and tally.stored >= tally.acknowledged
    assert len(tally.killed_after) >= 4, "killed in several places of a run"
