"""Killing the writer at random moments, and looking at what the log holds afterwards."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tester.records.store import Store

ROOT = Path(__file__).parents[2]


@dataclass
class Tally:
    """What a series of kills did: kills, acknowledged events, events in the log, kills before the first answer."""

    kills: int = 0
    acknowledged: int = 0
    stored: int = 0
    early: int = 0
    taken_up: int = 0


def run_kills(path: Path, kills: int, seed: int) -> Tally:
    """Kill the writer `kills` times on one log. AssertionError when anything acknowledged is lost or half there."""
    rng = random.Random(seed)
    tally = Tally(kills)
    known: dict[int, str] = {}
    for number in range(kills):
        out = _one(path, rng.choice((0.0, rng.uniform(0, 0.05), rng.uniform(0, 0.3))), seed + number, tally)
        for line in out:
            if line[0] == "ack":
                known[int(line[2])] = line[3]
        _check(path, known, tally)
    tally.acknowledged = len(known)
    return tally


def _one(path: Path, delay: float, seed: int, tally: Tally) -> list[list[str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.support.writer", str(path), "K", "0", str(seed)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdout is not None
    # Half of the kills wait for the writer to be under way, the others may hit it while it opens the log.
    first = process.stdout.readline() if seed % 8 else b""
    time.sleep(delay)
    process.kill()
    rest, errors = process.communicate(timeout=60)
    assert not errors, errors.decode()
    lines = [line.split() for line in (first + rest).decode().splitlines(keepends=True) if line.endswith("\n")]
    tally.early += not any(line[0] == "ack" for line in lines)
    tally.taken_up += any(line[0] == "ready" and len(line) > 1 for line in lines)
    return lines


def _check(path: Path, known: dict[int, str], tally: Tally) -> None:
    if not path.exists():
        assert not known
        return
    with Store.open(path, "K") as log:
        result = log.verify()
        assert result.whole, result.problems
        stored = dict(log.engine.rows("SELECT serial, hash FROM events"))
        for serial, wanted in known.items():
            assert serial in stored, f"acknowledged event {serial} is lost"
            assert bytes(stored[serial]).hex() == wanted, f"event {serial} is another one"
        tally.stored = len(stored)
        pairs: Counter[int] = Counter()
        for summary in log.jobs():
            events = log.read(summary.job)
            assert events[0].kind == "job-opened" and len(events) == summary.events
            pairs.update(event.data["pair"] for event in events if "pair" in event.data)
        assert set(pairs.values()) <= {2}, "half of a transaction is there"
