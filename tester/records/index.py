"""What is kept beside the events for looking up: search terms, and each record's line in the list.

All of it can be made again from the events (`rebuild`), and `verify` says when it should be.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from tester.records.engine import Engine
from tester.records.events import canonical, from_stamp
from tester.records.packing import unpack

BREAK_S = 1800
"""A pause of a record longer than this many seconds does not count as time at the bench."""

NOT_LISTED = ("cavity",)
"""Fields that are searched by, but too many to stand in a list."""

COLUMNS = "opened, changed, events, active, summary, plan, revision, first"

VERDICTS = ("PASS", "FAIL", "NOT TESTED")
"""What counts as a verdict; a run that was broken off is listed, but is none."""

Known = dict[tuple[str, str], int]
"""Ids of search terms that were met before."""

MOST_KNOWN = 10_000
"""So many of them are kept in memory, then the keeping begins anew: a log's terms have no end."""


@dataclass(frozen=True)
class Line:
    """A record's line in the list: the columns of `jobs`. `active` is in milliseconds, `first` the first verdict,
    `terms` the values of the last event with each field."""

    opened: str = ""
    changed: str = ""
    events: int = 0
    active: int = 0
    terms: Mapping[str, Sequence[str]] = field(default_factory=dict)
    first: str = ""

    def after(self, at: str, terms: Mapping[str, Sequence[str]]) -> Line:
        """The line after one more event."""
        kept = {name: values for name, values in terms.items() if name not in NOT_LISTED}
        verdict = next((word for word in kept.get("verdict", ()) if word in VERDICTS), "")
        return Line(
            min(self.opened or at, at),
            max(self.changed, at),
            self.events + 1,
            self.active + active_ms(self.changed, at),
            {**self.terms, **kept} if kept else self.terms,
            self.first or verdict,
        )

    def values(self) -> tuple[object, ...]:
        """For the columns `COLUMNS`."""
        plan, revision = (", ".join(self.terms.get(name, ())) for name in ("plan", "revision"))
        summary = canonical({name: list(values) for name, values in self.terms.items()}).decode("ascii")
        return self.opened, self.changed, self.events, self.active, summary, plan, revision, self.first


def active_ms(before: str, at: str) -> int:
    """Milliseconds at the bench between two events of a record; 0 for a break, or a clock that went back."""
    if not before:
        return 0
    gap = (from_stamp(at) - from_stamp(before)).total_seconds()
    return round(gap * 1000) if 0 < gap <= BREAK_S else 0


def find_line(engine: Engine, job: str) -> tuple[int, Line] | None:
    """Id and line of a record; None when there is no such record."""
    rows = engine.rows("SELECT id, opened, changed, events, active, summary, first FROM jobs WHERE job = ?", (job,))
    if not rows:
        return None
    number, opened, changed, events, active, summary, first = rows[0]
    try:
        terms = json.loads(summary)
    except ValueError:
        terms = {}  # `verify` says that it was damaged, and `rebuild` mends it
    return int(number), Line(str(opened), str(changed), int(events), int(active), terms, str(first))


def write_line(engine: Engine, number: int, line: Line) -> None:
    """Put a record's line in place."""
    sets = ", ".join(f"{name} = ?" for name in COLUMNS.split(", "))
    engine.run(f"UPDATE jobs SET {sets} WHERE id = ?", (*line.values(), number))


def list_again(engine: Engine) -> None:
    """Make the line of every record again from its events. Damaged events count, their terms are left out."""
    lines: dict[int, Line] = {}
    for _, job, at, terms in _events(engine):
        lines[job] = lines.get(job, Line()).after(at, terms)
    for number, line in lines.items():
        write_line(engine, number, line)


def rebuild(engine: Engine) -> None:
    """Make terms and lines again from the events, inside the caller's transaction."""
    engine.repair()
    engine.run("DELETE FROM terms")
    engine.run("DELETE FROM term_values")
    known: Known = {}
    for event, job, _, terms in _events(engine):
        index_terms(engine, event, job, terms, known)
    list_again(engine)


def terms_of(body: bytes) -> dict[str, tuple[str, ...]]:
    """Search terms of an event's body. ValueError, KeyError, TypeError or AttributeError when it is damaged."""
    return {str(name): tuple(map(str, all_)) for name, all_ in json.loads(body)["terms"].items()}


def _events(engine: Engine) -> Iterator[tuple[int, int, str, dict[str, tuple[str, ...]]]]:
    for event, job, at, packed in engine.rows("SELECT id, job, at, body FROM events ORDER BY id"):
        try:
            terms = terms_of(unpack(bytes(packed)))
            from_stamp(str(at))
        except (ValueError, KeyError, TypeError, AttributeError):
            continue
        yield int(event), int(job), str(at), terms


def index_terms(engine: Engine, event: int, job: int, terms: Mapping[str, Sequence[str]], known: Known) -> None:
    """Make an event findable by its terms."""
    wanted = [(name, value) for name, values in terms.items() for value in values]
    if not wanted:
        return
    if len(known) > MOST_KNOWN:
        known.clear()
    for pair in wanted:
        if pair not in known:
            known[pair] = _term_id(engine, *pair)
    engine.run_many(
        "INSERT INTO terms (term, job, event) VALUES (?, ?, ?)", [(known[pair], job, event) for pair in wanted]
    )


def _term_id(engine: Engine, name: str, value: str) -> int:
    rows = engine.rows("SELECT id FROM term_values WHERE field = ? AND value = ?", (name, value))
    if not rows:
        rows = engine.rows(
            "INSERT INTO term_values (field, value, folded) VALUES (?, ?, ?) RETURNING id",
            (name, value, value.casefold()),
        )
    return int(rows[0][0])
