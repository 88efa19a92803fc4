"""The log: append-only events, one hash chain a bench, each append on disk when it returns.

    with Store.open(default_log()) as log:
        job = log.new_job({"harness": "side door"}, terms={"tag": "T-17"})
        log.append(job, "note", {"text": "brown stain in cavity 4"})
        for event in log.read(job): ...

Several events in one transaction: ``with log.together(): ...``. What the kinds of events mean is not known here.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from heapq import merge
from pathlib import Path
from types import TracebackType
from typing import Any

from tester.errors import InputError
from tester.records import index, reading, schema, writing
from tester.records.clocks import Moment, change, moment
from tester.records.engine import Engine, Waiting
from tester.records.events import Draft, Event, Head, Terms, is_bench_id
from tester.records.place import local_bench_id, new_bench_id
from tester.records.search import JobSummary, Query, find
from tester.records.verify import Verification, verify

PATIENCE_S = 20.0
MEMORY = ":memory:"


class Store:
    """One log, opened by one bench. Safe to call from several threads; `bench` is whose chain it appends to.

    `clocks` reads the computer's clocks: a sleep, or a clock that was set, is noted in the event that follows.
    """

    def __init__(self, engine: Engine, bench: str, clocks: Callable[[], Moment] = moment) -> None:
        self.engine = engine
        self.bench = bench
        self._lock = threading.RLock()
        self._terms: dict[tuple[str, str], int] = {}
        self._clocks = clocks
        self._last = clocks()

    @classmethod
    def open(
        cls,
        where: str | Path,
        bench: str | None = None,
        *,
        read_only: bool = False,
        waiting: Waiting | None = None,
        patience: float = PATIENCE_S,
        clocks: Callable[[], Moment] = moment,
    ) -> Store:
        """Open a log, or make it. `where`: a path, or a URL such as ``postgresql://shop/log``.

        `bench` names this bench; None takes the log's own (a file) or this machine's (a shared log).
        `waiting` is called every quarter of a second with the seconds waited while another process writes;
        after `patience` seconds StoreError. `read_only` changes nothing on disk and needs no right to write.
        Raises StoreError with the way out for anything that keeps the log from being used.
        """
        if bench is not None and not is_bench_id(bench):
            raise InputError(
                f"{bench[:40]!r} cannot name a bench", "take a capital letter, then up to 11 capitals or digits"
            )
        engine = _engine_for(str(where), waiting, patience, read_only)
        try:
            schema.prepare(engine, may_create=not read_only)
            return cls(engine, bench or _home_bench(engine, str(where), read_only), clocks)
        except BaseException:
            engine.close()
            raise

    @classmethod
    def in_memory(cls, bench: str = "MEMORY") -> Store:
        """A log that is gone when closed: for rehearsals, and to finish a job that cannot be stored."""
        return cls.open(MEMORY, bench)

    def __enter__(self) -> Store:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the log. Closing twice is harmless."""
        with self._lock:
            self.engine.close()

    @property
    def name(self) -> str:
        """Where the log is, fit to be shown (no password)."""
        return self.engine.name

    @property
    def durable(self) -> bool:
        """False for a log in memory."""
        return self.engine.name != MEMORY

    # Writing

    def new_job(
        self,
        data: Mapping[str, Any] | None = None,
        blobs: Mapping[str, bytes] | None = None,
        *,
        terms: Terms | None = None,
        at: datetime | None = None,
        kind: str = "job-opened",
    ) -> str:
        """Open a record with its first event, in one transaction. Returns its number, such as ``BENCH-0001``."""
        with self.together():
            job = writing.next_job(self.engine, self.bench)
            self._append(Draft(job, kind, data or {}, blobs or {}, terms or {}, at), opening=True)
            return job

    def append(
        self,
        job: str,
        kind: str,
        data: Mapping[str, Any] | None = None,
        blobs: Mapping[str, bytes] | None = None,
        *,
        terms: Terms | None = None,
        at: datetime | None = None,
    ) -> Event:
        """Append one event to a record. When this returns outside `together`, it is on disk.

        `data`: JSON values; `blobs`: frames, files and photos by name; `terms`: what search and figures find the
        record by (`search.py` lists the fields); `at`: when, with zone (None: now).
        """
        with self.together():
            return self._append(Draft(job, kind, data or {}, blobs or {}, terms or {}, at))

    def append_all(self, drafts: Iterable[Draft]) -> list[Event]:
        """Append several events in one transaction: all of them are on disk, or none."""
        with self.together():
            return [self._append(draft) for draft in drafts]

    @contextmanager
    def together(self) -> Iterator[None]:
        """One transaction around several calls; on disk when the outermost block is left, nothing kept if it raises."""
        with self._lock:
            last = self._last
            try:
                with self.engine.transaction():
                    yield
            except BaseException:
                self._last = last
                self._terms.clear()  # ids learnt in a transaction that is now forgotten
                raise

    def _append(self, draft: Draft, opening: bool = False) -> Event:
        now = self._clocks()
        told = change(self._last, now)
        event = writing.append(self.engine, self.bench, draft, self._terms, self._blob, opening=opening, clock=told)
        self._last = now
        return event

    def rebuild_index(self) -> None:
        """Make search terms and counts again from the events; the events themselves are not touched."""
        with self.together():
            self._terms.clear()
            index.rebuild(self.engine)

    def forget_removed(self) -> None:
        """See that bytes of removed customer references are gone from the log's own files."""
        with self._lock:
            self.engine.forget_removed()

    # Reading

    @contextmanager
    def reading(self) -> Iterator[Engine]:
        """One state of the log for several reads, whatever others write meanwhile."""
        with self._lock, self.engine.snapshot():
            yield self.engine

    def read(self, job: str, kind: str = "") -> list[Event]:
        """Events of a record in order, all or those of one kind. InputError when there is no such record.

        Events of one bench come in the order of its chain, whatever its clock said; those of several benches are
        merged by time.
        """
        with self._lock, self.engine.snapshot():
            number, name = reading.job_id(self.engine, job)
            events = list(reading.events_of(self.engine, number, name, self._blob, kind))
        chains: dict[str, list[Event]] = {}
        for event in events:
            chains.setdefault(event.bench, []).append(event)
        return list(merge(*chains.values(), key=lambda event: event.at))

    def blob(self, digest: str) -> bytes:
        """A blob by its hash, checked against it."""
        return self._blob(digest)

    def _blob(self, digest: str) -> bytes:
        with self._lock:
            return reading.blob(self.engine, digest)

    def job(self, text: str) -> str:
        """Record number for what a person typed: any case, and a bare number means this bench's."""
        with self._lock:
            return reading.job_named(self.engine, text, self.bench)

    def jobs(self, query: Query | None = None) -> list[JobSummary]:
        """Records that match, newest first; all of them by default, at most `query.limit`."""
        with self._lock:
            return find(self.engine, query or Query())

    def head(self, bench: str | None = None) -> Head | None:
        """The end of a bench's chain (this bench's by default); None before its first event."""
        wanted = bench or self.bench
        return next((head for head in self.heads() if head.bench == wanted), None)

    def heads(self) -> list[Head]:
        """The ends of all chains in this log."""
        with self._lock:
            return reading.heads(self.engine)

    def verify(self, heads: Iterable[Head] = ()) -> Verification:
        """Recompute every hash. `heads` that left the bench earlier (label, export) also find what was cut off."""
        with self._lock, self.engine.snapshot():
            return verify(self.engine, list(heads))


def _engine_for(where: str, waiting: Waiting | None, patience: float, read_only: bool) -> Engine:
    scheme = where.partition("://")[0] if "://" in where else ""
    if scheme in ("postgresql", "postgres"):
        from tester.records.postgres import PostgresEngine

        return PostgresEngine(where, waiting, patience, read_only)
    if scheme:
        raise InputError(f"no log can be opened by {scheme[:20]}://", "name a file, or a postgresql:// address")
    from tester.records.sqlite import SqliteEngine

    return SqliteEngine(where, waiting, patience, read_only)


def _home_bench(engine: Engine, where: str, read_only: bool) -> str:
    """The bench that a log belongs to; a log that belongs to none yet gets a new identity."""
    if "://" in where:
        return local_bench_id()
    rows = engine.rows("SELECT value FROM meta WHERE name = 'bench'")
    if rows:
        return str(rows[0][0])
    if read_only:
        return ""
    with engine.transaction():
        rows = engine.rows("SELECT value FROM meta WHERE name = 'bench'")
        if rows:
            return str(rows[0][0])
        bench = new_bench_id()
        engine.run("INSERT INTO meta (name, value) VALUES ('bench', ?)", (bench,))
    return bench


def remember_bench(store: Store) -> None:
    """Make the bench that opened this log its own, so that later openings need not name it."""
    with store.together():
        store.engine.run("DELETE FROM meta WHERE name = 'bench'")
        store.engine.run("INSERT INTO meta (name, value) VALUES ('bench', ?)", (store.bench,))
