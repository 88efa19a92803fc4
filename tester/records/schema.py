"""Tables of the log, and how an older log becomes a newer one. The SQL is that of both engines.

`{ID}`, `{BLOB}`, `{TEXT}` and `{ROWLESS}` are filled in by the engine. Tables `events`, `blobs` and `customers` hold
what was recorded; `jobs`, `benches`, `term_values` and `terms` are kept beside them for looking up.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from tester.errors import StoreError

if TYPE_CHECKING:
    from tester.records.engine import Engine

VERSION = 3

TABLES = (
    "CREATE TABLE meta (name {TEXT} PRIMARY KEY, value {TEXT} NOT NULL)",
    # The end of each bench's chain, and how many records it has opened.
    """CREATE TABLE benches (bench {TEXT} PRIMARY KEY, serial BIGINT NOT NULL, hash {BLOB} NOT NULL,
       jobs BIGINT NOT NULL)""",
    """CREATE TABLE jobs (id {ID}, job {TEXT} NOT NULL UNIQUE, opened {TEXT} NOT NULL, changed {TEXT} NOT NULL,
       events BIGINT NOT NULL, active BIGINT NOT NULL, summary {TEXT} NOT NULL, plan {TEXT} NOT NULL,
       revision {TEXT} NOT NULL, first {TEXT} NOT NULL)""",
    """CREATE TABLE events (id {ID}, bench {TEXT} NOT NULL, serial BIGINT NOT NULL, job BIGINT NOT NULL,
       kind {TEXT} NOT NULL, at {TEXT} NOT NULL, previous {BLOB} NOT NULL, hash {BLOB} NOT NULL, body {BLOB} NOT NULL,
       UNIQUE (bench, serial))""",
    "CREATE INDEX events_job ON events (job)",
    "CREATE TABLE blobs (hash {BLOB} PRIMARY KEY, size BIGINT NOT NULL, packed {BLOB} NOT NULL)",
    """CREATE TABLE term_values (id {ID}, field {TEXT} NOT NULL, value {TEXT} NOT NULL, folded {TEXT} NOT NULL,
       UNIQUE (field, value))""",
    "CREATE INDEX term_values_folded ON term_values (field, folded)",
    """CREATE TABLE terms (term BIGINT NOT NULL, job BIGINT NOT NULL, event BIGINT NOT NULL,
       PRIMARY KEY (term, job, event)) {ROWLESS}""",
    "CREATE INDEX terms_job ON terms (job, term)",
    "CREATE INDEX jobs_opened ON jobs (opened)",
    # The only table from which anything is ever removed: what a person asks to have forgotten.
    """CREATE TABLE customers (commitment {TEXT} PRIMARY KEY, salt {BLOB} NOT NULL, reference {TEXT} NOT NULL,
       folded {TEXT} NOT NULL)""",
    "CREATE INDEX customers_folded ON customers (folded)",
)


def _list_again(engine: Engine) -> None:
    """Version 3 keeps what a list shows of a record beside it; older logs have it in their events."""
    from tester.records.index import list_again

    list_again(engine)


MIGRATIONS: dict[int, tuple[str | Callable[[Engine], None], ...]] = {
    1: ("ALTER TABLE jobs ADD COLUMN active BIGINT NOT NULL DEFAULT 0",),
    2: (
        "ALTER TABLE jobs ADD COLUMN summary {TEXT} NOT NULL DEFAULT '{}'",
        "ALTER TABLE jobs ADD COLUMN plan {TEXT} NOT NULL DEFAULT ''",
        "ALTER TABLE jobs ADD COLUMN revision {TEXT} NOT NULL DEFAULT ''",
        "ALTER TABLE jobs ADD COLUMN first {TEXT} NOT NULL DEFAULT ''",
        _list_again,
    ),
}
"""What turns version n into n + 1, by n: statements, and functions where SQL alone cannot do it."""


def prepare(engine: Engine, may_create: bool) -> None:
    """Create the tables in an empty database, or bring an older log up to `VERSION`, in one transaction.

    Raises StoreError for a newer log, a database that is something else, and an empty one that must not be filled.
    """
    found = _version(engine)
    if found == VERSION:
        return
    if found is not None and found > VERSION:
        raise StoreError(
            f"the log {engine.name} is of version {found}; this program knows versions up to {VERSION}",
            "update the program, or name another log",
        )
    if not may_create:
        if found is None:
            raise StoreError(f"{engine.name} holds no log", "name the right log")
        raise StoreError(
            f"the log {engine.name} is of the older version {found} and cannot be written to",
            "open it once where it can be written, or copy it first",
        )
    with engine.transaction():
        found = _version(engine)  # another process may have been faster
        if found is None:
            for statement in (*TABLES, *engine.guards):
                engine.run(engine.fill(statement))
            engine.run("INSERT INTO meta (name, value) VALUES ('schema', ?)", (str(VERSION),))
            engine.created()
            return
        while found < VERSION:
            for step in MIGRATIONS[found]:
                if isinstance(step, str):
                    engine.run(engine.fill(step))
                else:
                    step(engine)
            found += 1
        engine.run("UPDATE meta SET value = ? WHERE name = 'schema'", (str(VERSION),))


def _version(engine: Engine) -> int | None:
    """Schema version; None for a database without tables."""
    tables = engine.tables()
    if not tables:
        return None
    if not {"meta", "events", "benches"} <= tables:
        raise StoreError(f"{engine.name} is a database, but not a log of this program", "name another file")
    rows = engine.rows("SELECT value FROM meta WHERE name = 'schema'")
    if not rows or not str(rows[0][0]).isdecimal():
        raise StoreError(f"the log {engine.name} does not say its version", "take a copy from before it was damaged")
    return int(rows[0][0])
