"""200 kills at random moments, and four processes writing into one log, on both engines."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from tester.records.store import Store
from tests.support.killing import ROOT, run_kills
from tests.support.postgres import binaries, cluster
from tests.support.tools import need

pytestmark = pytest.mark.campaign
SEED = 20260301


def test_two_hundred_kills_lose_nothing_acknowledged(tmp_path: Path) -> None:
    tally = run_kills(tmp_path / "r.db", 200, SEED)
    print(f"\nkill -9, seed {SEED}: {tally}")
    assert tally.kills == 200 and tally.acknowledged > 1000 and tally.stored >= tally.acknowledged
    assert tally.taken_up > 50 and tally.early > 5


def four_writers(where: str, benches: list[str]) -> float:
    """Four processes, 1,000 records each. Seconds that it took."""
    start = time.perf_counter()
    processes = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.support.writer", where, bench, "1000", str(number)],
            cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )
        for number, bench in enumerate(benches)
    ]  # fmt: skip
    for process in processes:
        _, errors = process.communicate(timeout=900)
        assert process.returncode == 0, errors.decode()[-2000:]
    return time.perf_counter() - start


def check(where: str, benches: list[str], label: str, seconds: float) -> None:
    with Store.open(where, benches[0]) as log:
        result = log.verify(log.heads())
        assert result.whole, result.problems[:3]
        assert len(log.jobs()) == 4000
        assert {head.bench for head in result.heads} == set(benches)
        rate = result.events / seconds
        print(f"\n{label}: 4 x 1,000 records, {result.events} events in {seconds:.1f} s")
        print(f"  {rate:.0f} acknowledged events a second, {len(result.heads)} chains whole")


def test_four_processes_write_a_thousand_records_each_into_one_file(tmp_path: Path) -> None:
    path = str(tmp_path / "r.db")
    Store.open(path, "W").close()
    check(path, ["W1", "W2", "W3", "W4"], "SQLite, a chain each", four_writers(path, ["W1", "W2", "W3", "W4"]))


def test_four_processes_share_one_chain_in_one_file(tmp_path: Path) -> None:
    path = str(tmp_path / "r.db")
    check(path, ["W"], "SQLite, one chain", four_writers(path, ["W"] * 4))


def test_four_processes_write_a_thousand_records_each_into_one_server() -> None:
    need("a PostgreSQL server", binaries())
    with cluster() as server:
        url = server.fresh()
        benches = ["W1", "W2", "W3", "W4"]
        check(url, benches, "PostgreSQL, a chain each", four_writers(url, benches))
