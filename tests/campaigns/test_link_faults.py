"""Faults on the line between client and board: never a wrong result, never a wait beyond the stated time.

9,900 seeded sessions in process on the board's virtual clock, 100 through pseudo-terminals with the real clock.
"""

import gc
import os
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import pytest

from tests.support import port_campaign
from tests.support.link_campaign import Outcome, run, table

SEEDS = range(9_900)
PORT_SEEDS = range(100)
WHOLE_TEST_S = 30.0  # open, a dozen slices and closing; each is held to its own time-out in process


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
    with ProcessPoolExecutor(min(2, os.cpu_count() or 1), initializer=gc.freeze) as pool:
        outcomes = list(pool.map(run, SEEDS, chunksize=50))
    print(f"\nlink faults in process, seeds {SEEDS.start} to {SEEDS.stop - 1}, {time.monotonic() - start:.0f} s")
    print(table(outcomes))
    judge(outcomes)
    kinds = {outcome.kind for outcome in outcomes}
    assert kinds == {"right", "mended", "aborted"}  # the faults do strike, and most are mended


@pytest.mark.campaign
@pytest.mark.timeout(3000)
def test_faults_on_pseudo_terminals_under_whole_tests(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    port_campaign.files(tmp_path)
    start = time.monotonic()
    with ProcessPoolExecutor(4) as pool:  # they wait more than they work
        outcomes = list(pool.map(partial(port_campaign.run, folder=tmp_path), PORT_SEEDS))
    print(f"\nlink faults on ports, seeds 0 to {PORT_SEEDS.stop - 1}, {time.monotonic() - start:.0f} s")
    for (truth, status), count in sorted(Counter((o.truth, o.status) for o in outcomes).items()):
        print(f"harness {'right' if truth == 0 else 'wrong'}, exit status {status}: {count:3} runs")
    vanished = sum(outcome.after is not None for outcome in outcomes)
    print(f"longest whole test {max(outcome.seconds for outcome in outcomes):.1f} s")
    print(f"{vanished} ports vanished and came back under another name")
    assert [o for o in outcomes if o.wrong] == []
    assert [o for o in outcomes if o.driven or o.armed] == []
    assert max(o.seconds for o in outcomes) < WHOLE_TEST_S
