"""Soak: jobs back to back on one virtual board and one log for four hours of bench time.

SQLite keeps pages of the log in memory, up to 2,000 kB (its default): that alone grew by some 38 kB a job until it was
full, after about fifty jobs. Here it may hold 200 kB, which the jobs before the first measurement fill, so that what
still grows is ours.
"""

from __future__ import annotations

import gc
import math
import os
import time
from pathlib import Path

import pytest

from tester.board.client import Board
from tester.board.recording import Recorder, Wire
from tester.harness.verdict import FAIL, PASS
from tester.job.job import AS_FOUND, AS_LEFT, Job
from tester.records.store import Store
from tests.campaigns.rig import QuietLink
from tests.support.virtual import VirtualBench

ROOT = Path(__file__).resolve().parents[2]
HARNESSES = ROOT / "fixtures/harnesses"
BENCH_HOURS = 4.0
HOST_S = float(os.environ.get("LOOMWRIGHT_SOAK_S", "inf"))  # for a shorter look; four hours take a minute or two
WARM_JOBS = 5
PAGES_KB = 200
MOST_KB_A_JOB, MOST_KB = 16.0, 512.0
"""Growth a job that is still called flat, and once for blocks that the allocator keeps; what it comes to is printed."""
PAUSE_S = 240.0
"""Bench time between as found and as left: hands work, the board is idle and released."""


def resident_kb() -> int:
    """Memory of this process now, kB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1])
    raise AssertionError("no VmRSS")


def descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def one_job(log: Store, bench: VirtualBench, number: int) -> None:
    """As found, work, a wrong as left, rework, a right one; every fifth without the mistake."""
    files = {name: ROOT / "fixtures" / name for name in ("plans/side-door.toml", "leads/side-door-leads.toml")}
    (plan, leads) = ((path.name, path.read_text(encoding="utf-8")) for path in files.values())
    job = Job.start(log, plan=plan, leads=[leads], intake={"tag": f"T-{number}", "side": "left"})
    job.leads_done()
    link, recorder = QuietLink(bench), Recorder()
    bench.plug(HARNESSES / "side-door-heater-before.toml")
    with Board(Wire(link, link.clock, recorder, lambda: number + 1)) as board:
        job.scan(board, AS_FOUND, recording=recorder.text)
        board.off()
        bench.board.clock.advance(int(PAUSE_S * 1e9))  # released: nothing of the board runs but its clock
        job.tick_all(by="ab")
        for state in ("wrong", "after") if number % 5 else ("after",):
            bench.plug(HARNESSES / f"side-door-heater-{state}.toml")
            job.touched(why="rework")
            job.scan(board, AS_LEFT)
            assert job.judge().verdict == (FAIL if state == "wrong" else PASS)
    job.finish()


@pytest.mark.campaign
@pytest.mark.timeout(1800)
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory and descriptors are read from Linux's /proc")
def test_jobs_back_to_back_leave_memory_and_descriptors_flat(tmp_path: Path) -> None:
    bench = VirtualBench({}, ROOT / "fixtures/leads/side-door-leads.toml", cards=1, seed=9)
    start = time.monotonic()
    taken: list[tuple[int, int]] = []
    with Store.open(tmp_path / "soak.db", "SOAK") as log:
        log.engine.run(f"PRAGMA cache_size = -{PAGES_KB}")
        while bench.seconds < BENCH_HOURS * 3600 and time.monotonic() - start < HOST_S:
            one_job(log, bench, len(taken))
            bench.board.trace.events.clear()  # the test's own notebook, not the product's
            gc.collect()
            taken.append((resident_kb(), descriptors()))
        found = log.verify(log.heads())
        heads, jobs = log.heads(), log.jobs()
    assert found.whole and not found.notes
    assert len(jobs) == len(taken) > WARM_JOBS + 3
    memory, files = zip(*taken[WARM_JOBS:], strict=True)
    third = max(1, len(memory) // 3)
    early, late = sum(memory[:third]) / third, sum(memory[-third:]) / third
    a_job = (late - early) / max(1, len(memory) - third)
    print(
        f"\nsoak: {len(taken)} jobs, {bench.seconds / 3600:.2f} h of bench time (goal {BENCH_HOURS:g}) in "
        f"{time.monotonic() - start:.0f} s; events {found.events}, head {heads[0].short()}\n"
        f"memory: first third {early / 1024:.1f} MB, last third {late / 1024:.1f} MB, a job "
        f"{a_job:+.1f} kB (at most {MOST_KB_A_JOB:g}, and {MOST_KB:g} once); descriptors {min(files)} to {max(files)}"
    )
    assert bench.seconds >= BENCH_HOURS * 3600 or math.isfinite(HOST_S)
    assert max(files) == min(files)
    assert late - early < MOST_KB_A_JOB * (len(memory) - third) + MOST_KB
