"""The customer who comes back: find the record, what changed since, and had the job touched it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tester.errors import InputError
from tester.harness.reading import Measured
from tester.job.job import Job
from tester.judge import Change, compare
from tester.records.events import Event
from tester.records.search import JobSummary, Query
from tester.records.store import Store
from tester.words.changes import change_says


@dataclass(frozen=True)
class ChangeRow:
    """One difference in words; `touched` is "circuit edited", "connector opened", "not handled" or ""."""

    says: str
    kind: str
    cavities: tuple[str, ...]
    touched: str


@dataclass(frozen=True)
class JobRow:
    """One job in a list."""

    record: str
    opened: datetime
    changed: datetime
    terms: dict[str, str]

    @classmethod
    def of(cls, one: JobSummary) -> JobRow:
        return cls(one.job, one.opened, one.changed, {name: one.term(name) for name in one.terms})


FIELDS = ("tag", "order", "plan", "harness", "cavity", "customer")


def find_jobs(log: Store, text: str = "", limit: int = 100) -> list[JobRow]:
    """Jobs whose number, tag, order, plan, harness, cavity or customer reference is `text` (all when empty)."""
    wanted = text.strip()
    if not wanted:
        return [JobRow.of(one) for one in log.jobs(Query(limit=limit))]
    try:
        wanted_job = log.job(wanted)
    except InputError:
        wanted_job = wanted
    queries = [Query(job=wanted_job, limit=limit), Query(terms={"order": wanted}, limit=limit)]
    queries += [Query(**{name: wanted}, limit=limit) for name in FIELDS if name != "order"]  # type: ignore[arg-type]
    found: dict[str, JobSummary] = {}
    for query in queries:
        found |= {one.job: one for one in log.jobs(query)}
    newest = sorted(found.values(), key=lambda one: one.opened, reverse=True)
    return [JobRow.of(one) for one in newest[:limit]]


def changes(job: Job, later: Measured) -> list[ChangeRow]:
    """What changed between the last as-left scan of a job (as found, if there was none) and a later scan."""
    before = job.as_left or job.as_found
    if before is None:
        raise InputError(f"record {job.record} holds no scan to compare with")
    expected = job.expected() if job.as_found is not None or job.whole_plan.expected is not None else None
    edited = expected.edited if expected else frozenset()
    opened = expected.opened if expected else frozenset()
    return [_row(change) for change in compare(before, later, edited, opened)]


def _row(change: Change) -> ChangeRow:
    says = change_says(change.kind, change.cavities, change.sides, change.before, change.after, change.touched)
    return ChangeRow(f"{says}.", change.kind, change.cavities, change.touched)


def reading_to_compare(job: Job) -> Measured:
    """The reading of a record that stands for it: as left, else as found. Raises InputError when there is none."""
    reading = job.as_left or job.as_found
    if reading is None:
        raise InputError(f"record {job.record} holds no scan")
    return reading


def event_line(event: Event) -> str:
    """What happened, in one line."""
    data: dict[str, Any] = dict(event.data)
    says: dict[str, Callable[[], str]] = {
        "job-opened": lambda: "job opened",
        "plan": lambda: f"plan {data.get('id', data.get('name'))}, revision {data.get('revision', '?')}",
        "leads": lambda: "lead maps " + ", ".join(one["name"] for one in data["maps"]),
        "leads-done": lambda: "leads connected",
        "lead-proven": lambda: f"{len(data['cavities'])} leads proven ({data.get('how', 'touched')})",
        "lead-unproven": lambda: f"lead set to be cleaned and proven again, wet in {data.get('since', '?')}",
        "board": lambda: f"board {data.get('model')}, serial {data.get('serial')}",
        "caution": lambda: f"caution acknowledged: {data['caution']}",
        "answer": lambda: f"by eye: {data['question']}: {data['answer']}",
        "accepted": lambda: f"accepted before work: {data['what']}",
        "tick": lambda: f"step {data['step']} ticked by {data.get('how', 'hand')}",
        "undo": lambda: f"step {data['step']} taken back",
        "touched": lambda: f"handled again: {data.get('why', '')}",
        "left-out": lambda: f"left out of the scan, {data['why']}: {', '.join(data['cavities'])}",
        "scan": lambda: f"full scan, {data['purpose']}",
        "verdict": lambda: f"verdict {data['verdict']}",
        "wiggle": lambda: f"dropout watch, {len(data['dropouts'])} seen",
        "aborted": lambda: f"broken off ({data['purpose']}): {data['message']}",
        "initials": lambda: f"{data['role']}: {data['initials']}",
        "note": lambda: f"note: {data['text']}",
        "photo": lambda: f"photo {data['name']}",
        "function-check": lambda: f"function check {data['item']}: {data['result'] or 'answer taken back'}",
        "finished": lambda: "finished",
    }
    line = says.get(event.kind)
    return line() if line else event.kind
