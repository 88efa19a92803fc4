"""Reading events, blobs and chain heads back, each checked on the way."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from difflib import get_close_matches

from tester.errors import InputError, StoreError
from tester.records import clocks
from tester.records.engine import Engine
from tester.records.events import Blobs, Event, Head, digest, from_stamp, job_number, storable
from tester.records.packing import BODY_LIMIT, unpack

_DAMAGED = "records verify says what else is damaged"


def job_id(engine: Engine, job: str) -> tuple[int, str]:
    """Id and number of a record. InputError when there is none."""
    rows = engine.rows("SELECT id, job FROM jobs WHERE job = ?", (storable(job),))
    if not rows:
        raise InputError(f"there is no record {job[:60]} in {engine.name}", _likely(engine, job))
    return int(rows[0][0]), str(rows[0][1])


def job_named(engine: Engine, text: str, bench: str) -> str:
    """Record number for what a person typed: `7` is this bench's seventh, `abc-7` is ABC-0007."""
    typed = text.strip().upper()
    owner, _, number = typed.rpartition("-")
    if number.isascii() and number.isdecimal() and len(number) <= 12:
        typed = job_number(owner or bench, int(number))
    return job_id(engine, typed)[1]


def _likely(engine: Engine, job: str) -> str:
    newest = [str(row[0]) for row in engine.rows("SELECT job FROM jobs ORDER BY id DESC LIMIT 200")]
    close = get_close_matches(job.upper(), newest, n=1)
    if close:
        return f"did you mean {close[0]}?"
    return f"the newest is {newest[0]}" if newest else "the log is empty"


def events_of(engine: Engine, job: int, name: str, fetch: Callable[[str], bytes], only: str = "") -> Iterator[Event]:
    """Events of one record, bench by bench, in the order of the chains."""
    chosen = " AND kind = ?" if only else ""
    found = engine.rows(
        "SELECT bench, serial, kind, at, previous, hash, body FROM events"
        f" WHERE job = ?{chosen} ORDER BY bench, serial",
        (job, only) if only else (job,),
    )
    for bench, serial, kind, at, previous, hash_now, packed in found:
        try:
            body = json.loads(unpack(bytes(packed), BODY_LIMIT))
            yield Event(
                int(serial),
                str(bench),
                name,
                str(kind),
                from_stamp(str(at)),
                body["data"],
                Blobs(body["blobs"], fetch),
                {field: tuple(values) for field, values in body["terms"].items()},
                bytes(hash_now).hex(),
                bytes(previous).hex(),
                clocks.checked(body["clock"]) if "clock" in body else {},
            )
        except (ValueError, KeyError, TypeError, AttributeError):
            raise StoreError(f"event {serial} of bench {bench}, in record {name}, is damaged", _DAMAGED) from None


def blob(engine: Engine, name: str) -> bytes:
    """A blob by its hash. StoreError when it is missing or is not what it was."""
    rows = engine.rows("SELECT packed FROM blobs WHERE hash = ?", (bytes.fromhex(name),))
    if not rows:
        raise StoreError(f"the stored file {name[:16]} is missing", _DAMAGED)
    try:
        content = unpack(bytes(rows[0][0]))
    except ValueError as error:
        raise StoreError(f"the stored file {name[:16]} is damaged: {error}", _DAMAGED) from None
    if digest(content) != name:
        raise StoreError(f"the stored file {name[:16]} was changed", _DAMAGED)
    return content


def heads(engine: Engine) -> list[Head]:
    """The end of each chain that has one event or more."""
    rows = engine.rows("SELECT bench, serial, hash FROM benches WHERE serial > 0 ORDER BY bench")
    return [Head(str(bench), int(serial), bytes(hash_now).hex()) for bench, serial, hash_now in rows]
