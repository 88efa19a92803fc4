"""Recomputing the chains: which event was changed, removed, reordered, and what the index no longer says.

An unkeyed chain can be recomputed by whoever owns the file. A cut-off end and a rewritten chain are therefore found
only against a head that left the bench earlier, on a label or in an export.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from tester.records import clocks
from tester.records.engine import Engine, Row
from tester.records.events import GENESIS, Head, digest, event_hash
from tester.records.index import COLUMNS, Line
from tester.records.packing import BODY_LIMIT, unpack

_MEND = "mend it with records verify --mend-index"


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong. `what`: changed, missing, link, head, blob, index. `serial` 0 and `job` "" where none is
    meant. `says`: one sentence for a person."""

    bench: str
    serial: int
    job: str
    what: str
    says: str


@dataclass(frozen=True)
class Verification:
    """What a check of the log found. `notes` are oddities that break nothing, such as a clock set back."""

    events: int
    blobs: int
    heads: tuple[Head, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """True when nothing is wrong."""
        return not self.problems


def verify(engine: Engine, against: Sequence[Head]) -> Verification:
    """Recompute every hash, look for every blob and index entry, and compare with heads known from elsewhere."""
    with engine.forgiving():
        return _verify(engine, against)


def _verify(engine: Engine, against: Sequence[Head]) -> Verification:
    check = _Check(against)
    for row in engine.each(
        "SELECT e.bench, e.serial, j.job, e.kind, e.at, e.previous, e.hash, e.body, e.id FROM events e"
        " LEFT JOIN jobs j ON j.id = e.job ORDER BY e.bench, e.serial"
    ):
        check.event(row)
    check.ends(engine.rows("SELECT bench, serial, hash FROM benches ORDER BY bench"))
    blobs = check.blobs(engine)
    check.index(engine)
    if unsound := engine.unsound():
        check.bench = ""
        check.problem(0, "", "index", f"the database under the log is damaged ({unsound}): {_MEND}")
    return Verification(check.count, blobs, tuple(check.heads), tuple(check.problems), tuple(check.notes))


def _bytes(value: Any) -> bytes:
    """What should be bytes; a damaged file may hold anything instead."""
    return bytes(value) if isinstance(value, (bytes, memoryview)) else b""


def _number(value: Any) -> int:
    return value if isinstance(value, int) else 0


def _after(line: Line, at: str, terms: Iterable[tuple[str, str]]) -> Line:
    fields: dict[str, list[str]] = {}
    for name, value in sorted(terms):
        fields.setdefault(name, []).append(value)
    try:
        return line.after(at, fields)
    except ValueError:
        return line  # an event with a damaged time is named already


class _Check:
    def __init__(self, against: Sequence[Head]) -> None:
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.heads: list[Head] = []
        self.count = 0
        self.bench = ""
        self.serial = 0
        self.last_hash = GENESIS
        self.last_stored = GENESIS
        self.last_at = ""
        self.wanted: dict[str, tuple[str, int, str]] = {}
        self.terms: dict[int, frozenset[tuple[str, str]]] = {}
        self.owners: dict[int, tuple[str, str]] = {}
        self.against: dict[tuple[str, int], list[Head]] = {}
        for head in against:
            self.against.setdefault((head.bench, head.serial), []).append(head)

    def problem(self, serial: int, job: str, what: str, says: str) -> None:
        self.problems.append(Problem(self.bench, serial, job, what, says))

    def event(self, row: Row) -> None:
        """The next event in order of bench and serial."""
        bench, serial, job, kind, at = str(row[0]), _number(row[1]), str(row[2] or ""), str(row[3]), str(row[4])
        previous, stored = _bytes(row[5]).hex(), _bytes(row[6]).hex()
        if bench != self.bench:
            self._end_of_chain()
            self.bench, self.serial = bench, 0
            self.last_hash = self.last_stored = GENESIS
            self.last_at = ""
        self.count += 1
        if serial != self.serial + 1:
            self._gap(serial)
        real, body = self._recomputed(bench, serial, job, kind, at, previous, row[7])
        if real != stored:
            self.problem(serial, job, "changed", f"event {serial} of bench {bench} (record {job}, {kind}) was changed")
        elif serial == self.serial + 1 and previous not in (self.last_hash, self.last_stored):
            self.problem(
                serial - 1,
                job,
                "link",
                f"event {serial - 1} of bench {bench} is not the one that event {serial} was added to: it was"
                " exchanged, or its chain was computed again",
            )
        if self.last_at > at and real == stored:
            self.notes.append(f"bench {bench}: the clock went back before event {serial} ({self.last_at} to {at})")
        self.serial, self.last_hash, self.last_stored, self.last_at = serial, real, stored, at
        for head in self.against.get((bench, serial), ()):
            self._compare(head, stored, job)
        self._remember(_number(row[8]), serial, job, body)
        self.owners[_number(row[8])] = job, at

    def _gap(self, serial: int) -> None:
        first, last = self.serial + 1, serial - 1
        if serial <= self.serial:
            self.problem(serial, "", "changed", f"event {serial} of bench {self.bench} is there twice")
            return
        which = f"event {first}" if first == last else f"events {first} to {last}"
        self.problem(first, "", "missing", f"{which} of bench {self.bench} missing")

    def _recomputed(
        self, bench: str, serial: int, job: str, kind: str, at: str, previous: str, packed: Any
    ) -> tuple[str, bytes]:
        try:
            body = unpack(_bytes(packed), BODY_LIMIT)
        except ValueError:
            return "", b""
        return event_hash(bench, serial, job, kind, at, previous, body), body

    def _remember(self, event: int, serial: int, job: str, body: bytes) -> None:
        """What this event says should be found elsewhere: its blobs and its search terms."""
        try:
            parsed = json.loads(body)
            if told := parsed.get("clock"):
                self.notes.append(f"bench {self.bench}: event {serial}: {clocks.says(clocks.checked(told))}")
            for name in parsed["blobs"].values():
                self.wanted.setdefault(str(name), (self.bench, serial, job))
            self.terms[event] = frozenset((field, value) for field, all_ in parsed["terms"].items() for value in all_)
        except (ValueError, KeyError, TypeError, AttributeError):
            return

    def _compare(self, head: Head, stored: str, job: str) -> None:
        if not stored.startswith(head.hash):
            self.problem(
                head.serial,
                job,
                "head",
                f"event {head.serial} of bench {head.bench} is not the one on the head {head.short()}:"
                " the chain was computed again",
            )

    def _end_of_chain(self) -> None:
        if self.bench and self.serial:
            self.heads.append(Head(self.bench, self.serial, self.last_stored))

    def ends(self, rows: Iterable[Row]) -> None:
        """Compare the chains' ends with what the log and the heads from elsewhere say."""
        self._end_of_chain()
        found = {head.bench: head for head in self.heads}
        for bench, serial, stored in rows:
            here = found.get(str(bench))
            self.bench = str(bench)
            length = here.serial if here else 0
            serial = _number(serial)
            if length < serial:
                self.problem(length + 1, "", "missing", f"events {length + 1} to {serial} of bench {bench} are missing")
            elif length > serial or (here is not None and _bytes(stored).hex() != here.hash):
                self.problem(length, "", "index", f"the log notes another end of bench {bench} than its events have")
        for (bench, serial), heads in self.against.items():
            here = found.get(bench)
            length = here.serial if here else 0
            if length < serial:
                self.bench = bench
                gone = f"events {length + 1} to {serial} of bench {bench} are missing"
                self.problem(length + 1, "", "missing", f"{gone}: the head {heads[0].short()} has them")

    def blobs(self, engine: Engine) -> int:
        """Check every blob that an event names. Returns how many are whole."""
        whole = 0
        missing = dict(self.wanted)
        for key, size, packed in engine.each("SELECT hash, size, packed FROM blobs"):
            name = _bytes(key).hex()
            bench, serial, job = missing.pop(name, ("", 0, ""))
            if not bench:
                continue  # kept by an import whose event came from elsewhere, or by nothing: harmless
            try:
                content = unpack(_bytes(packed))
                good = digest(content) == name and len(content) == size
            except ValueError:
                good = False
            if good:
                whole += 1
                continue
            self.bench = bench
            self.problem(serial, job, "blob", f"a file of event {serial} of bench {bench} (record {job}) was changed")
        for bench, serial, job in missing.values():
            self.bench = bench
            self.problem(serial, job, "blob", f"a file of event {serial} of bench {bench} (record {job}) is missing")
        return whole

    def index(self, engine: Engine) -> None:
        """Check that search finds what the events say, no more and no less."""
        self.bench = ""
        found: dict[int, set[tuple[str, str]]] = {}
        for event, name, value in engine.each(
            "SELECT t.event, v.field, v.value FROM terms t JOIN term_values v ON v.id = t.term"
            " JOIN events e ON e.id = t.event AND e.job = t.job"
        ):
            found.setdefault(_number(event), set()).add((str(name), str(value)))
        wrong = sum(1 for event, terms in self.terms.items() if found.get(event, set()) != terms)
        wrong += len(found.keys() - self.terms.keys())
        if wrong:
            self.problem(0, "", "index", f"search would not find {wrong} events rightly: {_MEND}")
        lines: dict[str, Line] = {}
        for event in sorted(self.owners):
            job, at = self.owners[event]
            lines[job] = _after(lines.get(job, Line()), at, self.terms.get(event, ()))
        known = {job: line.values() for job, line in lines.items()}
        listed = {str(row[0]): row[1:] for row in engine.each(f"SELECT job, {COLUMNS} FROM jobs")}
        wrong = sum(1 for job in listed.keys() | known.keys() if listed.get(job) != known.get(job))
        if wrong:
            self.problem(0, "", "index", f"the list shows {wrong} records wrongly: {_MEND}")
