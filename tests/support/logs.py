"""Logs filled with invented records, each from a seed."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from tester.records.events import Draft
from tester.records.store import Store

START = datetime(2026, 1, 1, 7, 0, tzinfo=UTC)


def record_events(rng: random.Random, number: int) -> Iterator[tuple[str, dict[str, Any], dict[str, Any], float]]:
    """One record as (kind, data, terms, minutes after the one before)."""
    plan, revision = rng.choice(("mirror", "heater", "signal")), rng.choice(("1", "2"))
    touched = rng.sample([f"H-{n}" for n in range(1, 33)], 3)
    about = {"tag": f"T-{number}", "harness": rng.choice(("side door", "hatch")), "plan": plan, "revision": revision}
    yield "job-opened", {**about, "builder": "ab"}, {**about, "cavity": touched}, 0
    yield (
        "scan",
        {"purpose": "as found", "nets": [[f"D-{n}", f"H-{n + 3}"] for n in range(1, 19)]},
        {},
        rng.uniform(1, 6),
    )
    if rng.random() < 0.3:
        bad = rng.choice(touched)
        terms = {
            "verdict": "FAIL",
            "fault": rng.choice(("open", "miswire")),
            "fault-cavity": bad,
            "fault-step": f"s{bad[2:]}",
        }
        yield "verdict", {"verdict": "FAIL", "cavities": [bad]}, terms, rng.uniform(5, 25)
    yield "verdict", {"verdict": "PASS", "cavities": []}, {"verdict": "PASS"}, rng.uniform(3, 20)


def fill(log: Store, records: int, seed: int, first: int = 1, batch: int = 500) -> None:
    """Append that many records, `batch` of them in one transaction."""
    rng = random.Random(seed)
    at = START
    for start in range(first, first + records, batch):
        with log.together():
            for number in range(start, min(start + batch, first + records)):
                job = ""
                at += timedelta(hours=1)
                for kind, data, terms, minutes in record_events(rng, number):
                    at += timedelta(minutes=minutes)
                    if job:
                        log.append_all([Draft(job, kind, data, {}, terms, at)])
                    else:
                        job = log.new_job(data, terms=terms, at=at, kind=kind)
