"""Appending: one event after another onto a bench's chain, with what search finds it by."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime

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
from tester.records.index import count_event, index_terms
from tester.records.packing import BLOB_LIMIT, BODY_LIMIT, pack


def next_job(engine: Engine, bench: str) -> str:
    """Count the bench's records up by one, inside the caller's transaction. Returns the new record's number."""
    ensure_bench(engine, bench)
    engine.run("UPDATE benches SET jobs = jobs + 1 WHERE bench = ?", (bench,))
    return job_number(bench, int(engine.rows("SELECT jobs FROM benches WHERE bench = ?", (bench,))[0][0]))


def ensure_bench(engine: Engine, bench: str) -> None:
    """A row for the bench's chain, made when missing."""
    engine.run(
        "INSERT INTO benches (bench, serial, hash, jobs) VALUES (?, 0, ?, 0) ON CONFLICT (bench) DO NOTHING",
        (bench, bytes.fromhex(GENESIS)),
    )


def append(
    engine: Engine,
    bench: str,
    draft: Draft,
    known: dict[tuple[str, str], int],
    fetch: Callable[[str], bytes],
    opening: bool,
) -> Event:
    """Append one event inside the caller's transaction.

    `known` caches ids of search terms, `fetch` reads a blob for the returned event, `opening` makes the record.

    Raises InputError when there is no such record, ValueError or TypeError for data that JSON cannot hold.
    """
    check_kind(draft.kind)
    hashes = {name: digest(content) for name, content in draft.blobs.items()}
    terms = tidy_terms(draft.terms)
    body = body_of(draft.data, terms, hashes)
    if len(body) > BODY_LIMIT:
        raise StoreError(f"an event of {len(body)} bytes is too large for a record", f"the limit is {BODY_LIMIT} bytes")
    at = stamp(draft.at or datetime.now(UTC))
    ensure_bench(engine, bench)
    last, hash_before = engine.rows("SELECT serial, hash FROM benches WHERE bench = ?", (bench,))[0]
    serial, previous = int(last) + 1, bytes(hash_before).hex()
    hash_now = event_hash(bench, serial, draft.job, draft.kind, at, previous, body)
    for name, content in draft.blobs.items():
        store_blob(engine, hashes[name], content)
    job = ensure_job(engine, draft.job, at, opening)
    store_event(engine, bench, serial, job, draft.kind, at, previous, hash_now, body, terms, known)
    data = json.loads(body)["data"]  # as a later reader will get it
    return Event(
        serial, bench, draft.job, draft.kind, from_stamp(at), data, Blobs(hashes, fetch), terms, hash_now, previous
    )


def store_event(
    engine: Engine,
    bench: str,
    serial: int,
    job: int,
    kind: str,
    at: str,
    previous: str,
    hash_now: str,
    body: bytes,
    terms: Mapping[str, tuple[str, ...]],
    known: dict[tuple[str, str], int],
) -> None:
    """Put one event whose hash is known into the tables: appended here, or taken from an archive."""
    rows = engine.rows(
        "INSERT INTO events (bench, serial, job, kind, at, previous, hash, body) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
        " RETURNING id",
        (bench, serial, job, kind, at, bytes.fromhex(previous), bytes.fromhex(hash_now), pack(body)),
    )
    engine.run("UPDATE benches SET serial = ?, hash = ? WHERE bench = ?", (serial, bytes.fromhex(hash_now), bench))
    count_event(engine, job, at)
    index_terms(engine, int(rows[0][0]), job, terms, known)


def ensure_job(engine: Engine, job: str, at: str, opening: bool) -> int:
    """Id of a record; a new one is made only when `opening`."""
    rows = engine.rows("SELECT id FROM jobs WHERE job = ?", (job,))
    if rows:
        return int(rows[0][0])
    if not opening:
        raise InputError(f"there is no record {job[:60]} in {engine.name}", "list the records: records list")
    rows = engine.rows(
        "INSERT INTO jobs (job, opened, changed, events) VALUES (?, ?, ?, 0) RETURNING id", (job, at, at)
    )
    return int(rows[0][0])


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
