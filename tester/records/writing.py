"""Appending: one event after another onto a bench's chain, with what search finds it by."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from tester.errors import InputError, StoreError
from tester.records.engine import Engine
from tester.records.events import (
    GENESIS,
    Blobs,
    Draft,
    Event,
    body_of,
    check_kind,
    digest,
    event_hash,
    from_stamp,
    job_number,
    stamp,
    tidy_terms,
)
from tester.records.index import COLUMNS, Known, Line, find_line, index_terms, write_line
from tester.records.packing import BLOB_LIMIT, BODY_LIMIT, pack


def next_job(engine: Engine, bench: str) -> str:
    """Count the bench's records up by one, inside the caller's transaction. Returns the new record's number."""
    ensure_bench(engine, bench)
    rows = engine.rows("UPDATE benches SET jobs = jobs + 1 WHERE bench = ? RETURNING jobs", (bench,))
    return job_number(bench, int(rows[0][0]))


def ensure_bench(engine: Engine, bench: str) -> tuple[int, str]:
    """Length and last hash of the bench's chain; an empty chain is begun when there is none."""
    rows = engine.rows("SELECT serial, hash FROM benches WHERE bench = ?", (bench,))
    if rows:
        return int(rows[0][0]), bytes(rows[0][1]).hex()
    engine.run("INSERT INTO benches (bench, serial, hash, jobs) VALUES (?, 0, ?, 0)", (bench, bytes.fromhex(GENESIS)))
    return 0, GENESIS


def append(
    engine: Engine,
    bench: str,
    draft: Draft,
    known: Known,
    fetch: Callable[[str], bytes],
    *,
    opening: bool = False,
    clock: Mapping[str, float] | None = None,
) -> Event:
    """Append one event inside the caller's transaction.

    `known` caches ids of search terms, `fetch` reads a blob for the returned event, `opening` makes the record,
    `clock` is what happened to the computer's clocks since the event before.

    Raises InputError when there is no such record, ValueError or TypeError for data that JSON cannot hold.
    """
    check_kind(draft.kind)
    hashes = {name: digest(content) for name, content in draft.blobs.items()}
    terms = tidy_terms(draft.terms)
    body = body_of(draft.data, terms, hashes, clock)
    if len(body) > BODY_LIMIT:
        raise StoreError(f"an event of {len(body)} bytes is too large for a record", f"the limit is {BODY_LIMIT} bytes")
    at = stamp(draft.at or _now(engine, draft.job, bench))
    last, previous = ensure_bench(engine, bench)
    hash_now = event_hash(bench, last + 1, draft.job, draft.kind, at, previous, body)
    for name, content in draft.blobs.items():
        store_blob(engine, hashes[name], content)
    sealed = Sealed(bench, last + 1, draft.job, draft.kind, at, previous, hash_now, body, terms)
    store_event(engine, sealed, known, opening)
    data = json.loads(body)["data"]  # as a later reader will get it
    return Event(
        last + 1, bench, draft.job, draft.kind, from_stamp(at), data, Blobs(hashes, fetch), terms, hash_now, previous,
        dict(clock or {}),
    )  # fmt: skip


def _now(engine: Engine, job: str, bench: str) -> datetime:
    """The time, but never before what another bench has told of this record: readers merge benches by time."""
    now, found = datetime.now(UTC), find_line(engine, job)
    if found is None or found[1].changed < stamp(now):
        return now
    rows = engine.rows("SELECT MAX(at) FROM events WHERE job = ? AND bench <> ?", (found[0], bench))
    if not rows or rows[0][0] is None or str(rows[0][0]) < stamp(now):
        return now
    return from_stamp(str(rows[0][0])) + timedelta(microseconds=1)


@dataclass(frozen=True)
class Sealed:
    """An event whose hash is known: appended here, or taken from an archive. Hashes are hexadecimal."""

    bench: str
    serial: int
    job: str
    kind: str
    at: str
    previous: str
    hash: str
    body: bytes
    terms: Mapping[str, tuple[str, ...]]


def store_event(engine: Engine, sealed: Sealed, known: Known, opening: bool) -> None:
    """Put one event into the tables, with everything that finds it. `opening` makes the record when it is missing."""
    found = find_line(engine, sealed.job)
    line = (found[1] if found else Line()).after(sealed.at, sealed.terms)
    if found:
        job = found[0]
        write_line(engine, job, line)
    elif opening:
        marks = ", ".join("?" * len(COLUMNS.split(", ")))
        rows = engine.rows(
            f"INSERT INTO jobs (job, {COLUMNS}) VALUES (?, {marks}) RETURNING id", (sealed.job, *line.values())
        )
        job = int(rows[0][0])
    else:
        raise InputError(f"there is no record {sealed.job[:60]} in {engine.name}", "list the records: records list")
    now = bytes.fromhex(sealed.hash)
    rows = engine.rows(
        "INSERT INTO events (bench, serial, job, kind, at, previous, hash, body) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
        " RETURNING id",
        (
            sealed.bench,
            sealed.serial,
            job,
            sealed.kind,
            sealed.at,
            bytes.fromhex(sealed.previous),
            now,
            pack(sealed.body),
        ),
    )
    engine.run("UPDATE benches SET serial = ?, hash = ? WHERE bench = ?", (sealed.serial, now, sealed.bench))
    index_terms(engine, int(rows[0][0]), job, sealed.terms, known)


def store_blob(engine: Engine, name: str, content: bytes) -> None:
    """Store a blob under its hash, once. StoreError when it is too large."""
    if len(content) > BLOB_LIMIT:
        raise StoreError(
            f"a file of {len(content)} bytes is too large for a record",
            f"the limit is {BLOB_LIMIT} bytes: make it smaller",
        )
    key = bytes.fromhex(name)
    if not engine.rows("SELECT 1 FROM blobs WHERE hash = ?", (key,)):
        engine.run("INSERT INTO blobs (hash, size, packed) VALUES (?, ?, ?)", (key, len(content), pack(content)))
