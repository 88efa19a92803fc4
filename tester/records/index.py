"""What is kept beside the events for looking up: search terms, and each record's times and counts.

All of it can be made again from the events (`rebuild`), and `verify` says when it should be.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

from tester.records.engine import Engine
from tester.records.events import from_stamp
from tester.records.packing import unpack

BREAK_S = 1800
"""A pause of a record longer than this many seconds does not count as time at the bench."""


def active_ms(before: str, at: str) -> int:
    """Milliseconds at the bench between two events of a record; 0 for a break, or a clock that went back."""
    if not before:
        return 0
    gap = (from_stamp(at) - from_stamp(before)).total_seconds()
    return round(gap * 1000) if 0 < gap <= BREAK_S else 0


def count_event(engine: Engine, job: int, at: str) -> None:
    """Note on its record that an event came, inside the caller's transaction."""
    opened, changed, events = engine.rows("SELECT opened, changed, events FROM jobs WHERE id = ?", (job,))[0]
    if not events:
        opened = changed = at
    engine.run(
        "UPDATE jobs SET opened = ?, changed = ?, events = events + 1, active = active + ? WHERE id = ?",
        (min(str(opened), at), max(str(changed), at), active_ms(str(changed), at), job),
    )


def count_jobs(engine: Engine) -> None:
    """Count opening time, last change, events and bench time of every record again."""
    counts: dict[int, tuple[str, str, int, int]] = {}
    for job, at in engine.rows("SELECT job, at FROM events ORDER BY id"):
        at = str(at)
        opened, changed, events, active = counts.get(int(job), (at, at, 0, 0))
        counts[int(job)] = (min(opened, at), max(changed, at), events + 1, active + active_ms(changed, at))
    engine.run_many(
        "UPDATE jobs SET opened = ?, changed = ?, events = ?, active = ? WHERE id = ?",
        [(*count, job) for job, count in counts.items()],
    )


def rebuild(engine: Engine) -> None:
    """Make terms and counts again from the events, inside the caller's transaction. Damaged events are left out."""
    engine.repair()
    engine.run("DELETE FROM terms")
    engine.run("DELETE FROM term_values")
    known: dict[tuple[str, str], int] = {}
    for event, job, packed in engine.rows("SELECT id, job, body FROM events ORDER BY id"):
        try:
            terms = {
                str(name): tuple(map(str, all_)) for name, all_ in json.loads(unpack(bytes(packed)))["terms"].items()
            }
        except (ValueError, KeyError, TypeError, AttributeError):
            continue
        index_terms(engine, int(event), int(job), terms, known)
    count_jobs(engine)


def index_terms(
    engine: Engine, event: int, job: int, terms: Mapping[str, tuple[str, ...]], known: dict[tuple[str, str], int]
) -> None:
    """Make an event findable by its terms."""
    wanted = [(field, value) for field, values in terms.items() for value in values]
    for pair in wanted:
        if pair not in known:
            known[pair] = _term_id(engine, *pair)
    engine.run_many(
        "INSERT INTO terms (term, job, event) VALUES (?, ?, ?)", [(known[pair], job, event) for pair in wanted]
    )


def _term_id(engine: Engine, field: str, value: str) -> int:
    rows = engine.rows("SELECT id FROM term_values WHERE field = ? AND value = ?", (field, value))
    if not rows:
        rows = engine.rows(
            "INSERT INTO term_values (field, value, folded) VALUES (?, ?, ?) RETURNING id",
            (field, value, value.casefold()),
        )
    return int(rows[0][0])
