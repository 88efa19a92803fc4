"""Faults on the line between client and board: never a wrong result, never a wait beyond the stated time.

9,900 seeded sessions in process on the board's virtual clock, 100 through pseudo-terminals with the real clock.
"""

import os
import time
from concurrent.futures import ProcessPoolExecutor

import pytest

from tests.support.link_campaign import Outcome, run, table

SEEDS = range(9_900)


def judge(outcomes: list[Outcome]) -> None:
    wrong = {outcome.seed: outcome.wrong for outcome in outcomes if outcome.wrong}
    late = {outcome.seed: outcome.late for outcome in outcomes if outcome.late > 0}
    driven = {outcome.seed: outcome.driven for outcome in outcomes if outcome.driven}
    assert not wrong
    assert not late
    assert not driven


@pytest.mark.campaign
@pytest.mark.timeout(3000)
def test_faults_on_byte_channels_in_process():
    start = time.monotonic()
    with ProcessPoolExecutor(min(2, os.cpu_count() or 1)) as pool:
        outcomes = list(pool.map(run, SEEDS, chunksize=50))
    print(f"\nlink faults in process, seeds {SEEDS.start} to {SEEDS.stop - 1}, {time.monotonic() - start:.0f} s")
    print(table(outcomes))
    judge(outcomes)
    kinds = {outcome.kind for outcome in outcomes}
    assert kinds == {"right", "mended", "aborted"}  # the faults do strike, and most are mended
