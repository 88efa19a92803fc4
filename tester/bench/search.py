"""Finding a record by whatever a person types: record number, tag, plan, harness, cavity."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tester.records.search import JobSummary
    from tester.records.store import Store

FIELDS = ("job", "tag", "harness", "plan", "cavity")
MOST = 200


def find_jobs(log: Store, text: str) -> list[JobSummary]:
    """Records where a field begins with the text, newest first; all of them for an empty text."""
    from tester.records.search import Query

    wanted = text.strip()
    if not wanted:
        return list(log.jobs(Query(limit=MOST)))
    found: dict[str, JobSummary] = {}
    for field in FIELDS:
        for summary in log.jobs(Query(**{field: wanted.rstrip("*") + "*"}, limit=MOST)):  # type: ignore[arg-type]
            found.setdefault(summary.job, summary)
    return sorted(found.values(), key=lambda one: (one.opened, one.job), reverse=True)[:MOST]
