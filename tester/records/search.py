"""Finding records by the terms of their events.

Fields in use: ``tag`` (of the harness), ``harness``, ``plan``, ``revision``, ``variant``, ``side``, ``board``,
``cavity`` (edited or faulty), ``verdict``, ``fault`` (kind), ``fault-cavity``, ``fault-step``, ``reference-ohms``,
``customer`` (a commitment, never the reference itself). Any other field can be added and searched by `Query.terms`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from tester.errors import StoreError
from tester.records.engine import Engine, Row
from tester.records.events import from_stamp, stamp

_HIGHEST = "\U0010ffff"
_AT_ONCE = 400


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


@dataclass(frozen=True)
class JobSummary:
    """One record in a list. `terms`: for each field but ``cavity`` the values of the last event that had it.
    `active_s`: seconds at the bench, breaks of more than half an hour left out."""

    job: str
    opened: datetime
    changed: datetime
    events: int
    terms: Mapping[str, tuple[str, ...]]
    active_s: float = 0.0

    def term(self, name: str) -> str:
        """The values of one field as text, "" when there are none."""
        return ", ".join(self.terms.get(name, ()))


def find(engine: Engine, query: Query) -> list[JobSummary]:
    """Records that match, newest first."""
    sql, values = chosen(query)
    limit = f" LIMIT {int(query.limit)}" if query.limit is not None else ""
    skip = f" OFFSET {int(query.skip)}" if query.skip and query.limit is not None else ""
    rows = engine.rows(
        f"SELECT id, job, opened, changed, events, active FROM jobs j{sql} ORDER BY opened DESC, id DESC{limit}{skip}",
        values,
    )
    terms = _latest_terms(engine, [int(row[0]) for row in rows])
    try:
        return [_summary(row, terms) for row in rows]
    except ValueError:
        raise StoreError(f"the list of records in {engine.name} is damaged", "records verify --mend-index") from None


def _summary(row: Row, terms: Mapping[int, Mapping[str, tuple[str, ...]]]) -> JobSummary:
    number, job, opened, changed, events, active = row
    return JobSummary(
        str(job),
        from_stamp(str(opened)),
        from_stamp(str(changed)),
        int(events),
        terms.get(int(number), {}),
        active / 1000,
    )


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
    text = text.replace("\0", "\ufffd")
    text = text if folded else text.casefold()
    if text.endswith("*"):
        return f"({column} >= ? AND {column} < ?)", [text[:-1], text[:-1] + _HIGHEST]
    return f"{column} = ?", [text]


def _latest_terms(engine: Engine, jobs: list[int]) -> dict[int, dict[str, tuple[str, ...]]]:
    """For each record and field the values of the last event that had the field."""
    last: dict[int, dict[str, tuple[int, list[str]]]] = {}
    for start in range(0, len(jobs), _AT_ONCE):
        some = jobs[start : start + _AT_ONCE]
        marks = ", ".join("?" * len(some))
        for job, name, value, event in engine.rows(
            "SELECT t.job, v.field, v.value, t.event FROM terms t JOIN term_values v ON v.id = t.term"
            f" WHERE t.job IN ({marks}) AND v.field <> 'cavity' ORDER BY v.value",
            some,
        ):
            fields = last.setdefault(int(job), {})
            known = fields.get(str(name))
            if known is None or known[0] < event:
                fields[str(name)] = (int(event), [str(value)])
            elif known[0] == event:
                known[1].append(str(value))
    return {job: {name: tuple(found[1]) for name, found in fields.items()} for job, fields in last.items()}
