"""Taking the lines of an archive into a log, each checked before it is kept. Nothing here trusts the archive.

All methods raise ValueError (or KeyError, TypeError) with what is wrong; the caller's transaction is then forgotten.
"""

from __future__ import annotations

import base64
import json
import re
from dataclasses import dataclass
from typing import Any, TypeVar

from tester.records import clocks, writing
from tester.records.customers import SALT_BYTES, commitment, keep, removed_before
from tester.records.events import (
    GENESIS,
    Head,
    body_of,
    check_kind,
    digest,
    event_hash,
    from_stamp,
    is_bench_id,
    job_number,
    stamp,
    tidy_terms,
)
from tester.records.packing import BLOB_LIMIT, BODY_LIMIT
from tester.records.store import Store

T = TypeVar("T")
_HASH = re.compile(r"[0-9a-f]{64}")
_JOB = re.compile(r"([A-Z][A-Z0-9]{0,11})-(\d{4,12})")


@dataclass(frozen=True)
class Taken:
    """What an import did: new events, events that were there already, new files, the chain heads of the archive."""

    events: int
    known: int
    files: int
    customers: int
    heads: tuple[Head, ...]


class Import:
    """One import under way, inside a transaction of `log`."""

    def __init__(self, log: Store) -> None:
        self.log = log
        self.engine = log.engine
        self.heads: dict[str, Head] = {}
        self.ends: dict[str, tuple[int, str]] = {}
        self.waiting: dict[str, bytes] = {}
        self.references: list[tuple[str, bytes, str]] = []
        self.terms: dict[tuple[str, str], int] = {}
        self.events = self.known = self.files = 0

    def begin(self, heads: Any) -> None:
        """The chain ends that the archive promises."""
        for text in _typed(heads, list):
            head = Head.parse(_typed(text, str))
            if len(head.hash) != 64 or head.bench in self.heads:
                raise ValueError("the chain heads are not as they should be")
            self.heads[head.bench] = head

    def line(self, value: dict[str, Any]) -> bool:
        """Take one line. True when it was the last."""
        keys = set(value)
        if keys == {"event", "body"}:
            self._event(_typed(value["event"], list), _typed(value["body"], str))
        elif keys == {"blob", "content"}:
            self._blob(_typed(value["blob"], str), _typed(value["content"], str))
        elif keys == {"customer"}:
            self._customer(_typed(value["customer"], list))
        elif keys == {"end"}:
            if value["end"] != self.events + self.known:
                raise ValueError(f"{self.events + self.known} events instead of {str(value['end'])[:20]}")
            return True
        else:
            raise ValueError("unknown kind of line")
        return False

    def finish(self) -> Taken:
        """Check that everything promised has come."""
        if self.waiting:
            raise ValueError("a file in it belongs to no event")
        for bench, head in self.heads.items():
            if self.ends.get(bench, self._end_here(bench)) != (head.serial, head.hash):
                raise ValueError(f"the chain of bench {bench} does not end at the head {head.short()}")
        taken = 0
        for known_by, salt, reference in self.references:
            if not removed_before(self.engine, known_by):
                keep(self.engine, known_by, salt, reference)
                taken += 1
        return Taken(self.events, self.known, self.files, taken, tuple(self.heads.values()))

    def _blob(self, name: str, packed: str) -> None:
        if len(packed) > BLOB_LIMIT * 4 // 3 + 4:
            raise ValueError("a file in it is larger than a record may hold")
        content = base64.b64decode(packed, validate=True)
        if digest(content) != name:
            raise ValueError(f"the file {name[:16]} is not what its hash says")
        self.waiting[name] = content
        if len(self.waiting) > 1000 or sum(map(len, self.waiting.values())) > 4 * BLOB_LIMIT:
            raise ValueError("more files in it than the next event can need")

    def _customer(self, value: list[Any]) -> None:
        known_by, salt, reference = (_typed(one, str) for one in value)
        if len(bytes.fromhex(salt)) != SALT_BYTES or commitment(bytes.fromhex(salt), reference) != known_by:
            raise ValueError("a customer reference is not what its commitment says")
        self.references.append((known_by, bytes.fromhex(salt), reference))

    def _event(self, head: list[Any], body_text: str) -> None:
        bench, serial, job, kind, at, previous, hash_now = head
        self._check_head(bench, serial, job, kind, at, previous, hash_now)
        if len(body_text) > BODY_LIMIT:
            raise ValueError(f"event {serial} of bench {bench} is larger than a record may hold")
        body = body_text.encode("ascii")
        if event_hash(bench, serial, job, kind, at, previous, body) != hash_now:
            raise ValueError(f"event {serial} of bench {bench} is not what its hash says")
        blobs, terms = _parts(body)
        if bench in self.ends and serial != self.ends[bench][0] + 1:
            raise ValueError(f"event {serial} of bench {bench} is out of order")
        there = self.engine.rows("SELECT hash FROM events WHERE bench = ? AND serial = ?", (bench, serial))
        if there:
            if bytes(there[0][0]).hex() != hash_now:
                raise ValueError(
                    f"event {serial} of bench {bench} is another one here: the chain was continued in two places"
                )
            self.known += 1
        else:
            end_serial, end_hash = self.ends.get(bench) or self._end_here(bench)
            if (serial, previous) != (end_serial + 1, end_hash):
                raise ValueError(
                    f"event {serial} of bench {bench} does not follow event {end_serial}, the last one that is here"
                )
            self._keep(bench, serial, job, kind, at, previous, hash_now, body, blobs, terms)
            self.events += 1
        for name in blobs:
            self.waiting.pop(name, None)
        self.ends[bench] = (serial, hash_now)

    def _keep(
        self, bench: str, serial: int, job: str, kind: str, at: str, previous: str, hash_now: str, body: bytes,
        blobs: set[str], terms: dict[str, tuple[str, ...]],
    ) -> None:  # fmt: skip
        for name in blobs:
            if name in self.waiting:
                new = not self.engine.rows("SELECT 1 FROM blobs WHERE hash = ?", (bytes.fromhex(name),))
                writing.store_blob(self.engine, name, self.waiting[name])
                self.files += new
            elif not self.engine.rows("SELECT 1 FROM blobs WHERE hash = ?", (bytes.fromhex(name),)):
                raise ValueError(f"the file {name[:16]} of event {serial} of bench {bench} is missing")
        writing.ensure_bench(self.engine, bench)
        owner, number = job.rsplit("-", 1)
        writing.ensure_bench(self.engine, owner)
        self.engine.run("UPDATE benches SET jobs = ? WHERE bench = ? AND jobs < ?", (int(number), owner, int(number)))
        sealed = writing.Sealed(bench, serial, job, kind, at, previous, hash_now, body, terms)
        writing.store_event(self.engine, sealed, self.terms, opening=True)

    def _end_here(self, bench: str) -> tuple[int, str]:
        rows = self.engine.rows("SELECT serial, hash FROM benches WHERE bench = ?", (bench,))
        return (int(rows[0][0]), bytes(rows[0][1]).hex()) if rows else (0, GENESIS)

    def _check_head(self, bench: Any, serial: Any, job: Any, kind: Any, at: Any, previous: Any, hash_now: Any) -> None:
        if not isinstance(bench, str) or not is_bench_id(bench) or bench not in self.heads:
            raise ValueError("an event of a bench that the archive does not name")
        if not isinstance(serial, int) or isinstance(serial, bool) or not 0 < serial <= self.heads[bench].serial:
            raise ValueError(f"an event of bench {bench} with a number that cannot be")
        found = _JOB.fullmatch(_typed(job, str))
        if found is None or job_number(found[1], int(found[2])) != job:
            raise ValueError(f"event {serial} of bench {bench} is of a record that cannot be")
        check_kind(_typed(kind, str))
        if stamp(from_stamp(_typed(at, str))) != at:
            raise ValueError(f"event {serial} of bench {bench} has a time that cannot be")
        if not all(isinstance(one, str) and _HASH.fullmatch(one) for one in (previous, hash_now)):
            raise ValueError(f"event {serial} of bench {bench} has a hash that cannot be")


def _parts(body: bytes) -> tuple[set[str], dict[str, tuple[str, ...]]]:
    """Blob hashes and terms of a body that must be exactly as this program writes it."""
    parsed = json.loads(body)
    if not isinstance(parsed, dict) or set(parsed) - {"clock"} != {"blobs", "data", "terms"}:
        raise ValueError("an event whose body is not one")
    data, blobs, terms = _typed(parsed["data"], dict), _typed(parsed["blobs"], dict), _typed(parsed["terms"], dict)
    if not all(isinstance(name, str) and _HASH.fullmatch(name) for name in blobs.values()):
        raise ValueError("an event that names a file wrongly")
    for values in terms.values():
        if not isinstance(values, list) or not all(isinstance(one, str) for one in values):
            raise ValueError("an event whose search terms are not text")
    tidy = tidy_terms(terms)
    clock = clocks.checked(parsed["clock"]) if "clock" in parsed else None
    if body_of(data, tidy, blobs, clock) != body:
        raise ValueError("an event whose body is not written as it should be")
    return set(blobs.values()), tidy


def _typed(value: Any, kind: type[T]) -> T:
    if not isinstance(value, kind):
        raise ValueError(f"{str(value)[:40]!r} is not of the right kind")
    return value
