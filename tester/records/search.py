"""Finding records by the terms of their events.

Fields in use: ``tag`` (of the harness), ``harness``, ``plan``, ``revision``, ``variant``, ``side``, ``board``,
``cavity`` (edited or faulty), ``verdict``, ``fault`` (kind), ``fault-cavity``, ``fault-step``, ``reference-ohms``,
``customer`` (a commitment, never the reference itself). Any other field can be added and searched by `Query.terms`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from tester.errors import StoreError
from tester.records.engine import Engine
from tester.records.events import from_stamp, stamp, storable

_HIGHEST = "\U0010ffff"
_MEND = "mend it with records verify --mend-index"


@dataclass(frozen=True)
class Query:
    """What to look for; empty fields are not looked at. Text matches whole, in any case; a `*` at its end matches
    whatever follows. `since` is inclusive, `until` exclusive, both by the time of opening."""

    tag: str = ""
    harness: str = ""
    plan: str = ""
    cavity: str = ""
    customer: str = ""
    job: str = ""
    since: datetime | None = None
    until: datetime | None = None
    terms: Mapping[str, str] = field(default_factory=dict)
    limit: int | None = None
    skip: int = 0


class JobSummary(NamedTuple):
    """One record in a list, as its line lies in the log; the properties read it."""

    job: str
    opened_text: str
    changed_text: str
    events: int
    active_ms: int
    summary: str

    @property
    def opened(self) -> datetime:
        """When its first event was."""
        return _moment(self.job, self.opened_text)

    @property
    def changed(self) -> datetime:
        """When its last event was."""
        return _moment(self.job, self.changed_text)

    @property
    def active_s(self) -> float:
        """Seconds at the bench, breaks of more than half an hour left out."""
        return self.active_ms / 1000

    @property
    def terms(self) -> dict[str, tuple[str, ...]]:
        """For each field but ``cavity`` the values of the last event that had it."""
        try:
            return {name: tuple(values) for name, values in json.loads(self.summary).items()}
        except (ValueError, TypeError, AttributeError):
            raise StoreError(f"the line of record {self.job} in the list is damaged", _MEND) from None

    def term(self, name: str) -> str:
        """The values of one field as text, "" when there are none."""
        return ", ".join(self.terms.get(name, ()))


def _moment(job: str, text: str) -> datetime:
    try:
        return from_stamp(text)
    except ValueError:
        raise StoreError(f"the line of record {job} in the list is damaged", _MEND) from None


def find(engine: Engine, query: Query) -> list[JobSummary]:
    """Records that match, newest first."""
    sql, values = chosen(query)
    limit = f" LIMIT {int(query.limit)}" if query.limit is not None else ""
    skip = f" OFFSET {int(query.skip)}" if query.skip and query.limit is not None else ""
    rows = engine.rows(
        f"SELECT job, opened, changed, events, active, summary FROM jobs j{sql}"
        f" ORDER BY opened DESC, id DESC{limit}{skip}",
        values,
    )
    return list(map(JobSummary._make, rows))


def chosen(query: Query) -> tuple[str, list[object]]:
    """WHERE clause over `jobs j` ("" for all records), and its values."""
    parts: list[str] = []
    values: list[object] = []
    wanted = {"tag": query.tag, "harness": query.harness, "plan": query.plan, "cavity": query.cavity, **query.terms}
    for name, text in wanted.items():
        if text:
            match, bounds = _match("v.folded", text)
            parts.append(
                f"j.id IN (SELECT t.job FROM term_values v JOIN terms t ON t.term = v.id WHERE v.field = ? AND {match})"
            )
            values += [name, *bounds]
    if query.customer:
        match, bounds = _match("c.folded", query.customer)
        parts.append(
            "j.id IN (SELECT t.job FROM customers c"
            " JOIN term_values v ON v.field = 'customer' AND v.value = c.commitment"
            f" JOIN terms t ON t.term = v.id WHERE {match})"
        )
        values += bounds
    if query.job:
        match, bounds = _match("j.job", query.job.upper(), folded=True)
        parts.append(match)
        values += bounds
    for moment, sign in ((query.since, ">="), (query.until, "<")):
        if moment is not None:
            parts.append(f"j.opened {sign} ?")
            values.append(stamp(moment))
    return (" WHERE " + " AND ".join(parts) if parts else ""), values


def _match(column: str, text: str, folded: bool = False) -> tuple[str, list[str]]:
    text = storable(text)
    text = text if folded else text.casefold()
    if text.endswith("*"):
        return f"({column} >= ? AND {column} < ?)", [text[:-1], text[:-1] + _HIGHEST]
    return f"{column} = ?", [text]
